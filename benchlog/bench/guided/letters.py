"""Large letters for a small screen, three lines high, that can be read from the other side of the bike."""

#: Letter -> five rows of three dots, from the top; a set bit is a dot, the highest one at the left.
_DOTS: dict[str, tuple[int, int, int, int, int]] = {
    " ": (0, 0, 0, 0, 0),
    "A": (2, 5, 7, 5, 5),
    "B": (6, 5, 6, 5, 6),
    "C": (3, 4, 4, 4, 3),
    "D": (6, 5, 5, 5, 6),
    "E": (7, 4, 6, 4, 7),
    "F": (7, 4, 6, 4, 4),
    "G": (3, 4, 5, 5, 3),
    "H": (5, 5, 7, 5, 5),
    "I": (7, 2, 2, 2, 7),
    "K": (5, 5, 6, 5, 5),
    "L": (4, 4, 4, 4, 7),
    "N": (6, 5, 5, 5, 5),
    "O": (7, 5, 5, 5, 7),
    "P": (6, 5, 6, 4, 4),
    "R": (6, 5, 6, 5, 5),
    "S": (3, 4, 2, 1, 6),
    "T": (7, 2, 2, 2, 2),
    "U": (5, 5, 5, 5, 7),
    "Y": (5, 5, 2, 2, 2),
    "Z": (7, 1, 2, 4, 7),
    "?": (6, 1, 2, 0, 2),
    "0": (7, 5, 5, 5, 7),
    "1": (2, 6, 2, 2, 7),
    "2": (6, 1, 2, 4, 7),
    "3": (6, 1, 2, 1, 6),
    "4": (5, 5, 7, 1, 1),
    "5": (7, 4, 6, 1, 6),
    "6": (3, 4, 6, 5, 2),
    "7": (7, 1, 2, 2, 2),
    "8": (2, 5, 2, 5, 2),
    "9": (2, 5, 3, 1, 6),
}
#: Upper and lower dot of one character on the screen.
_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
HIGH = 3
#: Step -> its word; those of a slot or a fuse carry its number.
_WORDS = {
    "prepare": "READY",
    "zero": "ZERO",
    "zero_back": "SHUNT",
    "rest": "REST",
    "key_on": "KEY ON",
    "all_on": "ALL ON",
    "crank": "START",
    "run": "RUN",
    "key_off": "KEY OFF",
    "sleep": "SLEEP",
    "fuses_in": "ALL IN",
    "sleep_again": "SLEEP",
}


def word_of(step_id: str, waiting_for: str) -> str:
    """What stands in large letters: the seconds that are left, else the step in one word; "" where there is none."""
    left, _, more = waiting_for.partition(" ")
    if more == "s more" and left.isdigit():
        return left
    if step_id.startswith(("slot_", "fuse_")):
        thing, number, way = step_id.split("_")
        return f"{thing} {number}".upper() if thing == "slot" else f"{number} {way}".upper()
    return _WORDS.get(step_id, "")


def large(word: str, width: int) -> list[str]:
    """The word in letters of three lines; empty where it is too wide, or a letter is not known."""
    if not word or len(word) * 4 - 1 > width or any(letter not in _DOTS for letter in word):
        return []
    # a fourth column without dots keeps the letters apart
    dots = [
        [bool(_DOTS[letter][row] << 1 >> (3 - column) & 1) for letter in word for column in range(4)]
        for row in range(5)
    ]
    dots.append([False] * len(dots[0]))
    return [
        "".join(_BLOCKS[upper, lower] for upper, lower in zip(dots[row], dots[row + 1], strict=True)).rstrip()
        for row in (0, 2, 4)
    ]
