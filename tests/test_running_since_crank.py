"""An engine that is marked as running after a crank has turned since that crank, however late the mark."""

import math

import pytest

from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.examine.timeline import _with_marks

KEY_ON = (50.0, 130.0)


def crank() -> Crank:
    """The starter from 80 to 81.5 s."""
    return Crank(80.0, 81.5, 12.5, 13.6)


def shown(from_s: float, to_s: float, *dark: tuple[float, float]) -> Running:
    """A run that shows itself by the voltage."""
    return Running(from_s, to_s, "voltage", 12.5, 13.6, dark=dark)


def test_idling_before_the_mark_counts():
    """An engine that shows only from 10 s after its start on, and was marked in between, has idled since the crank."""
    late = shown(91.5, 125.0, (81.5, 91.5))

    (run,) = _with_marks([late], [85.0], [], [crank()], KEY_ON)

    assert (run.from_s, run.to_s, run.how, run.dark) == (81.5, 125.0, "mark", ())


@pytest.mark.parametrize(
    ("found", "stopped_at"),
    [([], [84.0]), ([shown(82.0, 84.0)], [])],
    ids=["marked as stopped", "seen to stop"],
)
def test_what_stopped_before_the_mark_is_another_run(found, stopped_at):
    """Where the engine stopped between crank and mark, this run begins with its mark."""
    runs = _with_marks(found, [90.0], stopped_at, [crank()], KEY_ON)

    assert runs[-1].from_s == 90.0


def test_without_a_crank_a_mark_stands_for_itself():
    """A pushed engine runs from its mark on."""
    (run,) = _with_marks([], [90.0], [], [], KEY_ON)

    assert run.from_s == 90.0
    assert math.isnan(run.before_v)
