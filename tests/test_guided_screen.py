"""What the tester sees and presses: the page, plain lines, keys, marks that wait for a fast stream."""

import io
import os
import pty
import re
import sys
import time
import types
from dataclasses import replace

import numpy as np
import pytest
from test_guided_session import plan

from benchlog.bench.guided.actions import OpenActions
from benchlog.bench.guided.keys import Keyboard
from benchlog.bench.guided.letters import large, word_of
from benchlog.bench.guided.paging import page, page_lines, parts_of, values_line
from benchlog.bench.guided.screen import LiveScreen, PlainScreen
from benchlog.bench.guided.silence import StreamSilence
from benchlog.bench.guided.steps import steps_of
from benchlog.bench.guided.view import ListedStep, View
from benchlog.bench.guided.words import closing_words
from benchlog.bench.live import READ_FIRST, LiveStep
from benchlog.core.errors import BenchlogError
from benchlog.core.trace import Trace

STEP = LiveStep(
    11, 14, "crank", "Start the engine", "Press the starter.", "Hands clear.", "the battery's voltage to dip"
)


def view(step: LiveStep = STEP, *, read_first: bool = False, by_itself: bool = False) -> View:
    """A step on the screen."""
    return View(step, read_first=read_first, by_itself=by_itself, can_walk=True)


def test_the_page_says_where_what_and_what_it_waits_for():
    """Number, title, what to do, values in words, what is waited for and the keys are all on one small page."""
    lines = page(view(), {"battery_v": 12.61, "battery_a": 4.2, "feed_v": 12.4}, ("Slot 4: the current rose",))
    text = "\n".join(lines)

    assert lines[0] == "STEP 11 of 14   START THE ENGINE"
    for words in (
        ">> Press the starter.",
        "Battery 12.61 V   4.20 A   Feed live 12.4 V",
        "Waiting for: the battery's voltage to dip",
        "[Enter] done",
        "[s] leave out",
        "[a] again",
        "[q] stop",
        "Slot 4: the current rose",
    ):
        assert words in text
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 76


def test_a_caution_to_be_read_stands_without_the_order():
    """Until the caution has been read the page does not say what to do."""
    text = "\n".join(page(view(read_first=True), {}, ()))

    assert "CAUTION  Hands clear." in text
    assert "Press the starter" not in text


def test_the_caution_stands_above_the_order():
    """Who reads from the top meets the caution first."""
    text = "\n".join(page(view(), {}, ()))

    assert text.index("CAUTION") < text.index("Press the starter")


@pytest.mark.parametrize(
    ("last", "words"),
    [
        ({"battery_v": 12.5, "battery_a": -1.3}, "Battery 12.50 V   1.30 A (charging)"),
        ({"battery_v": 12.5, "battery_a": float("nan")}, "Battery 12.50 V   beyond range (A)"),
        ({"drain_a": 0.0006, "trigger_v": 0.1, "feed_v": 0.02}, "Drain 0.60 mA   Trigger dead   Feed dead 0.0 V"),
        ({}, "no values yet"),
    ],
)
def test_values_are_said_in_words(last: dict[str, float], words: str):
    """Live or dead, charging, beyond range: words that need no meter to read."""
    assert values_line(last) == words


def test_plain_lines_say_each_step_once():
    """Where the screen cannot be redrawn a step is written once, however often it is shown."""
    lines: list[str] = []
    screen = PlainScreen(lines.append)
    for left in (3, 2, 1):
        screen.show(view(LiveStep(11, 14, "crank", "Start", "Press.", "Hands clear.", f"{left} s more")), {})
    screen.tell("done")

    assert "\n".join(lines).count("Step 11 of 14: Start") == 1
    assert "\n".join(lines).index("Hands clear.") < "\n".join(lines).index("Press.")
    assert lines[-1] == "  · done"


def test_the_live_page_is_drawn_only_where_it_changes():
    """The same page is not written twice, and what was told is on the next one."""
    out = io.StringIO()
    screen = LiveScreen(out)
    screen.show(view(), {})
    first = out.getvalue()
    screen.show(view(), {})
    same = out.getvalue()
    screen.tell("seen")
    screen.show(view(), {})

    assert same == first
    assert "\x1b[2J" in first
    assert "· seen" in out.getvalue()[len(first) :]


def test_keys_come_singly_from_a_terminal(monkeypatch: pytest.MonkeyPatch):
    """On a real terminal a key counts as soon as it is pressed, unknown ones are nothing, and all is left as it was."""
    import termios

    near, far = pty.openpty()
    try:
        with os.fdopen(os.dup(far), "r") as terminal:
            monkeypatch.setattr(sys, "stdin", terminal)
            before = termios.tcgetattr(far)
            with Keyboard() as keyboard:
                os.write(near, b"s?\rAq")
                time.sleep(0.05)
                pressed = keyboard.pressed()
                again = keyboard.pressed()
            after = termios.tcgetattr(far)
    finally:
        os.close(near)
        os.close(far)

    assert keyboard.works
    assert pressed == ["skip", "enter", "again", "quit"]
    assert again == []
    assert after[3] == before[3]


@pytest.mark.parametrize(
    ("typed", "pressed"),
    [
        ([b"\x1b[A"], []),
        ([b"\x1b[B\x1bOB"], []),
        ([b"\x1b[3~\x1b[1;5A"], []),
        ([b"\x1b", b"[B"], []),
        ([b"\x1b[1;", b"5A"], []),
        ([b"\x1bO", b"As"], ["skip"]),
        ([b"\x1b[Aa\x1b[B"], ["again"]),
        ([b"\x1b", b"s"], ["skip"]),
    ],
    ids=[
        "up",
        "down",
        "delete",
        "down in two parts",
        "up in two parts",
        "up, then s",
        "a between arrows",
        "Esc, then s",
    ],
)
def test_an_arrow_is_no_letter(monkeypatch: pytest.MonkeyPatch, typed: list[bytes], pressed: list[str]):
    """Arrows and their like end in an A or a B on the wire, but nothing is tried again and no bridge is noted."""
    near, far = os.openpty()
    try:
        with os.fdopen(os.dup(far), "r") as terminal:
            monkeypatch.setattr(sys, "stdin", terminal)
            with Keyboard() as keyboard:
                found = []
                for part in typed:
                    os.write(near, part)
                    time.sleep(0.05)
                    found += keyboard.pressed()
    finally:
        os.close(near)
        os.close(far)

    assert found == pressed


def test_an_arrow_is_no_letter_on_windows_either(monkeypatch: pytest.MonkeyPatch):
    """There a sign comes before the letter: the key that deletes is no S, F-keys and arrows are nothing."""
    waiting = list("\xe0S\x00;\xe0Hw")
    console = types.SimpleNamespace(kbhit=lambda: bool(waiting), getwch=lambda: waiting.pop(0))
    monkeypatch.setitem(sys.modules, "msvcrt", console)
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(sys, "stdin", types.SimpleNamespace(isatty=lambda: True))

    with Keyboard() as keyboard:
        pressed = keyboard.pressed()

    assert pressed == ["walk"]


def test_without_a_terminal_there_are_no_keys(monkeypatch: pytest.MonkeyPatch):
    """A pipe presses nothing and stops nothing."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("q"))
    with Keyboard() as keyboard:
        pressed = keyboard.pressed()

    assert not keyboard.works
    assert pressed == []


def test_the_last_words_say_how_to_go_on():
    """A stopped test names its log, the way on, and that what is missing is no pass."""
    from pathlib import Path

    words = closing_words("/dev/ttyACM0", Path("larch.toml"), Path("a.csv"), lost=False)

    assert "benchlog acceptance /dev/ttyACM0 --plan larch.toml --out a.csv --resume" in words
    assert "not a pass" in words


def test_silence_is_told_once_and_a_stand_in_that_is_gone_ends_it():
    """After 5 s it is told, after 30 s a test that nobody watches is over; the recorder's own words count as told."""
    now = [0.0]
    silence = StreamSilence(lambda: now[0], alone=True)
    told, lasts_s = [], list[float]()
    for second in range(1, 40):
        now[0] = float(second)
        told.append((second, silence.heard(False, False), silence.over))
        if second in (2, 12):
            lasts_s.append(silence.lasts_s)
    said = StreamSilence(lambda: now[0], alone=False)
    said.heard(False, True)
    now[0] += 10.0

    assert [second for second, text, _ in told if text] == [6]
    assert lasts_s == [0.0, 12.0]
    assert next(second for second, _, over in told if over) == 31
    assert said.heard(False, False) == ""
    assert not said.over


class Recorder:
    """Notes when a mark came."""

    def __init__(self) -> None:
        """None yet."""
        self.at: list[float] = []

    def mark(self, _: str) -> None:
        """Now."""
        self.at.append(time.monotonic())


@pytest.mark.parametrize(("pace", "waits_s"), [(40.0, 0.1), (1.0, 0.0)])
def test_a_mark_waits_for_a_stream_that_is_sped_up(pace: float, waits_s: float):
    """4 s ahead in the stand-in's own time are 0.1 s at 40 times the clock; at the clock's pace no mark waits."""
    recorder = Recorder()
    clock = [100.0]
    ways = OpenActions(recorder, PlainScreen(lambda _: None), lambda _: pace + 4.0, lambda: clock[0])
    for batch in range(11):
        clock[0] = 100.0 + batch / 10
        ways.heard(Trace(np.array([pace * batch / 10]), {}, {}))
    begun = time.monotonic()
    done_s = ways.do("slot 1 on")
    ways.mark("slot 1 on")

    assert done_s == pace + 4.0
    assert waits_s <= recorder.at[0] - begun < waits_s + 0.5


def test_what_the_stand_in_refuses_is_told():
    """A refusal is no crash: it is said, and the step is the tester's."""
    told: list[str] = []

    def refuse(_: str) -> float:
        raise BenchlogError("the key is off")

    ways = OpenActions(Recorder(), PlainScreen(told.append), refuse, time.monotonic)

    assert ways.do("crank") is None
    assert "the key is off" in told[0]


def test_what_the_stand_in_did_is_noted_at_the_streams_own_time():
    """A recorder that can note a mark at a time of the stream gets that of the stand-in's answer."""

    class Exact(Recorder):
        """Notes at which time of the stream a mark belongs."""

        def mark_at(self, text: str, at_s: float) -> None:
            """Then."""
            noted.append((text, at_s))

    noted: list[tuple[str, float]] = []
    ways = OpenActions(Exact(), PlainScreen(lambda _: None), lambda _: 12.25, time.monotonic)
    ways.do("key on")
    ways.mark("key on")
    ways.mark("free text")

    assert noted == [("key on", 12.25)]


LONG = "auxiliary lamp " * 8 + "für die Rückleuchte"
VALUES = {"battery_v": 12.6, "battery_a": 13.6, "drain_a": 0.35, "key_v": 12.1, "trigger_v": 12.1, "feed_v": 12.3}


@pytest.mark.parametrize(("width", "height"), [(78, 24), (60, 24), (38, 24), (38, 16), (98, 30)])
def test_the_page_fits_its_terminal(width: int, height: int):
    """However long names, cautions and news are, no line and no page is larger than the terminal."""
    step = LiveStep(6, 24, "slot_1_on", f"Slot 1: {LONG}", f"Switch on: {LONG}.", "Hands clear. " * 12, "the current")
    lines = page(view(step), VALUES, (LONG * 2, LONG, LONG), width=width, height=height)

    assert len(lines) <= height
    assert max(map(len, lines)) <= width
    assert "CAUTION" in "\n".join(lines)


def test_keys_and_newest_news_stay_where_the_page_is_full():
    """On 24 lines the oldest news go first; order, newest news and keys stay."""
    step = LiveStep(6, 24, "crank", "Start", "Press the starter.", "Hands clear. " * 40, "a dip")
    text = "\n".join(page(view(step), VALUES, ("first " * 30, "second", "third"), width=78, height=24))

    for words in ("Press the starter.", "third", "[w] fuse walk"):
        assert words in text
    assert "first" not in text


def test_a_name_cannot_steer_the_terminal():
    """Control characters of a device's name are shown as question marks."""
    step = LiveStep(6, 14, "slot_1_on", "Slot 1", "Switch on: lamp\x1b[2J.", "", "the current")
    text = "\n".join(page(view(step), {}, ()))

    assert "\x1b" not in text
    assert "lamp?[2J." in text


def test_old_values_are_not_shown_as_new_ones():
    """While no line comes the page says so in the values' place."""
    text = "\n".join(page(replace(view(), silent_s=7.0), VALUES, ()))

    assert "No line from the logger for 7 s." in text
    assert "Battery" not in text


def test_the_page_is_cleared_as_the_terminal_changes_its_size(monkeypatch: pytest.MonkeyPatch):
    """What the old size left is wiped away, though the page's words are the same."""
    out = io.StringIO()
    size = [os.terminal_size((80, 24))]
    monkeypatch.setattr("shutil.get_terminal_size", lambda *_: size[0])
    screen = LiveScreen(out)
    screen.show(view(), {})
    size[0] = os.terminal_size((60, 20))
    screen.show(view(), {})

    assert out.getvalue().count("\x1b[2J") == 2


def test_the_whole_caution_stands_out():
    """Each line of a caution is painted, not its first alone."""
    out = io.StringIO()
    LiveScreen(out).show(view(LiveStep(1, 14, "prepare", "Prepare", "Go.", "Hands clear. " * 12, "Enter")), {})
    lines = [line for line in out.getvalue().split("\n") if "Hands clear" in line]

    assert len(lines) > 1
    assert all(line.startswith("\x1b[1;33m") for line in lines)


def test_names_with_spaces_are_quoted_in_the_way_on():
    """The line to go on with can be copied into a shell as it is."""
    from pathlib import Path

    words = closing_words("/dev/ttyACM0", Path("my larch.toml"), Path("a b.csv"), lost=True)

    assert "--plan 'my larch.toml' --out 'a b.csv' --resume" in words


CAUTIONS = {step.id: step.caution for step in steps_of(plan()) if step.caution}


@pytest.mark.parametrize(("width", "height"), [(38, 12), (20, 8), (58, 16)])
@pytest.mark.parametrize("step", CAUTIONS)
def test_no_caution_is_cut_however_small_the_screen(step: str, width: int, height: int):
    """Part after part the whole caution is shown, every part fits, and each says how many more there are."""
    asked = view(LiveStep(11, 14, step, "Start the engine", "Press.", CAUTIONS[step], READ_FIRST), read_first=True)
    count = parts_of(asked, width, height)
    parts = [[line.text for line in page_lines(asked, {}, (), width, height, part)] for part in range(count)]
    words = " ".join(" ".join(lines) for lines in parts)

    assert max(len(lines) for lines in parts) <= height
    assert max(len(line) for lines in parts for line in lines) <= width
    for word in CAUTIONS[step].split():
        assert word in words or word[:width] in words
    joined = re.sub(r"STEP 11 of 14\s+START THE ENGINE|>> .*?\(\d+ of \d+\)", " ", words)
    assert " ".join(CAUTIONS[step].split()) in " ".join(joined.split()) or count == 1


def test_a_long_caution_goes_on_with_enter_and_is_taken_after_its_last_part(monkeypatch: pytest.MonkeyPatch):
    """At 40 by 12 Enter shows the next part; only after the last one it is the test's."""
    monkeypatch.setattr("shutil.get_terminal_size", lambda _: os.terminal_size((40, 12)))
    out = io.StringIO()
    screen = LiveScreen(out)
    asked = view(LiveStep(11, 14, "crank", "Start", "Press.", CAUTIONS["crank"], READ_FIRST), read_first=True)
    screen.show(asked, {})
    turned = []
    while screen.turned():
        turned.append(True)
        screen.show(asked, {})

    assert len(turned) + 1 == parts_of(asked, 38, 12) > 1
    assert "service manual for starting" in " ".join(out.getvalue().split())


def test_a_small_screen_shows_the_step_in_large_letters():
    """At 40 by 12: three lines of letters, what to do, the caution's key; a large screen shows the caution itself."""
    step = LiveStep(11, 14, "crank", "Start the engine", "Press the starter.", CAUTIONS["crank"], "a dip")
    small = page(view(step), {"battery_v": 12.5}, (), width=38, height=12)
    usual = page(view(step), {"battery_v": 12.5}, ())

    assert len(small) <= 12
    assert [line for line in small if "█" in line or "▀" in line] == large("START", 38)
    assert "CAUTION as read: c shows it" in small
    assert any(line.strip() == ">> Press the starter." for line in small)
    assert "exhaust gas kills" in " ".join(" ".join(usual).split())
    assert not any("█" in line for line in usual)


@pytest.mark.parametrize(
    ("step", "waiting", "word"),
    [
        *(("key_on", "the trigger to rise", "KEY ON"), ("run", "27 s more", "27")),
        *(("slot_12_on", "a rise", "SLOT 12"), ("fuse_3_out", "a fall", "3 OUT")),
        ("nobody_knows", "it", ""),
    ],
)
def test_every_step_has_its_word_in_large_letters(step: str, waiting: str, word: str):
    """The seconds that are left, else the step in a word; each fits on 38 columns, and every letter is known."""
    assert word_of(step, waiting) == word
    assert len(large(word, 38)) == (3 if word else 0)
    for one in steps_of(plan()):
        assert large(word_of(one.id, ""), 38), one.id


def test_the_bell_rings_as_a_step_is_done_and_as_something_is_asked():
    """Once for each new step and each question; never for a stand-in, nor again for the same."""
    out = io.StringIO()
    screen = LiveScreen(out)
    steps = [STEP, STEP, replace(STEP, ask="is it?"), replace(STEP, ask="is it?"), replace(STEP, id="run")]
    rings = []
    for step in steps:
        screen.show(view(step), {})
        rings.append(out.getvalue().count("\a"))
    screen.show(view(replace(STEP, id="sleep"), by_itself=True), {})

    assert rings == [0, 0, 1, 1, 2]
    assert out.getvalue().count("\a") == 2


def test_the_list_of_steps_shows_how_each_stands():
    """Number, title and state; on a low screen the steps around the present one."""
    steps = tuple(ListedStep(n, f"Step {n}", "done" if n < 9 else "now" if n == 9 else "to come") for n in range(1, 15))
    whole = page(replace(view(), steps=steps), {}, ())
    low = page(replace(view(), steps=steps, typed="1"), {}, (), width=38, height=8)

    assert sum("done" in line for line in whole) == 8
    assert any("9" in line and "now" in line for line in low)
    assert low[0] == "Go to step 1: Enter"
    assert len(low) <= 8
