"""A person who knows the bike and no TOML: what is typed at each question, in the terminal and on the page."""

#: Question -> what the person types; whatever is not here is left as suggested.
KNOWS = {
    "Name of the bike": "Larch",
    "Capacity in Ah": "11.2",
    "Of that, from battery + to the fuse": "0.4 m",
    "The trigger wire's own fuse, in A": "1",
    "What it gives at riding speed, in A": "28",
    "What it gives at idle, in A": "10",
}
#: Of each circuit: device, load and length.
DEVICES = (
    ("cool box", "45 W", "1.2 m"),
    ("heated grips", "3.6 A", "4 ft"),
    ("fog lamps", "2 A", "18 in"),
    ("navigator", "10 W", ""),
    ("heated vest", "77 W", "0.8 m"),
    ("phone", "2,1 A", ""),
)
#: Typed answers that a first plan of six circuits may take.
MOST_TYPED = 40


def knows_of_circuit(number: int, question: str) -> str:
    """What the person types about a circuit (from 1)."""
    device, load, length = DEVICES[number - 1]
    answers = {"Device": device, "Load in amperes or watts": load, "Length of the wire, one way": length}
    return answers.get(question, "")
