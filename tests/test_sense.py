"""Readings that no bike gives: a wrong unit, turned leads and columns changed over are faults of the log."""

import tomllib

import numpy as np
import pandas as pd
import pytest
import scenarios
from truth_table import canonical_logger

import benchlog
from benchlog.core.errors import BadLog
from benchlog.standin import Simulation

HEALTHY = scenarios.healthy(500)
PARKED = scenarios.parked(8.0, drain_a=0.0006)


def checked(sim: Simulation, frame: pd.DataFrame, chemistry: str = "agm") -> benchlog.Result:
    """What is found in a frame that says of itself that it is a simulation's log."""
    plan = tomllib.loads(sim.plan_toml)
    plan["battery"]["chemistry"] = chemistry
    return benchlog.check(frame, plan=plan, logger=canonical_logger(sim.spec))


def times(role: str, factor: float, sim: Simulation = HEALTHY) -> pd.DataFrame:
    """A log of which one column is multiplied."""
    return sim.frame.assign(**{role: sim.frame[role] * factor})


def told(result: benchlog.Result) -> str:
    """All notes."""
    return "|".join(note.text for note in result.notes)


# ---- refused


@pytest.mark.parametrize("role", ["battery_v", "feed_v", "trigger_v", "battery_a", "feed_a"])
def test_thousandths_read_as_whole_units_are_refused(role: str):
    """A column in mV or mA whose header does not say so neither passes nor fails anything."""
    with pytest.raises(BadLog, match=rf"{role} reads [\d.]+ [VA], which no bike has.*head it {role} \[m[VA]\]"):
        checked(HEALTHY, times(role, 1000.0))


def test_ground_in_millivolts_is_refused():
    """A ground bus that stands above the battery is a unit's mistake, not a poor ground."""
    with pytest.raises(BadLog, match=r"ground_v reads .* where battery_v reads 1.*ground_v is in mV"):
        checked(HEALTHY, times("ground_v", 1000.0))


def test_turned_battery_leads_are_not_blamed_on_the_shunt():
    """Where battery_v is negative its own leads are named, though current and voltage rise together then."""
    with pytest.raises(BadLog, match=r"battery_v reads −1\d\.\d+ V, so its leads are the wrong way round"):
        checked(HEALTHY, times("battery_v", -1.0))


def test_turned_feed_shunt_is_no_dead_slot():
    """A feed current that is only ever negative is refused, where every circuit would be called dead."""
    with pytest.raises(BadLog, match=r"feed_a reads down to −.* so it is reversed; into the load must be positive"):
        checked(HEALTHY, times("feed_a", -1.0))


def test_battery_and_feed_changed_over_are_no_welded_contact():
    """A feed that is live beside a dead battery is refused."""
    frame = HEALTHY.frame.rename(columns={"battery_v": "feed_v", "feed_v": "battery_v"})

    with pytest.raises(BadLog, match="the two columns are swapped, or battery_v has another unit or a lead off"):
        checked(HEALTHY, frame)


def test_missing_samples_written_as_0_are_refused():
    """Zeros among good samples neither lower the resting voltage nor count as chatter."""
    frame = HEALTHY.frame.copy()
    frame.loc[::7, ["battery_v", "feed_v"]] = 0.0

    with pytest.raises(BadLog, match="missing samples are written as 0: leave such cells empty"):
        checked(HEALTHY, frame)


# ---- not refused


def test_glitches_refuse_nothing():
    """A few wild samples are no wrong unit."""
    frame = HEALTHY.frame.copy()
    frame.loc[[100, 5000, 9000], "battery_v"] = 9999.0

    assert "no bike has" not in told(checked(HEALTHY, frame))


@pytest.mark.parametrize(
    "name", ["backfed_coil", "welded_contact", "ground_open", "feed_open", "overcharge", "no_charge", "weak_battery"]
)
def test_faults_of_the_bike_are_judged(name: str):
    """What a broken install reads is none of these."""
    sim = scenarios.fault(name, 500)

    result = checked(sim, sim.frame)

    assert result.verdict == "fail"
    assert "battery_v never" not in told(result)


# ---- proves nothing


def test_turned_ground_leads_pass_nothing():
    """A ground bus below battery negative under load is not proven, where −0.05 V would lie within any limit."""
    ground = checked(HEALTHY, times("ground_v", -1.0)).check("ground_lift")

    assert ground.verdict == "not proven"
    assert ground.because.endswith("below battery negative by this reading: its leads may be the wrong way round.")


def test_feed_above_the_battery_passes_nothing():
    """A feed that rises above the battery with the load is not proven."""
    frame = HEALTHY.frame
    frame = frame.assign(
        feed_v=np.where(frame["feed_v"] > 6, 2 * frame["battery_v"] - frame["feed_v"], frame["feed_v"])
    )

    feed = checked(HEALTHY, frame).check("feed_drop")

    assert feed.verdict == "not proven"
    assert "the feed stands above the battery by this reading" in feed.because


# ---- told


def test_drain_that_the_battery_does_not_show_is_doubted():
    """Hundreds of mA for hours would lower the voltage; where it stands still, the column may be in mA."""
    result = checked(PARKED, times("drain_a", 1000.0, PARKED))

    assert "by drain_a the battery gave 4." in told(result)
    assert "if the column is in mA, head it drain_a [mA]" in told(result)
    assert "the battery gave" not in told(checked(PARKED, PARKED.frame))


def test_flat_voltage_of_lithium_doubts_no_drain():
    """A LiFePO4 battery gives much of its charge at one voltage."""
    assert "the battery gave" not in told(checked(PARKED, times("drain_a", 1000.0, PARKED), "lifepo4"))


@pytest.mark.parametrize(
    ("chemistry", "higher_v", "doubted"), [("agm", 0.5, True), ("agm", 0.0, False), ("lifepo4", 0.5, False)]
)
def test_battery_of_another_chemistry_is_doubted(chemistry: str, higher_v: float, doubted: bool):
    """13.3 V at rest is no AGM battery, and its limits say little then: the plan's chemistry is doubted."""
    frame = PARKED.frame.assign(battery_v=PARKED.frame["battery_v"] + higher_v)

    text = told(checked(PARKED, frame, chemistry))

    assert ('a LiFePO4 battery needs chemistry = "lifepo4" in the plan' in text) is doubted
    assert ("V at rest is more than a full AGM battery shows (12.8 V)" in text) is doubted


def test_range_that_ends_unsaid_is_told():
    """A current that stands at one figure while the starter turns was cut off, and no load of 20 A."""
    text = told(checked(HEALTHY, HEALTHY.frame.assign(battery_a=HEALTHY.frame["battery_a"].clip(upper=20.0))))

    assert "battery_a stands at exactly 20 A, its highest, from " in text
    assert "stands at exactly" not in told(checked(HEALTHY, HEALTHY.frame))


def test_marked_crank_that_no_channel_shows_is_told():
    """Where a crank is marked the reason does not ask for one, but says that no channel shows it."""
    frame = HEALTHY.frame.assign(
        battery_a=HEALTHY.frame["battery_a"].clip(upper=20.0), battery_v=HEALTHY.frame["battery_v"].clip(lower=12.0)
    )

    because = checked(HEALTHY, frame).check("crank_minimum").because

    assert because.startswith('"crank" is marked at ')
    assert "but no channel shows a starter there" in because


def test_dead_battery_channel_is_told():
    """A battery lead that was off all night is told, and the drain is judged."""
    result = checked(PARKED, times("battery_v", 1e-4, PARKED))

    assert "battery_v never reads above 0.001" in told(result)
    assert result.check("off_state_drain").verdict == "pass"


def test_loose_battery_lead_is_told():
    """Zeros in a log with the key off refuse nothing, and are told with the first one's time."""
    frame = PARKED.frame.copy()
    frame.loc[1000:1020, "battery_v"] = 0.0

    assert f"next to 0 V now and then, first at {frame['time_s'][1000]:.1f} s" in told(checked(PARKED, frame))


def test_milliseconds_read_as_seconds_are_told():
    """An acceptance run in ms reads as a day with a relay that takes seconds: the unit to write is told."""
    frame = HEALTHY.frame.assign(time_s=(HEALTHY.frame["time_s"] * 1000).round())

    text = told(checked(HEALTHY, frame))

    assert "read in s, this log has a relay that takes " in text
    assert "head its time column time_s [ms]" in text
    assert "a relay that takes" not in told(checked(HEALTHY, HEALTHY.frame))
