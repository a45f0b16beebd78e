"""Writes the sample season, a small store of records: python sample_data/make_season.py.

The invented bike "Larch" over 2025: 40 battery checks (rest, loads on, crank, a short run, key off, settle), nine days
apart more or less, with the weather of each day. To keep the file small the plan has the battery's limits alone.
Its battery ages until 20 September, when a new one is fitted; the new one ages too little to see in three months.
All of it is simulated with fixed seeds and checked like any log; the logs themselves are not kept.
Running this again gives the same readings; the store's own hashes differ, since they hold the time of saving.
``season/truth.json`` holds what was simulated.
"""

import json
import math
import os
import sqlite3
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

import benchlog
from benchlog import standin
from benchlog.standin import SimulatedInstall, acceptance_script, fast_logger, simulate, write_csv
from benchlog.store import open_store

START = datetime(2025, 1, 5, 10, tzinfo=UTC)
NEW_BATTERY = datetime(2025, 9, 20, 12, tzinfo=UTC)
RECORDS, DAYS = 40, 357.0
ROLES = ("battery_v", "battery_a", "drain_a", "battery_c")
LIMITS = ("off_state_drain_ma", "source_resistance_max_mohm", "resting_min_v", "crank_min_v", "charging_min_v",
          "charging_max_v")  # fmt: skip

#: What the old battery does in a year, at 20 degC: mΩ and V.
OLD = {"source_mohm": 22.0, "source_mohm_a_year": 18.0, "emf_v": 12.80, "emf_v_a_year": -0.12}
NEW = {"source_mohm": 21.0, "source_mohm_a_year": 0.0, "emf_v": 12.88, "emf_v_a_year": 0.0}
SOURCE_PER_K = -0.008
REST_V_PER_K = 0.0012
STARTER_PER_K = -0.004


def ambient_c(day: float, rng: np.random.Generator) -> float:
    """Warmest at the end of July, with weather."""
    return 11.0 - 9.0 * math.cos(2 * math.pi * (day - 20) / 365.25) + float(rng.normal(0, 2.5))


def larch(at: datetime, rng: np.random.Generator) -> SimulatedInstall:
    """The bike on that day."""
    battery = NEW if at >= NEW_BATTERY else OLD
    years = (at - START).total_seconds() / 86400 / 365.25
    warm_c = ambient_c((at - START).total_seconds() / 86400, rng)
    apart_k = warm_c - 20.0
    cold = 1 + STARTER_PER_K * apart_k
    usual = SimulatedInstall()
    return replace(
        usual,
        ambient_c=round(warm_c, 1),
        source_mohm=(battery["source_mohm"] + battery["source_mohm_a_year"] * years) * (1 + SOURCE_PER_K * apart_k)
        + float(rng.normal(0, 0.3)),
        emf_v=battery["emf_v"] + battery["emf_v_a_year"] * years + REST_V_PER_K * apart_k + float(rng.normal(0, 0.015)),
        starter_run_a=usual.starter_run_a * cold,
        starter_peak_a=usual.starter_peak_a * cold * float(rng.normal(1, 0.01)),
        regulated_v=usual.regulated_v - 0.004 * apart_k + float(rng.normal(0, 0.01)),
        drain_a=0.00062 + float(rng.normal(0, 0.00002)),
    )


def days(rng: np.random.Generator) -> list[datetime]:
    """When each record was taken: a morning, nine days apart give or take three."""
    even = np.linspace(0, DAYS, RECORDS) + np.r_[0, rng.uniform(-3, 3, RECORDS - 2), 0]
    return [START + timedelta(days=round(float(day))) for day in even]


def plan_text(bike: SimulatedInstall) -> str:
    """The battery and its limits."""
    limits = "".join(f"{key} = {standin.LIMITS[key]}\n" for key in LIMITS)
    return (
        f'[install]\nbike = "{bike.bike}"\n[battery]\nchemistry = "{bike.chemistry}"\n'
        f"capacity_ah = {bike.capacity_ah}\n[limits]\n{limits}"
    )


def make(folder: Path) -> None:
    """Write the store and its truth to this folder."""
    folder.mkdir(exist_ok=True)
    target = folder / "records.sqlite"
    target.unlink(missing_ok=True)
    rng = np.random.default_rng(42)
    script = acceptance_script(rest_s=10, slot_every_s=3, all_on_s=6, running_s=12, settle_s=200)
    drawn = None
    with tempfile.TemporaryDirectory() as scratch, open_store(str(target)) as store:
        for number, at in enumerate(days(rng), start=1):
            bike = larch(at, rng)
            sim = simulate(bike, script, replace(fast_logger(500.0, ROLES), name="two-range shunt logger"),
                           np.random.default_rng(1000 + number), drawn=drawn)  # fmt: skip
            drawn = sim.drawn  # one and the same logger all year
            log = Path(scratch) / f"larch-{at:%Y-%m-%d}.csv"
            write_csv(sim, log)
            plan = Path(scratch) / "larch.plan.toml"
            plan.write_text(plan_text(bike), encoding="utf-8")
            result = benchlog.check(log, plan=plan)
            store.save(result, plan=plan, logs=[log], recorded_at=at, keep_logs=False)
            log.unlink()
    database = sqlite3.connect(target)
    # one file, no journal beside it, in small pages
    for statement in ("PRAGMA journal_mode=DELETE", "PRAGMA page_size=512", "VACUUM"):
        database.execute(statement)
    database.close()
    truth = {"new_battery": NEW_BATTERY.date().isoformat(), "old": OLD, "new": NEW, "records": RECORDS,
             "drain_ma": 0.62}  # fmt: skip
    (folder / "truth.json").write_text(json.dumps(truth, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    os.environ.pop("BENCHLOG_LOGS", None)
    make(Path(__file__).parent / "season")
