"""How much faster a folder of 200 logs is checked on all cores than on one.

    python tests/benchmarks/many_speed.py [--logs N] [--rounds N]

The logs are copies of the sample acceptance log, 1.6 MB each. Both commands are the same but for the processors that
they may use (as with ``taskset -c 0``), and are run in turn. Nothing here is asserted.
"""

import argparse
import os
import shutil
import statistics
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from check_speed import COMMAND, run

SAMPLES = Path(__file__).parents[2] / "sample_data"
HELD = """
import os
os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
from benchlog.cli import main
main()
"""


@dataclass(frozen=True)
class Shared:
    """Medians of some rounds.

    Attributes:
        faster: wall time on one core in that on all.
        peak_mb: of the greatest process. same: both printed the same result.
    """

    logs: int
    all_s: float
    one_s: float
    faster: float
    peak_mb: float
    same: bool


def measure(logs: int, rounds: int) -> Shared:
    """Check a folder with and without all cores, and print one line."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        for n in range(logs):
            shutil.copy(SAMPLES / "acceptance.csv", folder / f"log {n:03}.csv")
            shutil.copy(SAMPLES / "acceptance.logger.toml", folder / f"log {n:03}.logger.toml")
        asked = ["check", str(folder), "--plan", str(SAMPLES / "larch.plan.toml"), "--json", "-"]
        pairs = [(run([*COMMAND, *asked]), run([sys.executable, "-c", HELD, *asked])) for _ in range(rounds)]
    found = Shared(
        logs,
        all_s=statistics.median(a.wall_s for a, _ in pairs),
        one_s=statistics.median(b.wall_s for _, b in pairs),
        faster=statistics.median(b.wall_s / a.wall_s for a, b in pairs),
        peak_mb=max(a.peak_mb for a, _ in pairs),
        same=all(a.out == b.out and a.out for a, b in pairs),
    )
    print(
        f"{logs} logs: {found.all_s:.2f} s on {os.cpu_count()} cores, {found.one_s:.2f} s on one: "
        f"{found.faster:.2f} times as fast, {'the same result' if found.same else 'ANOTHER RESULT'}, "
        f"peak {found.peak_mb:.0f} MB",
        flush=True,
    )
    return found


def main() -> None:
    """Print the line."""
    parser = argparse.ArgumentParser(description="a folder of logs on all cores and on one")
    parser.add_argument("--logs", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    measure(given.logs, given.rounds)


if __name__ == "__main__":
    main()
