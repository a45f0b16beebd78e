"""The session at a terminal, line by line, on beliefs written by hand; and its answers as they stand in their file."""

from pathlib import Path

import numpy as np
import pytest
from test_find_drawing import plan
from test_find_hunt import Scripted, hunt

from benchlog.core.errors import BadAnswers, BenchlogError
from benchlog.find.answers import answer_table, answers_schema, beside, read_answers, text_of
from benchlog.find.hunt import Hunt, Reply
from benchlog.find.questions import Question, questions_of
from benchlog.find.terminal import Shown, lead, no_answer_words, shown_words, value_typed

TESTS = {question.name: question for question in questions_of(plan((1, 4)))}
VOLTS, LOOK = TESTS["voltage 30 to 87, all on"], TESTS["feed fuse intact"]
OHMS, DRAIN = TESTS["resistance 86 to 85 without relay, power off"], TESTS["drain"]
AMPS = TESTS["current feed, all on"]


@pytest.mark.parametrize(
    ("text", "question", "value"),
    [
        ("12", VOLTS, 12.0),
        (" 12.5 V ", VOLTS, 12.5), ("12,5V", VOLTS, 12.5), ("-3", VOLTS, -3.0), ("+3", VOLTS, 3.0),
        ("−3 mV", VOLTS, -0.003), ("250 uV", VOLTS, 0.00025), ("250 µV", VOLTS, 0.00025), ("5 nA", AMPS, 5e-9),
        ("2 kV", VOLTS, 2000.0), ("3 A", VOLTS, None), ("3 m", VOLTS, 0.003),
        ("12 Ω", VOLTS, None), ("1.", VOLTS, None),
        ("400 mA", AMPS, 0.4), ("4", AMPS, 4.0), ("18.6", DRAIN, 18.6),
        ("18.6 mA", DRAIN, 18.6), ("2 A", DRAIN, 2000.0),
        ("18.6 m", DRAIN, 18.6), ("5 µA", DRAIN, 0.005),
        ("1.2 kΩ", OHMS, 1200.0), ("1.2 MΩ", OHMS, 1.2e6), ("91 ohms", OHMS, 91.0), ("91 Ohm", OHMS, 91.0),
        ("1 k", OHMS, 1000.0), ("OL", OHMS, 1e6), ("o.l", OHMS, 1e6), ("inf", OHMS, 1e6), ("OL", VOLTS, None),
        ("91 V", OHMS, None), ("y", LOOK, 1.0), ("YES", LOOK, 1.0), ("n", LOOK, 0.0),
        ("No", LOOK, 0.0), ("1", LOOK, None),
        ("", VOLTS, None), ("12 V V", VOLTS, None),
    ],
)  # fmt: skip
def test_values_are_read_as_typed(text: str, question: Question, value: float | None):
    """Decimal commas, signs, prefixes and units; another quantity's unit is no answer."""
    assert value_typed(text, question) == (None if value is None else pytest.approx(value))


def test_what_is_shown_has_its_accuracy():
    """Or says that it has none."""
    assert shown_words(Shown(0.41234, 0.0123), VOLTS) == "0.4123 V, within 0.012 V."
    assert shown_words(Shown(12.0, None), VOLTS) == "12 V, of a logger whose accuracy is not stated."
    assert no_answer_words("x", LOOK) == '"x" is no answer here; type y or n.'
    assert no_answer_words("x", DRAIN) == '"x" is no answer here; type a number in mA, such as 0.41.'


class Logger:
    """A logger that takes every test with these words, or has no reading."""

    def __init__(self, words: str, shown: Shown | str) -> None:
        """A text is what it reports in place of a reading."""
        self.words, self.shown = words, shown
        self.widest: list[float] = []

    def offers(self, question: Question, widest: float) -> str:
        """Its words."""
        assert question.name
        self.widest.append(widest)
        return self.words

    def take(self, question: Question) -> Shown:
        """Its reading."""
        assert question.name
        if isinstance(self.shown, str):
            raise BenchlogError(self.shown)
        return self.shown


def scripted(*tests: Question, good: tuple[float, float] = (0.1, 0.2)) -> Hunt:
    """A session over these tests, each of which tells a bit."""
    known = Scripted([0.2] * 5, {test.name: 1.0 for test in tests})
    known.questions = {test.name: test for test in tests}
    known.good = {test.name: np.array(good) for test in tests}  # type: ignore[attr-defined]  # as knowledge has it
    return hunt(known)


def played(session: Hunt, tmp_path: Path, typed: list[str], meter: Logger | None = None) -> tuple[list[str], list[str]]:
    """What was said, and with which prompts; the end of what is typed is the end of input."""
    said: list[str] = []
    prompts: list[str] = []
    lines = iter(typed)

    def read(prompt: str) -> str:
        prompts.append(prompt)
        try:
            return next(lines)
        except StopIteration:
            raise EOFError from None

    lead(session, tmp_path / "a.toml", read, said.append, meter)
    return said, prompts


def test_a_session_asks_until_it_is_stopped(tmp_path: Path):
    """The test, its explanation, what is no answer, and where it stands at the end."""
    session = scripted(VOLTS)
    said, prompts = played(session, tmp_path, ["?", "", "many", "s"])

    assert said[0].startswith("\nTest 1: voltage 30 to 87, all on   (about 1.5 min)\n  Caution: ")
    assert "A good install shows 0 to 0.203 V." in said[0]
    assert said[1].startswith("Meter on V DC")
    assert said[2] == '"many" is no answer here; type a number in V, such as 0.41.'
    assert said[3].startswith("\nTest 2: voltage 30 to 87")
    assert prompts[0] == "value in V  (? how · s cannot do · u take back · q stop): "
    assert session.replies == [Reply(VOLTS.name, None)]
    assert said[-1].startswith("\nNot found yet. Likeliest:\n  20 %  contact open\n")
    assert said[-1].count("%") == 3
    assert said[-1].endswith(f"The answers are in {tmp_path / 'a.toml'}; the same command goes on.")


def test_answers_are_kept_one_by_one(tmp_path: Path):
    """Each before the next is asked; taken back they are gone from the file as well."""
    session = scripted(VOLTS, DRAIN)
    said, _ = played(session, tmp_path, ["0.1", "u", "u", "q"])

    assert session.replies == []
    assert [text for text in said if text.startswith(("Taken", "There"))] == [
        f"Taken back: {VOLTS.name}", "There is no answer to take back.",
    ]  # fmt: skip
    assert read_answers(tmp_path / "a.toml", {VOLTS.name: VOLTS}) == []


def test_nothing_left_to_ask_is_said(tmp_path: Path):
    """And what is likeliest."""
    said, prompts = played(scripted(), tmp_path, [])

    assert said[0].startswith("No test is left that would tell more.")
    assert prompts == []
    assert len(said) == 2


def test_a_place_that_is_found_ends_it(tmp_path: Path):
    """With how it is mended, the check to take again, and what no test parts from it."""
    both, _ = played(hunt(Scripted([0.5, 0.4, 0.08, 0.01, 0.01], {})), tmp_path, [])
    alone, _ = played(hunt(Scripted([0.0, 0.0, 0.01, 0.98, 0.01], {})), tmp_path, [])

    assert len(both) == 1
    assert both[0].startswith(
        "\nFound: contact, open (or, which no test at hand can tell from it: relay socket): 98.0 % sure.\n"
    )
    assert alone[0].startswith(
        "\nFound: coil, open: 98.0 % sure.\n  Mend it: Battery's negative lead off first. Replace"
    )
    assert "--only relay_pull_in" in alone[0]


def test_an_answer_that_does_not_fit_is_told_once(tmp_path: Path):
    """When it comes to be doubted, not at each test after that."""
    session = scripted(VOLTS, DRAIN)
    session.knowledge.of_answer[VOLTS.name] = (np.ones(5), np.full(5, 0.9))  # type: ignore[attr-defined]  # its like
    said, _ = played(session, tmp_path, ["0.1", "1", "q"])

    assert [text for text in said if "does not fit" in text] == [
        f'The answer to "{VOLTS.name}" does not fit the others; it is asked in another way.'
    ]


def test_a_logger_takes_what_it_offers(tmp_path: Path):
    """On an empty line; a typed value goes before it. It is told by how much good installs differ."""
    meter = Logger("join channel 2, then Enter", Shown(0.15, 0.01))
    session = scripted(VOLTS)
    said, _ = played(session, tmp_path, ["", "0.3", "q"], meter)

    assert "  join channel 2, then Enter, or type a meter's value." in said
    assert "  Measured: 0.15 V, within 0.01 V." in said
    assert [reply.value for reply in session.replies] == [0.15, 0.3]
    assert meter.widest[0] == pytest.approx(0.203)
    wide = Logger("join it", Shown(12.5, None))
    played(scripted(VOLTS, good=(12.0, 13.0)), tmp_path, ["q"], wide)
    assert wide.widest[0] == pytest.approx(13.09 - 11.91)


def test_a_logger_without_a_reading_leaves_the_question(tmp_path: Path):
    """What is wrong is said, and a meter can answer."""
    session = scripted(VOLTS)
    said, _ = played(session, tmp_path, ["", "0.3", "q"], Logger("join it", "no line came"))

    assert "  no line came" in said
    assert [reply.value for reply in session.replies] == [0.3]


@pytest.mark.parametrize(("test", "words"), [(LOOK, "join it"), (OHMS, "join it"), (VOLTS, "")])
def test_looks_and_ohms_are_not_offered_to_a_logger(tmp_path: Path, test: Question, words: str):
    """Nor what it does not offer: an empty line is then no answer and no complaint."""
    meter = Logger(words, Shown(0.15, 0.01))
    session = scripted(test)
    said, prompts = played(session, tmp_path, ["", "q"], meter)

    assert not any("meter's value" in text or "no answer" in text for text in said)
    assert (len(prompts), session.replies) == (2, [])
    assert bool(meter.widest) is (test is VOLTS)
    assert prompts[0].startswith("y, n" if test is LOOK else "value in")


@pytest.mark.parametrize(
    ("reply", "test", "table"),
    [
        (Reply("a", None), VOLTS, {"test": "a", "skipped": True}),
        (Reply("a", 0.5), VOLTS, {"test": "a", "value": 0.5, "unit": "V"}),
        (Reply("a", 1.0), LOOK, {"test": "a", "seen": "yes"}),
        (Reply("a", 0.0), LOOK, {"test": "a", "seen": "no"}),
    ],
)
def test_answers_as_they_stand_in_the_file(reply: Reply, test: Question, table: dict[str, object]):
    """A value with its unit, yes or no, or skipped."""
    assert answer_table(reply, test) == table


def answered(tmp_path: Path, text: str) -> list[Reply]:
    """What a file with one answer of this text says."""
    path = tmp_path / "answers.toml"
    path.write_text(text, encoding="utf-8")
    return read_answers(path, TESTS)


@pytest.mark.parametrize(
    ("lines", "value"),
    [
        (f'test = "{VOLTS.name}"\nvalue = 0.4', 0.4),
        (f'test = "{VOLTS.name}"\nvalue = 0\nunit = "V"', 0.0),
        (f'test = "{LOOK.name}"\nseen = "yes"', 1.0),
        (f'test = "{LOOK.name}"\nseen = "no"\nskipped = false', 0.0),
        (f'test = "{LOOK.name}"\nskipped = true', None),
        (f'test = "{DRAIN.name}"\nskipped = true', None),
    ],
)
def test_answers_are_read(tmp_path: Path, lines: str, value: float | None):
    """Each in its own way."""
    (reply,) = answered(tmp_path, f"[[answer]]\n{lines}\n")

    assert reply.value == value


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (f'test = "{VOLTS.name}"\nvalue = 0.4\nskipped = true', r"answer\[1\].*got value and skipped"),
        (f'test = "{LOOK.name}"\nvalue = 0.4\nseen = "yes"', r"answer\[1\].*got value and seen"),
        (f'test = "{VOLTS.name}"', r"answer\[1\].*got none"),
        (f'test = "{VOLTS.name}"\nskipped = false', r"answer\[1\].*got none"),
        ('test = "no such"\nvalue = 0.4', r'this plan has no test "no such"'),
        (f'test = "{LOOK.name}"\nvalue = 1', r"this test is a look"),
        (f'test = "{VOLTS.name}"\nseen = "yes"', r"this test is measured; give value, in V"),
        (f'test = "{VOLTS.name}"\nvalue = 0.4\nunit = "mV"', r'unit must be "V", got "mV"'),
    ],
)
def test_answers_that_fit_no_test_are_refused(tmp_path: Path, lines: str, message: str):
    """One message with the number of the answer."""
    with pytest.raises(BadAnswers, match=rf"(?s){message}"):
        answered(tmp_path, f"[[answer]]\n{lines}\n")


def test_the_second_answer_is_named_by_its_number(tmp_path: Path):
    """Counted from one."""
    good, bad = f'[[answer]]\ntest = "{VOLTS.name}"\nvalue = 1\n', f'[[answer]]\ntest = "{LOOK.name}"\nvalue = 1\n'

    with pytest.raises(BadAnswers, match=r"answer\[2\]: this test is a look"):
        answered(tmp_path, good + bad)
    with pytest.raises(BadAnswers, match=r"answer\[2\].*got none"):
        answered(tmp_path, good + f'[[answer]]\ntest = "{LOOK.name}"\n')


def test_there_are_no_answers_yet_where_there_is_no_file(tmp_path: Path):
    """The file lies beside the log; an empty one is as good."""
    assert beside(tmp_path / "log.csv") == tmp_path / "log.csv.answers.toml"
    assert read_answers(tmp_path / "none.toml", TESTS) == []
    assert answered(tmp_path, "") == []
    assert text_of([], TESTS) == ""
    assert "answer" in answers_schema()["properties"]


def test_prompt_is_asked_through_what_it_is_given(tmp_path: Path):
    """The end of input stops the session with its answers kept."""
    session = scripted(VOLTS)

    def read(prompt: str) -> str:
        assert prompt
        raise EOFError

    assert lead(session, tmp_path / "a.toml", read, lambda _: None) is None
    assert session.replies == []
