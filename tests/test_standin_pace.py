"""How fast the stand-in's clock runs can be changed by a word while it runs."""

import time
from itertools import pairwise
from pathlib import Path

import pytest
from test_standin_live import Reader, bike, opened, standing_in, times_of

from benchlog.core.errors import BenchlogError
from benchlog.standin.hands import ask
from benchlog.standin.lines import LineForm
from benchlog.standin.serving import CATCH_UP_S, READER_SETTLES_S, Standin


def passes_s(far: Reader, for_s: float) -> float:
    """How much simulated time the lines of so many seconds hold, s."""
    until, times = time.monotonic() + for_s, list[float]()
    while time.monotonic() < until:
        times += times_of(far.lines(1))
    return times[-1] - times[0]


def told_speed(running: Standin, speed: str) -> float:
    """Say it, and the simulated time of that, s."""
    return ask(running.folder / "hands", f"speed {speed}")


def test_a_word_changes_how_fast_the_clock_runs():
    """From the word on so many simulated seconds pass in a second, and no sample is lost where it changes."""
    with standing_in(bike(), speed=1.0) as (running, _), opened(running.port) as far:
        far.lines(20)
        slow_s = passes_s(far, 0.6)
        at_s = told_speed(running, "40")
        fast_s = passes_s(far, 0.6)
        again_s = told_speed(running, "0.5")
        lines = times_of(far.lines(100))

    assert slow_s < 1.5
    assert fast_s > 5 * slow_s
    assert at_s < again_s
    steps = [late - early for early, late in pairwise(lines)]
    assert max(steps) == pytest.approx(min(steps), abs=1e-6)


def test_what_came_before_the_word_keeps_its_speed(tmp_path: Path):
    """A fast clock begins at the word: the time that was due before it is not handed over at the new speed."""
    live = bike()
    with Standin(live, LineForm(), plan_toml="", folder=tmp_path / "s", speed=1.0) as running, opened(running.port):
        list(running.turn())
        time.sleep(READER_SETTLES_S + 0.2)
        answer = running._answer("speed 10000")

    assert answer == f"ok {live.time_s:.6f}"
    assert 0 < live.time_s <= CATCH_UP_S


@pytest.mark.parametrize("speed", ["", "fast", "0", "-3", "nan", "20000", "3 5"])
def test_no_other_speed_is_taken(speed: str):
    """What is no number from 0.01 to 10000 is refused and changes nothing."""
    with standing_in(bike(), speed=3.0) as (running, _):
        with pytest.raises(BenchlogError, match=r'the speed must be a number from 0\.01 to 10000, got "'):
            told_speed(running, speed)
        assert running.speed == 3.0
