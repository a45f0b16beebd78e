"""Pull-in, drop-out and chatter: against ngspice, closed forms and made-up contacts.

ngspice must be installed; without it these tests fail.
"""

import math
import re
import subprocess

import numpy as np
import pytest

from benchlog.analysis.contact import chatter_count, contact_moves
from benchlog.analysis.levels import Crossing
from benchlog.analysis.relay import drop_out, local_levels, pull_in, trigger_crossings
from benchlog.core.trace import Trace

# A coil of 90 ohm and 0.3 H on 12 V with a diode across it; the contact closes at 80 mA and opens at 30 mA.
COIL_OHM, COIL_H, EMF_V = 90.0, 0.3, 12.0
TAU_S = COIL_H / COIL_OHM
ON_S, OFF_S, END_S = 0.010, 0.060, 0.110


def _deck(trigger_f):
    return f"""relay behind a key-switched circuit
Vbat bat 0 {EMF_V}
Vkey key 0 PULSE(0 1 {ON_S} 1u 1u {OFF_S - ON_S} 1)
S1 bat trig key 0 SKEY
.model SKEY SW(vt=0.5 vh=0 ron=1m roff=10meg)
C1 trig 0 {trigger_f}
D1 0 trig DCLAMP
.model DCLAMP D(is=1e-14)
R1 trig coil {COIL_OHM}
L1 coil sense {COIL_H}
Vsense sense 0 0
W1 bat feed Vsense CONTACT
.model CONTACT CSW(it=0.055 ih=0.025 ron=1m roff=10meg)
R2 feed 0 10
.tran 10u {END_S} 0 10u
.meas tran closed TRIG v(trig) VAL={EMF_V / 2} RISE=1 TARG v(feed) VAL={EMF_V / 2} RISE=1
.meas tran opened TRIG v(trig) VAL={EMF_V / 2} FALL=1 TARG v(feed) VAL={0.9 * EMF_V} FALL=1
.control
run
wrdata trace.txt v(trig) v(feed) v(bat)
.endc
.end
"""


@pytest.fixture(scope="module")
def spiced(tmp_path_factory):
    """Traces that ngspice made, with its own two times: a trigger without and with a capacitor on it."""
    made = {}
    for trigger_f in (1e-12, 47e-6):
        folder = tmp_path_factory.mktemp("relay")
        (folder / "deck.cir").write_text(_deck(trigger_f), encoding="utf-8")
        ran = subprocess.run(
            ["ngspice", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, check=False, timeout=60
        )
        told = dict(re.findall(r"^(closed|opened)\s+=\s+([-+.\de]+)", ran.stdout, flags=re.MULTILINE))
        assert set(told) == {"closed", "opened"}, ran.stdout + ran.stderr
        table = np.loadtxt(folder / "trace.txt")
        _, first = np.unique(table[:, 0], return_index=True)
        t, trigger, feed, battery = table[first][:, (0, 1, 3, 5)].T
        values = {"trigger_v": trigger, "feed_v": feed, "battery_v": battery}
        made[trigger_f] = (Trace(t, values, {}), float(told["closed"]), float(told["opened"]))
    return made


def _resampled(trace, rate_hz, phase):
    t = np.arange(phase / rate_hz, trace.time_s[-1], 1 / rate_hz)
    return Trace(t, {role: np.interp(t, trace.time_s, x) for role, x in trace.values.items()}, {})


def _operated(trace):
    """Pull-in and drop-out of one on and off."""
    middle = (ON_S + OFF_S) / 2
    rise = trigger_crossings(trace.between(0, middle))
    fall = trigger_crossings(trace.between(middle, END_S))
    assert [c.to for c in rise + fall] == ["high", "low"]
    return (
        pull_in(trace.between(0, middle), rise[0], EMF_V),
        drop_out(trace.between(middle, END_S), fall[0], EMF_V),
    )


@pytest.mark.parametrize("trigger_f", [1e-12, 47e-6])
def test_times_are_those_that_ngspice_measures(spiced, trigger_f):
    """On the simulator's own time steps both times agree with its .measure, with a slow trigger too."""
    trace, closed_s, opened_s = spiced[trigger_f]

    closing, opening = _operated(trace)

    assert closing.took_s == pytest.approx(closed_s, abs=2e-5)
    assert opening.took_s == pytest.approx(opened_s, abs=2e-5)
    assert closing.trigger_s == pytest.approx(ON_S, abs=1e-5)


def test_times_are_those_of_the_coil_by_closed_form(spiced):
    """80 mA after 3.0543 ms; from 133 mA to 30 mA behind a diode of 0.6 to 0.75 V in 4.36 to 4.47 ms."""
    closing, opening = _operated(spiced[1e-12][0])
    drops = [TAU_S * math.log((EMF_V + v) / (0.03 * COIL_OHM + v)) for v in (0.75, 0.6)]

    assert closing.took_s == pytest.approx(-TAU_S * math.log(1 - 0.08 * COIL_OHM / EMF_V), abs=2e-5)
    assert closing.took_s * 1e3 == pytest.approx(3.0543, abs=0.02)
    assert np.array(drops) * 1e3 == pytest.approx([4.36, 4.47], abs=0.006)
    assert drops[0] * 0.99 < opening.took_s < drops[1] * 1.01


@pytest.mark.parametrize("rate_hz", [500, 1000, 4000])
def test_slower_samples_stay_within_the_stated_widths(spiced, rate_hz):
    """Wherever the samples fall, the truth is no further away than the two widths together."""
    trace, closed_s, opened_s = spiced[1e-12]
    for phase in np.linspace(0.05, 0.95, 10):
        closing, opening = _operated(_resampled(trace, rate_hz, phase))

        assert closing.widths_s == pytest.approx((1 / rate_hz,) * 2)
        assert abs(closing.took_s - closed_s) <= sum(closing.widths_s) + 1e-5
        assert abs(opening.took_s - opened_s) <= sum(opening.widths_s) + 1e-5


def _made(trigger, feed, rate_hz=1000, battery=None, end_s=0.5):
    """``trigger`` and ``feed``: functions of time."""
    t = np.arange(0, end_s, 1 / rate_hz)
    values = {"trigger_v": trigger(t), "feed_v": feed(t)}
    return Trace(t, values if battery is None else values | {"battery_v": battery(t)}, {})


def _after(at_s, before=0.0, then=12.0):
    return lambda t: np.where(t < at_s, before, then)


def _only(trace):
    (crossing,) = trigger_crossings(trace)
    return crossing


@pytest.mark.parametrize("took_ms", [0.4, 3, 12, 150])
def test_times_of_a_contact_that_just_switches(took_ms):
    """Made-up steps at 10 kHz: both times as made, within a sample each."""
    at = 0.2 + took_ms / 1000
    on = _made(_after(0.2), _after(at), 10_000)
    off = _made(_after(0.2, 12, 0), _after(at, 12, 0), 10_000)

    assert pull_in(on, _only(on), 12.0).took_s == pytest.approx(took_ms / 1000, abs=2e-4)
    assert drop_out(off, _only(off), 12.0).took_s == pytest.approx(took_ms / 1000, abs=2e-4)


def test_references_are_50_pct_closing_and_90_pct_opening():
    """A feed that rises and falls in a line over 100 ms, 10 ms after the trigger: 60 ms up, 20 ms down."""
    on = _made(_after(0.2), lambda t: np.interp(t, [0.21, 0.31], [0, 12]))
    off = _made(_after(0.2, 12, 0), lambda t: np.interp(t, [0.21, 0.31], [12, 0]))

    assert pull_in(on, _only(on), 12.0).took_s == pytest.approx(0.0605, abs=1e-3)
    assert drop_out(off, _only(off), 12.0).took_s == pytest.approx(0.0205, abs=1e-3)


def test_both_instants_lie_between_samples():
    """Two ramps with samples 3 ms apart: interpolation gives 0.26 s less 0.205 s to the last digit."""
    on = _made(lambda t: np.interp(t, [0.2, 0.21], [0, 12]), lambda t: np.interp(t, [0.21, 0.31], [0, 12]), 1 / 0.003)
    t = on.time_s
    trigger = Crossing(0.205, t[t < 0.205][-1], t[t > 0.205][0], int(np.argmax(t > 0.205)), "high")

    got = pull_in(on, trigger, 12.0)

    assert got.took_s == pytest.approx(0.055, abs=1e-9)
    assert got.trigger_s == 0.205
    assert got.widths_s == pytest.approx((0.003, 0.003))


def test_level_before_counts_into_the_swing():
    """A feed that floats at 4 V and closes to 12 V is half way at 8 V."""
    on = _made(_after(0.2), lambda t: np.interp(t, [0.21, 0.29], [4, 12]))

    assert pull_in(on, _only(on), 12.0, dead_v=4.0).took_s == pytest.approx(0.0505, abs=1e-3)
    assert pull_in(on, _only(on), 12.0).took_s == pytest.approx(0.0305, abs=1e-3)


def test_first_contact_counts_bounce_does_not():
    """Closing and opening times end with the first move (IEC 61810-1: bounce is left out)."""

    def closing(t):
        return np.where((t >= 0.210) & ~((t >= 0.2115) & (t < 0.213)), 12.0, 0.0)

    on = _made(_after(0.2), closing, 10_000)
    off = _made(_after(0.2, 12, 0), lambda t: 12 - closing(t), 10_000)

    assert pull_in(on, _only(on), 12.0).took_s == pytest.approx(0.010, abs=2e-4)
    assert drop_out(off, _only(off), 12.0).took_s == pytest.approx(0.010, abs=2e-4)


def test_contact_that_never_moves_has_no_time():
    """The window ends with the feed where it was."""
    on = _made(_after(0.2), lambda t: 0 * t)
    off = _made(_after(0.2, 12, 0), lambda t: 0 * t + 12)

    for got in (pull_in(on, _only(on), 12.0), drop_out(off, _only(off), 12.0)):
        assert got.took_s is None
        assert not got.already


def test_feed_on_the_far_side_before_the_trigger_is_told():
    """Live before the trigger rose, or dead before it fell: no time, but ``already``."""
    on = _made(_after(0.2), lambda t: 0 * t + 12)
    off = _made(_after(0.2, 12, 0), lambda t: 0 * t)

    for got in (pull_in(on, _only(on), 12.0), drop_out(off, _only(off), 12.0)):
        assert got.took_s is None
        assert got.already


def test_feed_without_valid_sample_has_no_time():
    """Nothing to read after the trigger."""
    on = _made(_after(0.2), lambda t: np.full(len(t), np.nan))

    assert pull_in(on, _only(on), 12.0).took_s is None


@pytest.mark.parametrize(("before_v", "after_v"), [(14.3, 12.5), (11.9, 12.8)])
def test_battery_that_moves_with_the_key_is_no_drop_out(before_v, after_v):
    """The engine stops with the key and the feed follows the battery down; the contact opens 40 ms later."""
    battery = _after(0.2, before_v, after_v)
    trace = _made(
        lambda t: np.where(t < 0.2, battery(t), 0.0),
        lambda t: np.where(t < 0.24, 0.98 * battery(t), 0.0),
        1000,
        battery,
    )

    got = drop_out(trace, _only(trace), 0.98 * before_v)

    assert got.took_s == pytest.approx(0.040, abs=2e-3)


def test_battery_channel_that_reads_nothing_is_left_out():
    """Missing battery samples leave the feed as it is."""
    trace = _made(_after(0.2, 12, 0), _after(0.24, 12, 0), 1000, lambda t: np.full(len(t), np.nan))

    assert drop_out(trace, _only(trace), 12.0).took_s == pytest.approx(0.040, abs=2e-3)


def test_times_keep_under_shift_of_the_clock_and_scale_of_the_voltage():
    """A log that starts at 1000 s, or a bike with half the voltage: the same time."""
    plain = _made(_after(0.2), _after(0.2123))
    moved = Trace(plain.time_s + 1000, {role: x / 2 for role, x in plain.values.items()}, {})

    assert pull_in(moved, _only(moved), 6.0).took_s == pytest.approx(pull_in(plain, _only(plain), 12.0).took_s)


def test_slow_trigger_is_timed_at_half_its_own_swing():
    """A fall with tau 0.3 s that the window cuts off: with the line's low level it is half way after ln 2 tau."""
    trace = _made(lambda t: 12 * np.exp(-np.maximum(t - 0.1, 0) / 0.3), lambda t: 0 * t, end_s=0.5)
    cut = trigger_crossings(trace)[0]

    (got,) = trigger_crossings(trace, low=0.0)

    assert got.time_s - 0.1 == pytest.approx(0.3 * math.log(2), abs=1e-4)
    assert cut.time_s < got.time_s - 0.05


def test_low_level_above_the_windows_own_high_is_ignored():
    """A line's low level that makes no sense here does not hide the passage."""
    trace = _made(_after(0.2, 0.0, 4.0), lambda t: 0 * t)

    assert trigger_crossings(trace, low=5.0)[0].time_s == pytest.approx(0.2, abs=1e-3)


def test_local_levels_are_medians_at_both_ends():
    """Spikes do not move them; a window without a swing of 1 V has none."""
    rng = np.random.default_rng(1)
    x = np.repeat([0.2, 13.9], 100) + rng.normal(0, 0.02, 200)
    x[[3, 190]] = 40.0, -5.0

    got = local_levels(x)

    assert (got.low, got.high) == pytest.approx((0.2, 13.9), abs=0.03)
    assert local_levels(x[::-1]) == got
    assert local_levels(np.repeat([12.0, 12.9], 50)) is None
    assert local_levels(np.array([0.0, np.nan, 12.0, 12.0])) is None
    assert trigger_crossings(_made(lambda t: 0 * t + 12, lambda t: 0 * t)) == []


# Key on from 1 s to 3 s, off until 6 s; the contact follows after 10 ms.
KEY = (1.010, 3.0, 6.0)


def _feed_with(*pulses):
    """A contact's trace at 2 kHz; each pulse turns its state over from, to."""
    t = np.arange(0, 6, 0.0005)
    closed = (t >= 1.0098) & (t < 3.0098)
    for from_s, to_s in pulses:
        closed ^= (t >= from_s - 0.0002) & (t < to_s - 0.0002)
    return Trace(t, {"feed_v": np.where(closed, 12.0, 0.0)}, {})


def _chatter(*pulses, slack_s=0.0):
    return chatter_count(contact_moves(_feed_with(*pulses), 12.0), *KEY, slack_s)


def test_clean_on_and_off_has_no_chatter():
    """One closing, one opening."""
    moves = contact_moves(_feed_with(), 12.0)

    assert [(move.to, round(move.time_s, 2)) for move in moves] == [("high", 1.01), ("low", 3.01)]
    assert _chatter() == 0


@pytest.mark.parametrize(
    "pulses",
    [((1.011, 1.012),), ((1.0115, 1.013), (1.0145, 1.0148)), ((3.011, 3.0125),), ((3.011, 3.012), (3.0135, 3.014))],
)
def test_bounce_within_5_ms_is_no_chatter(pulses):
    """The contact opens again within 5 ms of closing, or touches again within 5 ms of opening."""
    assert len(contact_moves(_feed_with(*pulses), 12.0)) > 2
    assert _chatter(*pulses) == 0


@pytest.mark.parametrize(
    ("pulses", "count"),
    [
        (((2.0, 2.008),), 1),
        (((1.018, 1.026),), 1),
        (((1.5, 1.508), (1.6, 1.608), (2.9, 2.95)), 3),
        (((3.018, 3.026),), 1),
        (((3.5, 3.508), (5.0, 5.5)), 2),
        (((1.5, 1.508), (5.0, 5.5)), 2),
    ],
)
def test_opening_of_8_ms_and_reclosing_are_chatter(pulses, count):
    """Openings with the key on, 8 ms after closing or later, and closings with it off count one each."""
    assert _chatter(*pulses) == count


def test_opening_within_the_doubt_of_the_key_off_is_the_drop_out():
    """A key-off known to half a second: an opening 0.3 s before it is the drop-out, one 0.8 s before is chatter."""
    moves = contact_moves(_feed_with((2.7, 3.0098)), 12.0)

    assert chatter_count(moves, *KEY, 0.5) == 0
    assert chatter_count(moves, *KEY) == 1
    assert _chatter((2.2, 2.208), slack_s=0.5) == 1


def test_moves_outside_the_key_cycle_do_not_count():
    """What happens before the first closing or after the span belongs elsewhere."""
    early, late = Crossing(0.5, 0.4995, 0.5005, 1, "low"), Crossing(6.5, 6.4995, 6.5005, 9, "high")
    moves = contact_moves(_feed_with(), 12.0)

    assert chatter_count([early, *moves, late], *KEY) == 0


@pytest.mark.parametrize(("share", "count"), [(0.65, 2), (0.45, 2), (0.35, 4)])
def test_sag_is_no_opening(share, count):
    """A feed that falls to 45 % of its level stays closed, at 35 % it has opened (40 to 60 % is the band)."""
    trace = _feed_with()
    feed = trace.values["feed_v"].copy()
    feed[4000:4100] *= share

    assert len(contact_moves(Trace(trace.time_s, {"feed_v": feed}, {}), 12.0)) == count
