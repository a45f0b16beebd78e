"""The random rider before real processes: stand-in and guided test, each its own, over pseudo-terminals.

    python tests/rider_pty.py [--sessions N] [--seed S] [--speed X]

The rider reads the step from the state that the test leaves for the pages, presses keys on the test's terminal, and
acts on the bike through the stand-in's hands. The stand-in's clock runs ``speed`` times as fast as ours; a mark is then
as many times later in the stream as a busy machine delays it, so that no high speed is of use.
"""

import argparse
import os
import pty
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from guided_bike import FAILS
from named_port import named_port
from random_rider import Rider, cases
from rider_table import LIMITS

import benchlog
from benchlog.bench.guided.keys import KEYS
from benchlog.bench.live import LiveStep, running
from benchlog.standin import SimulatedInstall, plan_toml_of
from benchlog.standin.hands import Hands, ask, hands_of

RUN = "from benchlog.__main__ import main; main()"
TOP = Path(__file__).parents[1]
#: Longest wait for one session, s of our clock.
PATIENCE_S = 420.0
_CHARS = {word: char for char, word in KEYS.items() if char not in ("\n", " ", "\x03")}


@dataclass
class RealBench:
    """A running test as its rider sees it, by the state it leaves for the pages."""

    hands: Hands
    install: SimulatedInstall
    step: LiveStep | None = None
    now_s: float = 0.0
    volts: float = 0.0

    def look(self) -> None:
        """Read the newest state."""
        if states := running():
            self.step = states[0].step
            self.now_s = states[0].time_s[-1] if states[0].time_s else self.now_s
            self.volts = states[0].last.get("battery_v") or 0.0

    def act(self, text: str) -> float:
        """Do it now."""
        return ask(self.hands, text)

    def engine_runs(self) -> bool:
        """By the voltage, which a person hears as the engine."""
        return self.volts > 13.2


def _drained(handle: int, kept: bytearray) -> None:
    with suppress(OSError):
        while came := os.read(handle, 65536):
            kept += came


def session(case: tuple[int, str, str], speed: float, latest_s: float, folder: Path) -> str:
    """One session; what came of it, in a line."""
    seed, fault, behaviour = case
    plan = folder / "plan.toml"
    plan.write_text(plan_toml_of(SimulatedInstall(), LIMITS), encoding="utf-8")
    os.environ.update(BENCHLOG_DATA=str(folder / "data"), PYTHONPATH=str(TOP), TERM="xterm")
    begin = [sys.executable, "-c", RUN]
    order = [*begin, "standin", "--speed", f"{speed:g}", "--rate", "100", "--seed", str(seed)]
    order += ["--fault", fault] if fault else []
    order += ["--behaviour", behaviour] if behaviour else []
    with (folder / "standin.txt").open("w") as told:
        stand_in = subprocess.Popen(order, stdin=subprocess.DEVNULL, stdout=told, stderr=subprocess.STDOUT, cwd=folder)
    near, far = pty.openpty()
    kept = bytearray()
    try:
        port = named_port(folder / "standin.txt")
        hands = hands_of(port)
        if hands is None:
            raise RuntimeError("the stand-in has no hands")
        test = subprocess.Popen(
            [*begin, "acceptance", port, "--plan", str(plan), "--out", "a.csv", "--practise"],
            stdin=far, stdout=far, stderr=far, cwd=folder, start_new_session=True,
        )  # fmt: skip
        os.close(far)
        reader = threading.Thread(target=_drained, args=(near, kept), daemon=True)
        reader.start()
        rider, bench = Rider(np.random.default_rng(seed), fault, latest_s), RealBench(hands, SimulatedInstall())
        until = time.monotonic() + PATIENCE_S
        while test.poll() is None and time.monotonic() < until:
            bench.look()
            rider(bench)
            for key in rider.keys(bench):
                os.write(near, _CHARS[key].encode())
            if b"goes on to the faulty place" in kept[-400:]:
                os.write(near, b"q\n")
            time.sleep(0.05)
        ended = test.poll()
        if ended is None:
            test.kill()
        test.wait()
    finally:
        stand_in.terminate()
        stand_in.wait(timeout=20)
        os.close(near)
    result = benchlog.check(folder / "a.csv", plan=plan)
    failed = {check.id for check in result.checks if check.verdict == "fail"}
    for check in result.checks:
        if check.id in failed - FAILS.get(fault, frozenset()):
            print(f"  {check.id}: {check.because}\n  {rider.story}")
    missed = FAILS.get(fault, frozenset()) - failed
    return (
        f"seed {seed}, {fault or 'no fault'}, {behaviour or 'none'}: exit {ended}, {bench.now_s:.0f} s of stream, "
        f"{len(rider.story)} deeds; failed {sorted(failed)}; not failed though they must: {sorted(missed)}"
    )


def main() -> None:
    """Play them one after another."""
    asked = argparse.ArgumentParser(description="The random rider before real processes.")
    asked.add_argument("--sessions", type=int, default=6)
    asked.add_argument("--seed", type=int, default=9000)
    asked.add_argument("--speed", type=float, default=5.0)
    asked.add_argument("--latest", type=float, default=60.0, help="the longest that a step is late, s of the stream")
    given = asked.parse_args()
    for case in cases(200, given.seed)[: given.sessions]:
        with tempfile.TemporaryDirectory() as folder:
            print(session(case, given.speed, given.latest, Path(folder)), flush=True)


if __name__ == "__main__":
    main()
