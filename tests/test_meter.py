"""What readings of a hand meter prove, and what they never do."""

import re
from pathlib import Path
from typing import Any

import pytest

import benchlog
from benchlog.core.errors import BadReadings
from benchlog.meter.model import load_readings

SAMPLES = Path(__file__).parent.parent / "sample_data"
PLAN = SAMPLES / "larch.plan.toml"
METER = '[meter]\nname = "hand meter"\nvoltage = { pct = 0.5, digits = 2 }\ncurrent = { pct = 1.0, digits = 3 }\n'


def reading(**keys: Any) -> str:
    """One table; ``start`` and ``end`` are the points."""
    keys = {"from" if key == "start" else "to" if key == "end" else key: value for key, value in keys.items()}
    lines = [f"{key} = {str(value).lower() if isinstance(value, bool) else repr(value)}" for key, value in keys.items()]
    return "[[reading]]\n" + "\n".join(lines).replace("'", '"') + "\n"


def at(role: str, state: str, shown: str, **more: Any) -> str:
    """What the meter shows of a quantity, with its unit."""
    value, unit = shown.split()
    return reading(role=role, state=state, value=value, unit=unit, **more)


def across(start: str, end: str, shown: str) -> str:
    """What it shows between two points with all circuits on."""
    value, unit = shown.split()
    return reading(start=start, end=end, state="all on", value=value, unit=unit)


def drain(value: str, **more: Any) -> str:
    """A drain, mA, half an hour after the key-off."""
    return reading(role="drain_a", state="asleep", value=value, unit="mA", **{"waited_s": 1800, **more})


def result(folder: Path, *readings: str, meter: str = METER, **more: Any) -> benchlog.Result:
    """The readings against the sample plan."""
    path = folder / "readings.toml"
    path.write_text(meter + "".join(readings), encoding="utf-8")
    return benchlog.check([path, *more.pop("logs", [])], plan=PLAN, **more)


AVERAGE = {"averaged_s": 600, "watched_s": 600}
#: What is read -> check, its verdict, and words of its reason. The plan's limits are those of the sample.
SCENARIOS: dict[str, tuple[list[str], str, str, str]] = {
    "a single drain": ([drain("0.61")], "off_state_drain", "not proven", "a single reading cannot exclude"),
    "a single high drain": ([drain("41.3")], "off_state_drain", "not proven", "a single reading cannot exclude"),
    "an average": ([drain("0.61", lowest="0.58", highest="4.1", **AVERAGE)], "off_state_drain", "pass", "10 minutes"),
    "an average near the limit": (
        [drain("0.98", lowest="0.58", highest="4.1", **AVERAGE)],
        "off_state_drain",
        "not proven",
        "a finer range",
    ),
    "an average over range": (
        [drain("0.61", lowest="0.58", highest="OL", **AVERAGE)],
        "off_state_drain",
        "not proven",
        "over range while it watched",
    ),
    "an average without its lowest": ([drain("0.61", averaged_s=600)], "off_state_drain", "not proven", "inside"),
    "a short average": (
        [drain("0.61", lowest="0.6", averaged_s=20, watched_s=20)],
        "off_state_drain",
        "not proven",
        "covers 20 s",
    ),
    "a lowest above the limit": ([drain("1.9", lowest="1.8", watched_s=120)], "off_state_drain", "fail", "breaks"),
    "a lowest kept for a moment": (
        [drain("1.9", lowest="1.8", watched_s=5)],
        "off_state_drain",
        "not proven",
        "single",
    ),
    "a drain read too early": (
        [drain("1.9", lowest="1.8", watched_s=120, waited_s=20)],
        "off_state_drain",
        "not seen",
        "20 s after the key-off",
    ),
    "a drain of unknown wait": (
        [at("drain_a", "asleep", "0.2 mA", lowest="0.2", highest="0.3", **AVERAGE)],
        "off_state_drain",
        "not proven",
        "is not noted",
    ),
    "a drain of nothing": ([drain("0.00", lowest="0.00", **AVERAGE)], "off_state_drain", "not proven", "may be blown"),
    "a drain of nothing through a meter that showed a load": (
        [drain("0.00", lowest="0.00", **AVERAGE), drain("38.2", waited_s=2)],
        "off_state_drain",
        "pass",
        "within the limit",
    ),
    "a drain below zero": ([drain("-0.61", lowest="-0.7", **AVERAGE)], "off_state_drain", "not proven", "below zero"),
    "a drain over range": ([drain("OL")], "off_state_drain", "not seen", "over range"),
    "a dead block": ([at("feed_v", "asleep", "0.02 V")], "feed_off_voltage", "pass", "within the limit"),
    "a live block": ([at("feed_v", "asleep", "12.4 V", waited_s=600)], "feed_off_voltage", "fail", "breaks"),
    "a block that may still fall": (
        [at("feed_v", "asleep", "3.1 V", waited_s=5)],
        "feed_off_voltage",
        "not proven",
        "may still fall",
    ),
    "a drop measured directly": ([across("battery +", "block", "0.184 V")], "feed_drop", "pass", "measured directly"),
    "the same with the probes changed over": (
        [across("block", "battery +", "-184.0 mV")],
        "feed_drop",
        "pass",
        "measured directly",
    ),
    "a drop too large": ([across("battery +", "block", "0.52 V")], "feed_drop", "fail", "breaks"),
    "a drop of nothing": ([across("battery +", "block", "0.00 V")], "feed_drop", "not proven", "may not have touched"),
    "a drop from two large readings": (
        [at("battery_v", "all on", "12.31 V"), at("feed_v", "all on", "12.13 V")],
        "feed_drop",
        "not proven",
        "difference of two large readings",
    ),
    "a drop at half the load": (
        [across("battery +", "block", "0.184 V"), at("feed_a", "all on", "4.65 A")],
        "feed_drop",
        "fail",
        "4.65 A through the feed",
    ),
    "a ground lift": ([across("bus", "battery -", "61.0 mV")], "ground_lift", "pass", "measured directly"),
    "a sag": (
        [at("battery_v", "key on", "12.62 V"), at("battery_v", "all on", "12.41 V")],
        "battery_sag",
        "pass",
        "from key on to all on",
    ),
    "a sag too large": (
        [at("battery_v", "key on", "12.62 V"), at("battery_v", "all on", "11.20 V")],
        "battery_sag",
        "fail",
        "breaks",
    ),
    "a resistance": (
        [at("battery_v", "key on", "12.62 V"), at("battery_v", "all on", "11.70 V"), at("feed_a", "all on", "9.30 A")],
        "source_resistance",
        "fail",
        "9.3 A through the feed",
    ),
    "a resistance without a current": (
        [at("battery_v", "key on", "12.62 V"), at("battery_v", "all on", "11.70 V")],
        "source_resistance",
        "not seen",
        "the current of the circuits",
    ),
    "a circuit": ([at("slot1_a", "slot 1 on", "3.41 A")], "slot_1_current", "pass", "within the limits"),
    "a dead circuit": ([at("slot1_a", "all on", "0.00 A")], "slot_1_current", "fail", "breaks"),
    "a circuit that swings": (
        [at("slot1_a", "all on", "3.41 A", lowest="0.02", highest="6.9")],
        "slot_1_current",
        "not proven",
        "a finer range",
    ),
    "a battery of unknown rest": (
        [at("battery_v", "asleep", "12.81 V")],
        "resting_voltage",
        "not proven",
        "is not noted",
    ),
    "a battery that rested": (
        [at("battery_v", "asleep", "12.81 V", waited_s=36000)],
        "resting_voltage",
        "pass",
        "after 10 hours",
    ),
    "a flat battery": ([at("battery_v", "asleep", "12.01 V", waited_s=36000)], "resting_voltage", "fail", "breaks"),
    "a crank well above the limit": (
        [at("battery_v", "cranking", "11.2 V", lowest="10.9")],
        "crank_minimum",
        "not proven",
        "too slow",
    ),
    "a crank below it": ([at("battery_v", "cranking", "9.3 V", lowest="8.2")], "crank_minimum", "fail", "breaks"),
    "charging": ([at("battery_v", "running", "14.21 V")], "charging_voltage", "pass", "within the limits"),
    "overcharging": ([at("battery_v", "running", "15.62 V")], "charging_voltage", "fail", "breaks"),
    "a balance with every circuit on": (
        [at("battery_a", "running", "-1.20 A", loads_on=True)],
        "charging_balance",
        "pass",
        "1.2",
    ),
    "a balance with who knows what on": (
        [at("battery_a", "running", "-1.20 A")],
        "charging_balance",
        "not proven",
        "is not noted",
    ),
    "a bad balance": ([at("battery_a", "running", "2.20 A")], "charging_balance", "fail", "breaks"),
}


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_reading_proves_what_it_can(tmp_path, name):
    """Each check passes, fails or stays open for the reason that is known of the scenario."""
    readings, check_id, verdict, words = SCENARIOS[name]

    found = result(tmp_path, *readings).check(check_id)

    assert (found.verdict, words in found.because) == (verdict, True), found.because
    assert found.from_s is None
    assert found.to_s is None


def test_what_no_hand_meter_shows_is_never_judged(tmp_path):
    """Relay times, chatter, settling and the feed while cranking are not seen, whatever was read."""
    every = [text for readings, *_ in SCENARIOS.values() for text in readings]
    found = result(tmp_path, *every)
    blind = ("settle_time", "relay_pull_in", "relay_drop_out", "relay_chatter")

    assert {found.check(check).verdict for check in blind} == {"not seen"}
    assert found.check("feed_in_crank").verdict in ("not seen", "not planned")


def test_every_check_has_a_scenario_that_ends_it():
    """Whatever a hand meter can show at all passes in one scenario, but for the crank, and fails in another."""
    ended = {(check, verdict) for _, check, verdict, _ in SCENARIOS.values()}
    shown = {check for check, _ in ended}

    assert {check for check in shown if (check, "pass") not in ended} == {"crank_minimum", "source_resistance"}
    assert {check for check in shown if (check, "fail") not in ended} == {"ground_lift"}


def test_the_digits_tell_the_resolution(tmp_path):
    """The same figure with a digit less is known ten times less well in its digits."""
    fine, coarse = (
        result(tmp_path, reading(role="battery_v", state="running", value=shown, unit="V")).check("charging_voltage")
        for shown in ("14.00", "14.0")
    )

    # limits 0.09 V and 0.27 V, expanded uncertainty 2/sqrt(3) of that
    assert fine.uncertainty == pytest.approx(0.09 * 2 / 3**0.5)
    assert coarse.uncertainty == pytest.approx(0.27 * 2 / 3**0.5)


def test_an_unstated_accuracy_proves_nothing(tmp_path):
    """Without [meter] a figure is shown and judged no further."""
    found = result(tmp_path, SCENARIOS["charging"][0][0], meter="").check("charging_voltage")

    assert found.verdict == "not proven"
    assert found.measured == pytest.approx(14.21)
    assert "meter's accuracy is not stated" in found.because


def test_a_range_may_have_an_accuracy_of_its_own(tmp_path):
    """Pct and digits of a reading stand for its range."""
    text = reading(role="slot1_a", state="all on", value="3.41", unit="A", pct=30.0, digits=5)

    assert result(tmp_path, text).check("slot_1_current").verdict == "not proven"


def test_the_worse_of_two_readings_is_judged(tmp_path):
    """A circuit that failed once has failed, however good it was the second time."""
    readings = [reading(role="slot1_a", state="all on", value=shown, unit="A") for shown in ("3.41", "6.02")]

    assert result(tmp_path, *readings).check("slot_1_current").verdict == "fail"


def test_readings_stand_beside_logs(tmp_path):
    """A log proves the relay and a meter the drop, in one result; the log's evidence is there for drawing."""
    drop = SCENARIOS["a drop too large"][0][0]
    found = result(tmp_path, drop, logs=[SAMPLES / "acceptance.csv"])

    assert found.check("relay_pull_in").log == "acceptance.csv"
    assert (found.check("feed_drop").verdict, found.check("feed_drop").log) == ("fail", "readings.toml")
    assert found.evidence is not None
    assert [log.log for log in found.evidence.logs] == ["acceptance.csv"]


def test_a_drain_is_added_to_one_read_before(tmp_path):
    """Two averages of a meter give the added drain, with the doubts of both."""
    before = tmp_path / "before.toml"
    average = {"lowest": "0.40", "highest": "0.42", **AVERAGE}
    before.write_text(METER + drain("0.41", **average), encoding="utf-8")

    more = result(tmp_path, drain("1.91", lowest="1.90", highest="1.92", **AVERAGE), before=before)
    alike = result(tmp_path, drain("0.43", lowest="0.42", highest="0.44", **AVERAGE), before=before)
    single = result(tmp_path, drain("0.43"), before=before)

    assert more.check("added_drain").verdict == "fail"
    assert more.check("added_drain").measured == pytest.approx(1.5)
    assert alike.check("added_drain").verdict == "pass"
    assert single.check("added_drain").verdict == "not proven"


def test_what_no_check_uses_is_said(tmp_path):
    """A reading that nothing is judged by is named in a note."""
    spare = reading(start="battery +", end="30", state="all on", value="0.02", unit="V")
    notes = [note.text for note in result(tmp_path, spare, SCENARIOS["charging"][0][0]).notes]

    assert notes == ["no check of this plan makes use of these readings: battery + to 30 (all on)"]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (reading(role="drain_a", state="asleep", value="zero", unit="mA"), "must be a number as the meter shows it"),
        (reading(role="drain_a", state="sleeping", value="1", unit="mA"), "must be one of asleep, key on"),
        (reading(role="drain_a", state="asleep", value="1", unit="V"), "must be uA or mA or A here"),
        (reading(role="drain", state="asleep", value="1", unit="mA"), "must be a role such as"),
        (reading(state="asleep", value="1", unit="mA"), "needs either a role or both from and to"),
        (reading(start="battery +", end="frame", state="all on", value="1", unit="V"), "must be a point such as"),
        (drain("1.0", lowest="1.2"), "lowest: is above value"),
        ('[[reading]]\nrole = "drain_a"\nstate = "asleep"\nvalue = 0.61\nunit = "mA"\n', "must be text in quotes"),
        ("", "missing; add [[reading]] with"),
    ],
)
def test_readings_that_cannot_be_used_are_refused(tmp_path, text, fault):
    """Each slip is named with its place, what is needed and what was found."""
    path = tmp_path / "readings.toml"
    path.write_text(METER + text, encoding="utf-8")

    with pytest.raises(BadReadings, match=re.escape(fault)):
        load_readings(path)


def saved(folder: Path, *readings: str, meter: str = METER):
    """A store with one record of these readings, and the record."""
    from benchlog.store import open_store

    found = result(folder, *readings, meter=meter)
    store = open_store(f"sqlite:///{folder}/store.db")
    return store, store.save(found, plan=PLAN, logs=[folder / "readings.toml"])


def test_readings_are_kept_in_their_record_and_judged_again(tmp_path):
    """The record holds the file's text, so that it can be judged again and nothing is altered unseen."""
    store, record = saved(tmp_path, *SCENARIOS["charging"][0], *SCENARIOS["a drop too large"][0])
    with store:
        (tmp_path / "readings.toml").unlink()

        assert store.recheck(record.number).verdict == "fail"
        assert store.verify() == []
        assert record.logs[0].readings is not None
        assert record.logs[0].readings.startswith("[meter]")


def test_a_season_takes_readings_with_their_day_and_temperature(tmp_path):
    """What a meter read stands in the season on the day that the file says, at the temperature that it says."""
    from benchlog.store import open_store  # noqa: F401 loads the store's models before the clock is read

    meter = METER + "taken = 2026-03-01T08:30:00Z\n"
    warm = reading(role="battery_c", state="asleep", value="7.5", unit="degC")
    store, record = saved(tmp_path, *SCENARIOS["a battery that rested"][0], warm, meter=meter)
    with store:
        (one,) = store.readings("Larch", "resting_voltage")

    assert (one.value, one.temperature_c, one.at.isoformat()) == (12.81, 7.5, "2026-03-01T08:30:00+00:00")
    assert record.recorded_from == "given"


def test_a_folder_gives_its_readings_too(tmp_path):
    """A folder stands for the logs and the readings in it; a plan beside them is neither."""
    (tmp_path / "plan.toml").write_bytes(PLAN.read_bytes())
    result(tmp_path, *SCENARIOS["charging"][0])

    assert benchlog.check(tmp_path, plan=PLAN).check("charging_voltage").verdict == "pass"


def test_a_season_reads_a_file_of_readings_that_is_in_no_record(tmp_path):
    """Given beside a bike's records the file counts as a plain log does, on the day that it says."""
    from benchlog.plan.model import load_plan
    from benchlog.season.from_logs import readings_of_log

    path = tmp_path / "readings.toml"
    rested = SCENARIOS["a battery that rested"][0][0]
    path.write_text(METER + "taken = 2026-03-01T08:30:00Z\n" + rested, encoding="utf-8")

    found, note = readings_of_log(path, load_plan(PLAN))

    assert [(one.quantity, one.value, one.at.day) for one in found] == [("resting_voltage", 12.81, 1)]
    assert note is None


def test_readings_from_before_stand_against_a_log(tmp_path):
    """A drain read before the install is held against a log's after it, with the doubts of both."""
    before = tmp_path / "before.toml"
    before.write_text(METER + drain("0.41", lowest="0.40", highest="0.42", **AVERAGE), encoding="utf-8")

    found = benchlog.check(SAMPLES / "overnight.csv", plan=PLAN, before=before).check("added_drain")

    assert found.measured == pytest.approx(0.591 - 0.41, abs=0.002)
    assert found.uncertainty is not None
    assert found.uncertainty > 0.03
    assert found.verdict == "not proven"


def test_a_folder_of_readings_is_imported_once(tmp_path):
    """Each file of readings becomes a record; run again, the import knows them."""
    from benchlog.plan.model import load_plan
    from benchlog.store import open_store
    from benchlog.store.importing import import_logs, logs_under

    folder = tmp_path / "bench"
    folder.mkdir()
    result(folder, *SCENARIOS["charging"][0])
    with open_store(f"sqlite:///{tmp_path}/store.db") as store:
        outcomes = [
            one.outcome for _ in range(2) for one in import_logs(store, logs_under(folder), plan=load_plan(PLAN))
        ]

    assert outcomes == ["saved", "known"]
