"""How much faster a folder of 200 logs is checked on all cores than on one.

    python tests/benchmarks/many_speed.py [--logs N] [--rounds N]

The logs are copies of the sample acceptance log, 1.6 MB each. Both commands are the same but for the processors that
they may use (as with ``taskset -c 0``), and are run in turn. What other programs take meanwhile costs the first
command more than the second, so the figures are medians of the rounds which they disturbed least, and their part is
told. Nothing here is asserted.
"""

import argparse
import os
import shutil
import statistics
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from check_speed import COMMAND, Run, run

SAMPLES = Path(__file__).parents[2] / "sample_data"
_CALM = 0.1  # cores: rounds that differ by less were disturbed alike
HELD = """
import os
os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
from benchlog.cli import main
main()
"""


@dataclass(frozen=True)
class Shared:
    """Medians of the rounds that other programs disturbed least.

    Attributes:
        faster: wall time on one core in that on all.
        others: cores that other programs kept busy meanwhile, on average.
        cpu: CPU time on all cores in that on one: what sharing costs.
        peak_mb: of the greatest process, in any round. same: both printed the same result, in all rounds.
    """

    logs: int
    all_s: float
    one_s: float
    faster: float
    others: float
    cpu: float
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
        pairs = [(_watched([*COMMAND, *asked]), _watched([sys.executable, "-c", HELD, *asked])) for _ in range(rounds)]
    least = min(disturbed for (_, disturbed), _ in pairs)
    calm = [(a, b, disturbed) for (a, disturbed), (b, _) in pairs if disturbed <= least + _CALM]
    found = Shared(
        logs,
        all_s=statistics.median(a.wall_s for a, _, _ in calm),
        one_s=statistics.median(b.wall_s for _, b, _ in calm),
        faster=statistics.median(b.wall_s / a.wall_s for a, b, _ in calm),
        others=max(disturbed for _, _, disturbed in calm),
        cpu=statistics.median(a.cpu_s / b.cpu_s for a, b, _ in calm),
        peak_mb=max(one.peak_mb for (one, _), _ in pairs),
        same=all(one.out == other.out and one.out for (one, _), (other, _) in pairs),
    )
    print(
        f"{logs} logs: {found.all_s:.2f} s on {os.cpu_count()} cores, {found.one_s:.2f} s on one: "
        f"{found.faster:.2f} times as fast, {'the same result' if found.same else 'ANOTHER RESULT'}, "
        f"CPU {found.cpu:.2f} times, others took {found.others:.1f} cores, peak {found.peak_mb:.0f} MB",
        flush=True,
    )
    return found


def _watched(command: list[str]) -> tuple[Run, float]:
    """Run a process; how many cores other programs kept busy meanwhile, leaving out those that give way to it."""
    before = _busy_s()
    done = run(command)
    return done, max((_busy_s() - before - done.cpu_s) / done.wall_s, 0.0)


def _busy_s() -> float:
    """CPU time of everything on this machine that is not niced, s; 0 where the system does not tell."""
    try:
        user, _, system = Path("/proc/stat").read_text(encoding="ascii").split()[1:4]
    except OSError:
        return 0.0
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Print the line."""
    parser = argparse.ArgumentParser(description="a folder of logs on all cores and on one")
    parser.add_argument("--logs", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    measure(given.logs, given.rounds)


if __name__ == "__main__":
    main()
