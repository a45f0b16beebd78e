"""The state of a running recording as the pages see it."""

import json
import time
from pathlib import Path

import pytest

from benchlog.bench.live import GONE_S, STALE_S, LiveState, LiveStep, forget_live, live_folder, running, write_live
from benchlog.core.errors import BenchlogError


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))


def state(**changed: object) -> LiveState:
    """A recording that has just said something."""
    now = time.time()
    plain = {"log": "a.csv", "port": "loop://", "started_at": now, "updated_at": now, **changed}
    return LiveState(**plain)  # type: ignore[arg-type]  # the fields differ in kind


def test_what_was_written_is_read():
    """A state comes back as it was, step, points and missing values included."""
    step = LiveStep(3, 9, "key_on", "Key on", "Turn the key on.", "hands clear", "the trigger")
    written = state(
        kept=5, told=("gap",), last={"battery_v": None}, time_s=(0.1, 0.2), recent={"x": [1.0, None]}, step=step
    )

    write_live(written)

    assert running() == [written]


def test_nobody_records():
    """Without a folder there is no recording."""
    assert running() == []


def test_a_recording_that_fell_silent_is_not_shown():
    """After a few silent seconds a recording is no longer shown, and after a day its file is gone."""
    write_live(state())
    now = time.time()

    assert len(running(now)) == 1
    assert running(now + STALE_S + 1) == []
    assert len(list(live_folder().iterdir())) == 1
    assert running(now + GONE_S + 1) == []
    assert list(live_folder().iterdir()) == []


def test_a_recording_that_ended_before_the_clock_was_set_back_is_not_shown():
    """A time that is yet to come is as old as one that is past."""
    write_live(state())
    now = time.time()

    assert running(now - STALE_S - 1) == []
    assert len(list(live_folder().iterdir())) == 1
    assert running(now - GONE_S - 1) == []
    assert list(live_folder().iterdir()) == []


def test_what_cannot_be_read_is_no_recording():
    """Half a file, another version's file and a foreign file hide nothing else."""
    write_live(state())
    for name, text in {
        "1.json": '{"log": "b.c',
        "2.json": '{"log": "b", "colour": 1}',
        "3.json": "[]",
        "4.json": "7",
    }.items():
        (live_folder() / name).write_text(text, encoding="utf-8")

    assert [one.log for one in running()] == ["a.csv"]


def test_newest_first_and_forgotten():
    """Recordings of other processes stand beside this one's, the newest first, until each is forgotten."""
    write_live(state())
    other = json.loads(next(live_folder().iterdir()).read_text(encoding="utf-8"))
    other |= {"log": "newer.csv", "started_at": other["started_at"] + 1}
    (live_folder() / "1.json").write_text(json.dumps(other), encoding="utf-8")

    assert [one.log for one in running()] == ["newer.csv", "a.csv"]
    forget_live()
    assert [one.log for one in running()] == ["newer.csv"]


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A data folder whose place is taken by a file is named."""
    (tmp_path / "taken").write_text("", encoding="utf-8")
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "taken"))

    with pytest.raises(BenchlogError, match=r"live: the folder cannot be created \(not a directory\)"):
        write_live(state())
