"""How long the picture of a season with 10,000 readings of each quantity takes.

    PYTHONPATH=. python tests/benchmarks/season_speed.py [--readings N] [--rounds N]

Readings are simulated over a year; timed are the trends (``season_of``), one figure, and the whole HTML page. Nothing
here is asserted.
"""

import argparse
import statistics
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))


def measure(readings: int, rounds: int) -> dict[str, float]:
    """What -> median seconds; the page's size in MB as ``page_mb``."""
    import numpy as np
    from season_cases import START, whole_season

    from benchlog.season import season_of
    from benchlog.season.figures import part_figure
    from benchlog.season.report import render_html

    given = whole_season(np.random.default_rng(1), n=readings, per_year={"source_resistance": 10.0})
    today = (START + timedelta(days=366)).date()
    made = partial(season_of, given, chemistry="agm", capacity_ah=11.2, today=today)
    season = made()
    parts: dict[str, Callable[[], object]] = {
        "trends": made,
        "one figure": lambda: part_figure(season.parts[0], season),
        "page": lambda: render_html(season),
    }
    found = {}
    for name, act in parts.items():
        taken = []
        for _ in range(rounds):
            began = time.perf_counter()
            act()
            taken.append(time.perf_counter() - began)
        found[name] = statistics.median(taken)
        print(f"{name:10} {found[name]:7.2f} s, at worst {max(taken):.2f} s", flush=True)
    found["page_mb"] = len(render_html(season).encode()) / 1e6
    print(f"{len(given):,} readings, {readings:,} of each quantity; the page has {found['page_mb']:.2f} MB")
    return found


def main() -> None:
    """Print all lines."""
    parser = argparse.ArgumentParser(description="a season of many readings")
    parser.add_argument("--readings", type=int, default=10_000, help="of each quantity")
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    measure(given.readings, given.rounds)


if __name__ == "__main__":
    main()
