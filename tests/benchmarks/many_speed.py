"""How much faster a folder of 200 logs is checked on all cores than on one.

    python tests/benchmarks/many_speed.py [--logs N] [--rounds N]
    python tests/benchmarks/many_speed.py --beside FOLDER    # another benchlog's tree, in turn, both on all cores

The logs are copies of the sample acceptance log, 1.6 MB each. Both commands are the same but for the processors that
they may use (as with ``taskset -c 0``), and are run in turn. Cores that share a chip, or that a host shares out, are
not as fast together as each alone: so as many commands as there are cores are run at once too, each with its part of
the logs on a core of its own, which shows how much there is to be gained. What other programs take meanwhile costs the
first command more than the second, so the figures are medians of the rounds which they disturbed least, and their part
is told. Nothing here is asserted.
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from check_speed import COMMAND, Run, run

SAMPLES = Path(__file__).parents[2] / "sample_data"
_CALM = 0.1  # cores: rounds that differ by less were disturbed alike
FROM = "import sys; sys.path.insert(0, sys.argv.pop(1)); from benchlog.__main__ import main; main()"
HELD = """
import os, sys
os.sched_setaffinity(0, {sorted(os.sched_getaffinity(0))[int(sys.argv.pop(1))]})
from benchlog.__main__ import main
main()
"""


@dataclass(frozen=True)
class Shared:
    """Medians of the rounds that other programs disturbed least.

    Attributes:
        faster: wall time on one core in that on all.
        apart: wall time on one core in that of separate commands at once, each with its part of the logs.
        others: cores that other programs kept busy meanwhile, on average.
        cpu: CPU time on all cores in that on one: what sharing costs.
        peak_mb: of the greatest process, in any round. same: both printed the same result, in all rounds.
    """

    logs: int
    all_s: float
    one_s: float
    faster: float
    apart: float
    others: float
    cpu: float
    peak_mb: float
    same: bool


def measure(logs: int, rounds: int) -> Shared:
    """Check a folder with and without all cores, and print one line."""
    cores = sorted(os.sched_getaffinity(0))
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        parts = [folder / f"part {core}" for core in cores]
        for part in (whole := folder / "all", *parts):
            part.mkdir()
        for n in range(logs):
            for path in (whole, parts[n % len(parts)]):
                shutil.copy(SAMPLES / "acceptance.csv", path / f"log {n:03}.csv")
                shutil.copy(SAMPLES / "acceptance.logger.toml", path / f"log {n:03}.logger.toml")

        def asked(path: Path) -> list[str]:
            return ["check", str(path), "--plan", str(SAMPLES / "larch.plan.toml"), "--json", "-"]

        def held(core: int, path: Path) -> list[str]:
            return [sys.executable, "-c", HELD, str(core), *asked(path)]

        rounds_of = [
            (_watched([*COMMAND, *asked(whole)]), _watched(held(0, whole)), _at_once([*map(held, range(99), parts)]))
            for _ in range(rounds)
        ]
    least = min(disturbed for (_, disturbed), _, _ in rounds_of)
    calm = [(a, b, apart_s) for (a, disturbed), (b, _), apart_s in rounds_of if disturbed <= least + _CALM]
    found = Shared(
        logs,
        all_s=statistics.median(a.wall_s for a, _, _ in calm),
        one_s=statistics.median(b.wall_s for _, b, _ in calm),
        faster=statistics.median(b.wall_s / a.wall_s for a, b, _ in calm),
        apart=statistics.median(b.wall_s / apart_s for _, b, apart_s in calm),
        others=least + _CALM,
        cpu=statistics.median(a.cpu_s / b.cpu_s for a, b, _ in calm),
        peak_mb=max(a.peak_mb for (a, _), _, _ in rounds_of),
        same=all(a.out == b.out and a.out for (a, _), (b, _), _ in rounds_of),
    )
    print(
        f"{logs} logs: {found.all_s:.2f} s on {os.cpu_count()} cores, {found.one_s:.2f} s on one: "
        f"{found.faster:.2f} times as fast (separate commands at once: {found.apart:.2f}), "
        f"{'the same result' if found.same else 'ANOTHER RESULT'}, "
        f"CPU {found.cpu:.2f} times, others took {found.others:.1f} cores at most, peak {found.peak_mb:.0f} MB",
        flush=True,
    )
    return found


def beside(logs: int, rounds: int, other: Path) -> None:
    """Check a folder with this benchlog and with another, in turn; print a line a round and the medians."""
    trees = {"this": str(Path(__file__).parents[2]), "the other": str(other.absolute())}
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        for n in range(logs):
            shutil.copy(SAMPLES / "acceptance.csv", folder / f"log {n:03}.csv")
            shutil.copy(SAMPLES / "acceptance.logger.toml", folder / f"log {n:03}.logger.toml")
        asked = ["check", temporary, "--plan", str(SAMPLES / "larch.plan.toml"), "--json", "-"]
        found = []
        for n in range(rounds):
            turns = list(trees) if n % 2 == 0 else list(trees)[::-1]
            found.append({name: run([sys.executable, "-c", FROM, trees[name], *asked]) for name in turns})
            told = (f"{name} {found[-1][name].wall_s:.2f} s, CPU {found[-1][name].cpu_s:.2f} s" for name in trees)
            same = "the same result" if len({one.out for one in found[-1].values()}) == 1 else "ANOTHER RESULT"
            print(f"{'; '.join(told)}; {same}, load {os.getloadavg()[0]:.1f}", flush=True)
    wall = statistics.median(one["the other"].wall_s / one["this"].wall_s for one in found)
    cpu = statistics.median(one["the other"].cpu_s / one["this"].cpu_s for one in found)
    print(f"{logs} logs: this is {wall:.3f} times as fast as the other, which takes {cpu:.3f} times its CPU time")


def _watched(command: list[str]) -> tuple[Run, float]:
    """Run a process; how many cores other programs kept busy meanwhile, leaving out those that give way to it."""
    before = _busy_s()
    done = run(command)
    return done, max((_busy_s() - before - done.cpu_s) / done.wall_s, 0.0)


def _at_once(commands: list[list[str]]) -> float:
    """Wall time of commands that run side by side, s."""
    began = time.perf_counter()
    running = [subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) for command in commands]
    for process in running:
        process.wait()
    return time.perf_counter() - began


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
    parser.add_argument("--beside", type=Path, help="the tree of another benchlog")
    given = parser.parse_args()
    if given.beside is not None:
        beside(given.logs, given.rounds, given.beside)
        return
    measure(given.logs, given.rounds)


if __name__ == "__main__":
    main()
