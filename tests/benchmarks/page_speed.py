"""How soon a page shows a log of 43 million rows, how long the server takes for a zoom, and how much memory it needs.

    python tests/benchmarks/page_speed.py [--rows N] [--rounds N]

The log is made in a temporary folder, checked, filed with a copy as every record's, and deleted afterwards. First paint
is from the start of the navigation until the log's figure has its ticks and can be zoomed, first look until its still
drawing is painted, in headless Chromium, once the overview lies on the disk; server time is from the question to the
bytes of the answer. Nothing here is asserted.
"""

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

#: Widths of the stretches that are zoomed to, s.
WIDTHS_S = (43_200.0, 10_800.0, 3_600.0, 1_200.0, 350.0, 60.0, 10.0, 1.0, 0.02)

#: Notes in the page itself when the still drawing has been painted, s: who asks for it from outside waits until the
#: page's scripts leave time for an answer.
NOTES_FIRST_LOOK = """(() => {
  const painted = () => requestAnimationFrame(() => setTimeout(() => { window.firstLook = performance.now() / 1e3; }));
  const look = () => document.querySelector('.still path') ? painted() : requestAnimationFrame(look);
  requestAnimationFrame(look);
})()"""


def make_log(folder: Path, rows: int) -> tuple[Path, Path]:
    """The acceptance run and then a long key-off, five columns at 1 kHz, as Parquet; and its plan."""
    import numpy as np
    import polars as pl

    from benchlog.standin import SimulatedInstall, acceptance_script, fast_logger, simulate

    spec = fast_logger(1000).only("battery_v", "battery_a", "trigger_v", "feed_v", "ground_v")
    sim = simulate(SimulatedInstall(), acceptance_script(settle_s=320, marks=False), spec, np.random.default_rng(5))
    frame = pl.from_pandas(sim.frame.drop(columns=["mark"]))
    calm = frame.tail(100_000)
    parts, done, part = [], 0, frame
    while done < rows:
        part = part.head(rows - done)
        parts.append(part.lazy().with_columns(time_s=(pl.int_range(pl.len()) + done) / 1000))
        done += part.height
        part = calm
    log, plan = folder / "long.parquet", folder / "larch.plan.toml"
    pl.concat(parts).sink_parquet(log, row_group_size=200_000, maintain_order=True)
    plan.write_text(sim.plan_toml, encoding="utf-8")
    return log, plan


def memory_mb(pid: int) -> tuple[float, float]:
    """Present and greatest resident memory of a process, MB; zeros where the system does not tell."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0.0, 0.0
    told = {line.split(":")[0]: line.split()[1] for line in lines if line.startswith(("VmRSS", "VmHWM"))}
    return float(told["VmRSS"]) / 1024, float(told["VmHWM"]) / 1024


@contextmanager
def step(name: str) -> Iterator[None]:
    """Print how long something took."""
    began = time.perf_counter()
    yield
    print(f"{name:<58} {time.perf_counter() - began:8.2f} s", flush=True)


def zooms(data: Path, rounds: int) -> None:
    """Server time of a zoom at every width, at random places."""
    import numpy as np
    from plotly.io.json import to_json_plotly

    from benchlog.store import open_store
    from dashboards import log_view
    from dashboards.context import Context
    from dashboards.looked import at_hand, behind
    from dashboards.settings import Settings
    from dashboards.trays import Trays

    context = Context(Settings(), open_store(str(data / "records.sqlite")), Trays(1))
    rng = np.random.default_rng(2)
    looked = at_hand(context, behind(context, "record 1"), 0)
    assert looked is not None, "the overview is not there yet"
    print(f"\n{'zoom to':>12} {'median':>10} {'slowest':>10} {'answer':>10}")
    for width_s in WIDTHS_S:
        if width_s > (looked.end_s - looked.start_s) * 1.01:
            continue
        took, size = [], 0
        for _ in range(rounds):
            first = rng.uniform(0, max(looked.end_s - width_s, 0.001))
            began = time.perf_counter()
            moved = log_view.move(context, "record 1", 0, "go", {"from": first, "to": first + width_s})
            assert not isinstance(moved, str), moved
            size = len(to_json_plotly(moved[0]))
            took.append((time.perf_counter() - began) * 1e3)
        print(
            f"{width_s:>10g} s {statistics.median(took):>7.0f} ms {max(took):>7.0f} ms {size / 1e3:>7.0f} kB",
            flush=True,
        )
    context.close()


def paints(data: Path, rounds: int) -> None:
    """First look and first paint in a browser: with a server that has just begun, and with one that knows the log."""
    from page_server import serving, until
    from playwright.sync_api import sync_playwright

    drawn = "document.querySelectorAll('.log-view .js-plotly-plot .xtick').length"
    took, first = [], []
    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        with serving(data) as running:
            context = chromium.new_context(viewport={"width": 1280, "height": 900})
            context.add_init_script(NOTES_FIRST_LOOK)
            for _ in range(rounds + 1):
                page = context.new_page()
                began = time.perf_counter()
                page.goto(f"{running.url}/record/1", wait_until="commit")
                until(lambda: page.evaluate(drawn), 120)  # noqa: B023  # called before the next turn
                took.append(time.perf_counter() - began)
                first.append(page.evaluate("window.firstLook"))
                page.close()
            now, most = memory_mb(running.pid)
        chromium.close()
    seen = [at for at in first[1:] if at is not None]
    print(f"\nfirst look: median {statistics.median(seen):.2f} s of {len(seen)}" if seen else "\nfirst look: not seen")
    print(f"first paint: {took[0]:.2f} s cold, median {statistics.median(took[1:]):.2f} s of {rounds} after that")
    print(f"memory of the server: {now:.0f} MB, at most {most:.0f} MB")


def main() -> None:
    """Print all lines."""
    parser = argparse.ArgumentParser(description="how fast the pages show a long log")
    parser.add_argument("--rows", type=int, default=43_200_000)
    parser.add_argument("--rounds", type=int, default=7)
    given = parser.parse_args()
    import benchlog
    from benchlog.store import open_store

    with tempfile.TemporaryDirectory() as temporary:
        data = Path(temporary) / "data"
        data.mkdir()
        print(f"load average at the start: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        with step(f"making a log of {given.rows:,} rows"):
            log, plan = make_log(Path(temporary), given.rows)
        with open_store(str(data / "records.sqlite")) as store:
            with step("checking it"):
                result = benchlog.check(log, plan=plan)
            with step("filing it with its copy"):
                record = store.save(result, plan=plan, logs=[log])
            log.unlink()
            copy = store.log_path(record.number, log.name)
            assert copy is not None
            print(f"{'the copy':<58} {copy.stat().st_size / 1e6:8.0f} MB")
            from dashboards.shelf import Shelf, drawn_path

            with step("making its overview (once a log)"):
                Shelf().make(copy, log.name, record.logs[0].logger, record.plan, lambda _done, _of: None)
            print(f"{'the overview':<58} {drawn_path(copy, record.plan).stat().st_size / 1e6:8.1f} MB")
            with step("taking the overview from the disk"):
                assert Shelf().at_hand(copy, record.plan) is not None
        zooms(data, given.rounds)
        paints(data, given.rounds)
        print(f"load average at the end: {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
