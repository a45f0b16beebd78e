"""Results made by hand, with numbers a real install could give, for the tests of text, page and figures."""

import numpy as np

from benchlog.core.note import Note
from benchlog.core.trace import Array, Band, Overview, Trace
from benchlog.verdict.evidence import Evidence, LogEvidence, Span
from benchlog.verdict.result import Cause, Check, KeyEvent, Limit, Result, Score

NASTY = "<script>alert(1)</script>"

# id, title, unit, measured, uncertainty, limit, planned, because
_ROWS = [
    ("off_state_drain", "Off-state drain", "mA", 0.84, 0.06, (None, 1.0), None,
     "The battery gave 0.84 mA on average over 179 s of settled key-off time, wake-ups included."),
    ("added_drain", "Added drain", "mA", 0.11, 0.031, (None, 0.2), None,
     "0.11 mA more leaves the battery than before the install."),
    ("settle_time", "Settling after key-off", "s", 41.3, 0.5, (None, 120.0), None,
     "After key-off the drain settled within 41.3 s."),
    ("feed_off_voltage", "Feed voltage, key off", "V", 0.012, 0.021, (None, 0.5), None,
     "With the key off the fuse block stays at 0.01 V."),
    ("relay_pull_in", "Relay pull-in", "ms", 12.4, 1.2, (None, 30.0), None,
     "The contact closed at most 12.4 ms after the trigger came up."),
    ("relay_drop_out", "Relay drop-out", "ms", 24.8, 1.2, (None, 60.0), None,
     "The contact opened at most 24.8 ms after the trigger went down."),
    ("relay_chatter", "Relay chatter", "1", 0.0, None, (None, 0.0), None,
     "The contact stayed as the key set it."),
    ("battery_sag", "Battery sag under load", "V", 0.31, 0.024, (None, 0.6), None,
     "The battery sagged by 0.31 V under the greatest load, scaled to the planned 8.7 A."),
    ("feed_drop", "Feed drop", "V", 0.184, 0.011, (None, 0.3), None,
     "Between battery and fuse block 0.18 V is lost at the planned 8.7 A."),
    ("ground_lift", "Ground lift", "V", 0.061, 0.0042, (None, 0.1), None,
     "The ground bus stands 0.06 V above battery negative at the planned 8.7 A."),
    ("slot_1_current", "Slot 1 current, vaccine cool box", "A", 3.41, 0.034, (2.8, 4.0), 3.5,
     "The circuit drew 3.41 A, planned are 3.5 A."),
    ("slot_2_current", "Slot 2 current, work lamps", "A", 4.22, 0.042, (3.2, 4.8), 4.0,
     "The circuit drew 4.22 A, planned are 4.0 A."),
    ("slot_3_current", "Slot 3 current, tracker", "A", 0.118, 0.008, (0.08, 0.16), 0.12,
     "The circuit drew 0.12 A, planned are 0.12 A."),
    ("resting_voltage", "Resting voltage", "V", 12.78, 0.026, (12.6, None), None,
     "Before the first key-on the battery rested at 12.78 V."),
    ("source_resistance", "Source resistance", "mΩ", 21.4, 1.8, (None, 40.0), None,
     "Over 6 load steps the battery showed 21.4 mΩ to its posts."),
    ("crank_minimum", "Lowest voltage while cranking", "V", 10.31, 0.03, (9.6, None), None,
     "While cranking the battery held 10.31 V for at least 10 ms."),
    ("feed_in_crank", "Feed while cranking", "s", 0.0, None, None, None,
     "The plan allows either; the feed was not lost while cranking."),
    ("charging_voltage", "Charging voltage", "V", 14.21, 0.028, (13.5, 14.8), None,
     "With the engine running the battery stood at 14.21 V on average."),
    ("charging_balance", "Charging balance", "A", 1.62, 0.09, (0.0, None), None,
     "With 3 of 3 planned loads on, 1.62 A went into the battery."),
]  # fmt: skip


def _margin(measured: float, limit: tuple[float | None, float | None]) -> float | None:
    low, high = limit
    sides = [(high - measured) / abs(high) if high else None, (measured - low) / abs(low) if low else None]
    sides = [side for side in sides if side is not None] if high is None or low is None else sides
    known = [side for side in sides if side is not None]
    return round(min(known) * 100, 1) if known else None


def _check(row: tuple) -> Check:
    check_id, title, unit, measured, uncertainty, limit, planned, because = row
    return Check(
        id=check_id, title=title, unit=unit, measured=measured, uncertainty=uncertainty, planned=planned,
        verdict="pass" if limit else "not planned", limit=Limit(min=limit[0], max=limit[1]) if limit else None,
        margin_pct=_margin(measured, limit) if limit else None, log="acceptance.csv", from_s=141.2, to_s=320.0,
        because=because,
    )  # fmt: skip


def _scored(bike: str, checks: list[Check], causes: list[Cause], notes: list[Note]) -> Result:
    count = {word: sum(c.verdict == word for c in checks) for word in
             ("pass", "fail", "not proven", "not seen", "not planned")}  # fmt: skip
    planned = len(checks) - count["not planned"]
    still_open = count["not proven"] + count["not seen"]
    closest = min((c for c in checks if c.margin_pct is not None), key=lambda c: c.margin_pct or 0.0)
    score = Score.model_validate(
        {"pass": count["pass"], "fail": count["fail"], "not_proven": count["not proven"],
         "not_seen": count["not seen"], "not_planned": count["not planned"],
         "percent": round(100 * count["pass"] / planned, 1), "closest": closest.id}
    )  # fmt: skip
    events = [KeyEvent(log="acceptance.csv", time_s=t, half_width_s=0.0005, to=to)
              for t, to in ((20.0004, "on"), (100.0, "off"), (160.0, "on"), (320.0, "off"))]  # fmt: skip
    return Result(
        benchlog_version="0.1.0", bike=bike,
        verdict="fail" if count["fail"] else "not proven" if still_open else "pass",
        score=score, key_events=events, checks=checks, causes=causes, notes=notes,
    )  # fmt: skip


def healthy() -> Result:
    """Everything planned passes; one check is not planned; with evidence."""
    result = _scored("Larch", [_check(row) for row in _ROWS], [], [])
    return result.with_evidence(Evidence((log_evidence("acceptance.csv"),)))


def troubled(bike: str = "Larch", log: str = "overnight.csv") -> Result:
    """Two fails, two not proven, two not seen, three causes of which one explains two checks; no evidence."""
    changed = {
        "feed_drop": {"verdict": "fail", "measured": 0.4173, "uncertainty": 0.0213, "margin_pct": -39.1,
                      "because": "Between battery and fuse block 0.42 V is lost at the planned 8.7 A, 0.12 V more than "
                                 "the plan allows."},
        "off_state_drain": {"verdict": "fail", "measured": 14.62, "uncertainty": 0.31, "margin_pct": -1362.0,
                            "log": log,
                            "because": "The battery gave 14.6 mA on average over 7.9 h of settled key-off time."},
        "added_drain": {"verdict": "not seen", "measured": None, "uncertainty": None, "margin_pct": None, "log": None,
                        "because": "No log from before the install was given; name one with --before."},
        "relay_pull_in": {"verdict": "pass"},
        "relay_drop_out": {"verdict": "not proven", "measured": 100.0, "uncertainty": 200.0, "margin_pct": -66.7,
                           "because": "Samples 100 ms apart cannot show 60 ms; record at 200 Hz or more."},
        "resting_voltage": {"verdict": "not proven", "measured": 12.61, "uncertainty": 0.026, "margin_pct": 0.1,
                            "because": "12.61 V lies within the uncertainty of the limit of 12.6 V."},
        "crank_minimum": {"verdict": "not seen", "measured": None, "uncertainty": None, "margin_pct": None,
                          "because": "The engine was not cranked in these logs."},
        "slot_2_current": {"title": f"Slot 2 current, {NASTY if bike != 'Larch' else 'work lamps'}"},
        "ground_lift": {"verdict": "not planned", "limit": None, "margin_pct": None,
                        "because": "The plan gives neither a limit nor a conductor and length for the ground."},
    }  # fmt: skip
    checks = [_check(row) for row in _ROWS]
    checks = [check.model_copy(update=changed.get(check.id, {})) for check in checks]
    causes = [
        Cause(id="feed_resistance", text="a poor joint or too thin a wire in the feed", explains=["feed_drop"],
              evidence=["48 mΩ measured, 16 mΩ planned", "the battery itself sags no more than planned"],
              next_test="measure across each joint of the feed under load; the one that shows volts is the poor one",
              fit=0.83),
        Cause(id="unswitched_device", text="a device is fed around the relay",
              explains=["off_state_drain", "added_drain"],
              evidence=["steady 14.6 mA with the feed dead"],
              next_test="pull one fuse after the other with the key off and watch the drain", fit=0.62),
        Cause(id="waking_device", text="something wakes at intervals", explains=["off_state_drain"],
              evidence=["21 pulses an hour"], next_test="record an hour with the tracker unplugged", fit=0.2),
    ]  # fmt: skip
    notes = [
        Note(log="acceptance.csv", line=1042, text="3 rows with unreadable numbers were left out"),
        Note(log=log, text="The key state was read from the trigger; there are no marks."),
    ]
    return _scored(bike, checks, causes, notes)


def nasty() -> Result:
    """Names that try to become markup, with evidence."""
    result = troubled(bike=f"{NASTY} \"Larch\" & 'co'", log=f"<!-- {NASTY} .csv")
    return result.with_evidence(Evidence((log_evidence(f"<!-- {NASTY} .csv"),)))


def log_evidence(name: str, buckets: int = 4000) -> LogEvidence:
    """A 420 s test: key off, on, off, on, cranked, running, off; milliamperes beside 90 A of starter."""
    rng = np.random.default_rng(7)
    t = np.linspace(0, 420, buckets)
    on = ((t >= 20) & (t < 100)) | ((t >= 160) & (t < 320))
    crank = (t >= 200) & (t < 201.5)
    runs = (t >= 201.5) & (t < 320)
    loads = on * (3.4 * (t % 80 > 30) + 4.2 * (t % 80 > 45) + 0.12)
    current = np.where(on, loads + 0.9, 0.0008) + 90 * crank
    current = np.where(runs, loads - 9.0, current)
    current = np.where((t >= 100) & (t < 141), 0.035, current)
    battery = 12.78 - 0.021 * current - 1.2 * crank + 1.4 * runs
    feed = np.where(on & ~crank, battery - 0.021 * loads, 0.01)
    series = {
        "battery_v": battery, "trigger_v": np.where(on & ~crank, battery - 0.2, 0.02), "feed_v": feed,
        "ground_v": 0.007 * loads, "battery_a": current, "slot1_a": on * 3.4 * (t % 80 > 30),
        "slot2_a": on * 4.2 * (t % 80 > 45), "battery_c": np.full(buckets, 19.0),
    }  # fmt: skip
    bands = {role: _band(y, 0.004 if role.endswith("_v") else 0.0002 + 0.0015 * on, rng) for role, y in series.items()}
    bands["drain_a"] = _band(np.where(on, np.nan, current), 0.00004, rng)
    step = t[1] - t[0]
    overview = Overview(
        start_s=t, end_s=t + step * 0.99, rows=np.full(buckets, 105, dtype=np.int64), bands=bands,
        gap_s=np.full(buckets, 0.001), step_s=0.001,
    )  # fmt: skip
    spans = (
        Span("key off", 0, 20), Span("key on", 20, 100), Span("key off", 100, 160), Span("key on", 160, 320),
        Span("cranking", 200, 201.5), Span("running", 201.5, 320), Span("key off", 320, 420),
    )  # fmt: skip
    return LogEvidence(
        log=name, overview=overview, roles=("time_s", *bands), spans=spans,
        pull_ins=tuple(_relay_trace(at, delay, up=True, rng=rng) for at, delay in ((20.0, 0.0118), (160.0, 0.0124))),
        drop_outs=tuple(_relay_trace(at, delay, up=False, rng=rng) for at, delay in ((100.0, 0.0231), (320.0, 0.0248))),
        pull_in_at_s=(20.0, 160.0), drop_out_at_s=(100.0, 320.0),
    )  # fmt: skip


def _band(mean: Array, spread: Array | float, rng: np.random.Generator) -> Band:
    size = len(mean)
    wide = np.abs(rng.normal(1.0, 0.3, size)) * spread
    return Band(
        min=mean - wide, mean=mean, max=mean + wide, area=mean * 0.1, weight_s=np.full(size, 0.1),
        over=np.zeros(size, dtype=np.int64),
    )  # fmt: skip


def _relay_trace(at_s: float, delay_s: float, *, up: bool, rng: np.random.Generator) -> Trace:
    t = np.arange(at_s - 0.2, at_s + 0.3, 0.0002)
    trigger = 1 / (1 + np.exp(-(t - at_s) / 0.0008))
    feed = (t >= at_s + delay_s).astype(float)
    bounce = (t >= at_s + delay_s + 0.0004) & (t < at_s + delay_s + 0.001)
    if up:
        feed[bounce] = 0.1
    else:
        trigger, feed = 1 - trigger, 1 - feed
    values = {"trigger_v": 12.5 * trigger, "feed_v": 12.4 * feed}
    return Trace(t, {role: v + rng.normal(0, 0.02, len(t)) for role, v in values.items()}, {})
