"""How long the store takes with 10,000 records: to list, to open one, to give the readings of a trend, to verify.

    PYTHONPATH=. python tests/benchmarks/store_speed.py [--records N] [--store URL]

The records are real in size: the result of the sample acceptance logs, with the plan and loggers, spread over 50
bikes. They are entered by the code that saves every record, 500 in a transaction. Nothing here is asserted.
"""

import argparse
import copy
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import benchlog
from benchlog.plan.model import load_plan
from benchlog.store import Store, open_store
from benchlog.store.entry import canonical, stamp
from benchlog.store.exporting import csv_lines
from benchlog.store.saving import record_body

SAMPLES = Path(__file__).parents[2] / "sample_data"
BIKES, BATCH, ROUNDS = 50, 500, 5


def body_of_samples() -> dict[str, Any]:
    """The body of one record, hashes only."""
    logs = [SAMPLES / "acceptance.csv", SAMPLES / "overnight.csv"]
    plan = load_plan(SAMPLES / "larch.plan.toml")
    result = benchlog.check(logs, plan=plan, before=SAMPLES / "before.csv")
    return record_body(result, plan=plan, loggers=None, logs=logs, before=SAMPLES / "before.csv")


def variant(body: dict[str, Any], n: int) -> dict[str, Any]:
    """The same record of another bike on another day, its values a little off."""
    other = copy.deepcopy(body)
    at = stamp(datetime(2020, 1, 1, tzinfo=UTC) + timedelta(hours=6 * n))
    other["bike"] = other["result"]["bike"] = other["plan"]["install"]["bike"] = f"Larch {n % BIKES:02d}"
    other["recorded_at"] = at
    for log in other["logs"]:
        log["recorded_at"] = at
    for check in other["result"]["checks"]:
        if check["measured"] is not None:
            check["measured"] *= 1 + (n % 97) / 10_000
    return other


def fill(store: Store, records: int) -> None:
    """Enter so many records."""
    body = body_of_samples()
    print(f"one body: {len(canonical(body).encode()) / 1000:.1f} kB")
    began = time.perf_counter()
    for start in range(0, records, BATCH):
        store.append_records([variant(body, n) for n in range(start, min(start + BATCH, records))])
    print(f"entered {records} records in {time.perf_counter() - began:.1f} s")


def timed(what: str, act: Callable[[], object], rounds: int = ROUNDS) -> None:
    """Print the median and the worst time of some rounds."""
    taken = []
    for _ in range(rounds):
        began = time.perf_counter()
        act()
        taken.append(time.perf_counter() - began)
    print(f"{what:38} {1000 * statistics.median(taken):9.1f} ms   worst {1000 * max(taken):9.1f} ms")


def measure(url: str, records: int) -> None:
    """Fill a store and time what a user waits for."""
    with open_store(url) as store:
        if not store.rows(limit=1):
            fill(store, records)

        def opened_list() -> object:
            with open_store(url) as fresh:
                return fresh.rows()

        timed("open the store, list all records", opened_list)
        timed("list the newest 50", lambda: store.rows(limit=50))
        timed("list one bike's records", lambda: store.rows("Larch 07"))
        timed("bikes", store.bikes)
        timed("open one record", lambda: store.record(records // 2))
        timed("readings of one bike", lambda: store.readings("Larch 07"))
        timed("readings of one bike, one quantity", lambda: store.readings("Larch 07", "resting_voltage"))
        timed("sign one record", lambda: store.sign(records // 2, "bench two"))
        timed("export all as CSV", lambda: sum(map(len, csv_lines(store))), rounds=1)
        timed("verify all", store.verify, rounds=1)


def main() -> None:
    """Run on a SQLite file, or the store that is named."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--records", type=int, default=10_000)
    arguments.add_argument("--store", help="an empty store; without it a SQLite file in a temporary folder")
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["BENCHLOG_DATA"] = folder
        measure(given.store or str(Path(folder) / "records.sqlite"), given.records)


if __name__ == "__main__":
    main()
