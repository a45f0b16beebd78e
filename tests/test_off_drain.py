"""What else decides a drain: its noise, its zero, hands on the bike and wake-ups, on key-offs written by hand."""

import numpy as np
import pytest
from hand_bench import AMPS
from test_off_state import FINE, a_bench, found

from benchlog.analysis.drain import Drain, drain
from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.zero import Zero
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.off_drain import drain_finding
from benchlog.examine.off_spans import OffSpan, off_spans
from benchlog.examine.off_state import examine_off_state
from benchlog.examine.wakes import fails_by_wakes

#: A channel of 2 mA, far above what the figure scatters.
WIDE = Accuracy(0.0, 0.002, 0.0)


def remembers(memory_s):
    """Noise of the current that lasts so long."""
    return {"battery_a": NoiseModel(0.0001, 0.0001, memory_s, (0.1, 20.0), (0.0001, 0.00005))}


def scatter_of(one):
    """Standard uncertainty of its drain from scatter, A."""
    return examine_off_state(one).drain.type_a_u


def test_drains_scatter_follows_the_noises_memory():
    """As told by the log; without a model of it by the stretch itself."""
    one = a_bench(noise=remembers(5.0))
    settled = examine_off_state(one).spans[0].settled
    whole = drain(one.overview, "battery_a", settled, FINE, (), 5.0)
    alone = drain(one.overview, "battery_a", settled, FINE, (), 0.0)

    assert whole.type_a_u > 1.2 * alone.type_a_u
    assert scatter_of(one) == whole.type_a_u
    assert scatter_of(a_bench()) == alone.type_a_u


def test_span_that_nothing_settled_shows_no_drain():
    """Beside one that did."""
    one = a_bench()
    (good,) = off_spans(one, ["battery_a"])
    _, worst, _, told = drain_finding(one, True, [OffSpan(10.0, 20.0, False, None, None), good])

    assert worst.mean_a == pytest.approx(0.005, abs=1e-5)
    assert told.value == pytest.approx(5.0, abs=0.01)


@pytest.mark.parametrize(("amps", "by_zero"), [(0.0025, True), (0.0022, False)])
def test_drain_is_told_from_its_zero_by_the_doubt_of_both(amps, by_zero):
    """Twice 2 mA over the root of three is 2.3 mA: what it scatters by is far less."""
    zero = {"zeros": {"battery_a": Zero(0.001, 0.00001)}, "stated": {"battery_a": AMPS}}
    drained, _ = found(amps=amps, accuracy=WIDE, **zero)

    assert drained.value == pytest.approx(1000 * (amps if by_zero else amps + 0.001), abs=0.02)


@pytest.mark.parametrize(("amps", "by_zero"), [(0.0008, True), (0.0004, False)])
def test_drain_of_no_stated_accuracy_is_told_from_its_zero_by_scatter(amps, by_zero):
    """And by the zero's own doubt, 0.3 mA."""
    zero = {"zeros": {"battery_a": Zero(0.002, 0.0003)}, "stated": {"battery_a": AMPS}}
    drained, _ = found(amps=amps, accuracy=None, **zero)

    assert drained.value == pytest.approx(1000 * (amps if by_zero else amps + 0.002), abs=0.02)


def test_drain_in_doubt_fails_by_no_wake_ups():
    """Thirty of 3 s and 80 mA, with a tenth of the stretch missing and without."""
    wakes = tuple((70.0 + 7.5 * n, 3.0, 0.08) for n in range(30))
    drained, _ = found(wakes=wakes)
    gone, _ = found(wakes=wakes, keep=lambda t: (t < 150) | (t > 180))

    assert drained.failed.startswith("30 wake-ups alone draw ")
    assert drained.failed.endswith(" mA on average, more than the 10 mA allowed, whatever flows between them")
    assert gone.disqualified == "the log has a gap of 30 s in that stretch"
    assert gone.failed is None


def test_visit_is_left_out_with_the_points_around_it():
    """They may hold some of it: 0.4 A at its edges as well."""
    visits = ((149.9, 0.1, 0.2), (150.0, 10.0, 0.4), (160.0, 0.1, 0.2))

    assert "without that its drain would be 5 mA: " in found(wakes=visits[1:2])[0].disqualified
    assert "without that its drain would be 5 mA: " in found(wakes=visits)[0].disqualified


def test_shortest_wake_up_that_would_show_is_two_samples():
    """0.12 s; below a tenth of a second nothing is said of it."""
    assert found(step_s=0.06, end_s=200.0)[0].story.endswith("no wake-up of 0.1 s or longer seen")
    assert found(step_s=0.049, end_s=200.0)[0].story.endswith("no wake-up seen")


def test_drain_of_nothing_leaves_no_days():
    """A channel that reads zero throughout an hour and more."""
    nothing = {"battery_a": lambda t: np.where(t < 50, 4.0, 0.0)}
    drained, _ = found(end_s=3800.0, step_s=1.0, values=nothing)

    assert drained.value == 0.0
    assert drained.story == "watched for 3749 s, no wake-up of 2.0 s or longer seen"


@pytest.mark.parametrize(("base_a", "fails"), [(-0.00505, True), (-0.00515, False)])
def test_wake_ups_prove_nothing_on_a_base_below_what_the_offset_allows(base_a, fails):
    """5 mA and twice 50 µA of scatter."""
    one = Drain(base_a + 0.012, 0.00005, 0.00005, base_a, 5, 240.0, 0, 0.1)

    assert bool(fails_by_wakes(one, Accuracy(0.0, 0.005, 0.0), 0.010)) is fails
