"""How often a second the page on a running recording shows new values and a new drawing.

    python tests/benchmarks/live_speed.py [--seconds N] [--rate HZ]

A stand-in, a recorder and the pages run as their users start them, and headless Chromium looks on; every change of the
shown values, and every drawing, is counted in the browser. Nothing here is asserted.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

COMMAND = [sys.executable, "-u", "-c", "from benchlog.__main__ import main; main()"]
COUNT = """seconds => new Promise(done => {
  let values = 0, drawings = 0;
  const plot = document.querySelector('#live-figure .js-plotly-plot');
  new MutationObserver(() => values++).observe(document.getElementById('live-now'),
    {childList: true, subtree: true, characterData: true});
  plot.on('plotly_afterplot', () => drawings++);
  setTimeout(() => done([values, drawings]), seconds * 1000);
})"""


@dataclass(frozen=True)
class Seen:
    """Changes a second that a reader saw, and processor time of the three programs in that of the clock."""

    values_s: float
    drawings_s: float
    busy: float


def measure(seconds: float, rate: float) -> Seen:
    """Start the three programs, look on for some seconds, end them, and print one line."""
    import psutil
    from page_server import serving
    from playwright.sync_api import sync_playwright

    with ExitStack() as ends, tempfile.TemporaryDirectory() as temporary:
        data = Path(temporary) / "data"
        data.mkdir()
        os.environ["BENCHLOG_DATA"] = str(data)
        bike = _started(ends, "standin", "--rate", f"{rate:g}")
        told: dict[str, str] = {}
        while "logger" not in told:
            word, _, rest = (bike.stdout.readline() if bike.stdout else "").strip().partition(" ")
            told[word] = rest.strip()
        log = Path(temporary) / "ride.csv"
        recorder = _started(ends, "record", told["port"], "--out", str(log), "--logger", told["logger"])
        running = ends.enter_context(serving(data))
        driver = ends.enter_context(sync_playwright())
        chromium = driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        page = chromium.new_page(viewport={"width": 1280, "height": 900})
        page.goto(f"{running.url}/live")
        page.wait_for_selector("#live-figure .xtick", timeout=30_000)
        time.sleep(3)  # the first minute's figure grows fastest at its beginning
        ours = [psutil.Process(pid) for pid in (bike.pid, recorder.pid, running.pid)]
        before = sum(sum(one.cpu_times()[:2]) for one in ours)
        values, drawings = page.evaluate(COUNT, seconds)
        busy = (sum(sum(one.cpu_times()[:2]) for one in ours) - before) / seconds
        chromium.close()
    found = Seen(values / seconds, drawings / seconds, busy)
    print(
        f"live page on {rate:g} samples a second: {found.values_s:.1f} changes of the values and "
        f"{found.drawings_s:.1f} drawings a second; stand-in, recorder and server together take {found.busy:.2f} cores"
    )
    return found


def _started(ends: ExitStack, *words: str) -> "subprocess.Popen[str]":
    process = subprocess.Popen(
        [*COMMAND, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    ends.callback(process.wait)
    ends.callback(process.terminate)
    return process


def main() -> None:
    """Print the line."""
    parser = argparse.ArgumentParser(description="how often the live page changes")
    parser.add_argument("--seconds", type=float, default=10)
    parser.add_argument("--rate", type=float, default=500)
    given = parser.parse_args()
    measure(given.seconds, given.rate)


if __name__ == "__main__":
    main()
