"""Small things to save, for the store's tests."""

from datetime import UTC, datetime
from pathlib import Path

from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.store import Store
from benchlog.verdict.result import Check, Limit, Result, Score

LOG_TEXT = "time_s,battery_v,battery_a\n" + "".join(f"{n / 10},12.7{n % 10},0.3\n" for n in range(50))


def small_plan(bike: str = "Larch") -> Plan:
    """A plan with two limits."""
    return plan_from_mapping(
        {
            "install": {"bike": bike},
            "battery": {"chemistry": "agm", "capacity_ah": 11.2},
            "limits": {"off_state_drain_ma": 1.0, "resting_min_v": 12.6},
        }
    )


def small_result(bike: str = "Larch", resting_v: float = 12.75, log: str = "ride.csv") -> Result:
    """A result with one check that has a value and one that has none."""
    passed = resting_v >= 12.6
    checks = [
        Check(
            id="resting_voltage",
            title="Resting voltage",
            verdict="pass" if passed else "fail",
            measured=resting_v,
            unit="V",
            uncertainty=0.01,
            limit=Limit(min=12.6),
            margin_pct=100 * (resting_v - 12.6) / 12.6,
            log=log,
            from_s=0.0,
            to_s=4.9,
            because="The battery rested well.",
        ),
        Check(id="off_state_drain", title="Off-state drain", verdict="not seen", unit="mA", because="No log shows it."),
    ]
    counts = {"pass": int(passed), "fail": int(not passed), "not_proven": 0, "not_seen": 1, "not_planned": 0}
    return Result(
        benchlog_version="0.1.0",
        bike=bike,
        verdict="not proven" if passed else "fail",
        score=Score.model_validate({**counts, "percent": 50.0 * passed, "closest": "resting_voltage"}),
        key_events=[],
        checks=checks,
        causes=[],
        notes=[],
    )


def small_log(folder: Path, name: str = "ride.csv", text: str = LOG_TEXT) -> Path:
    """A log file of a few lines, its columns headed by roles."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def save_small(store: Store, folder: Path, bike: str = "Larch", resting_v: float = 12.75, **more: object) -> int:
    """Save a small result; gives the record's number."""
    recorded_at = more.pop("recorded_at", datetime(2025, 5, 1, 12, tzinfo=UTC))
    record = store.save(
        small_result(bike, resting_v),
        plan=small_plan(bike),
        logs=[small_log(folder)],
        recorded_at=recorded_at,  # type: ignore[arg-type]  # tests give a moment or None
        **more,  # type: ignore[arg-type]  # passed on as they are
    )
    return record.number
