"""The random rider before real processes: stand-in and guided test, each its own, over pseudo-terminals.

    python tests/rider_pty.py [--sessions N] [--seed S] [--workers N] [--latest S] [--rows FILE] [--keep FOLDER]

The rider reads the step from the state that the test leaves for the pages, presses keys on the test's terminal, and
acts on the bike through the stand-in's hands. While nobody does anything the stand-in's clock runs up to 150 times as
fast as ours; where hands act and marks are written, six times as fast. The guided test knows the stream's time alone.
The truth is that of the same bike, to which the same is done at the same times. With ``--rows`` each session's row is
added to a file as it ends, and those that are there already are not played again.
"""

import argparse
import csv
import json
import os
import pty
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from named_port import named_port
from random_rider import LATEST_S, Case, Rider, cases
from rider_bench import HANDS_SPEED, RealBench, Replayed, lag_s
from rider_table import LIMITS, Row, render, the_plan
from rider_truth import Verdicts, judged

import benchlog
from benchlog.bench.guided.keys import KEYS
from benchlog.bench.guided.resume import state_path
from benchlog.standin import SimulatedInstall, plan_toml_of, with_behaviours, with_fault
from benchlog.standin.hands import hands_of

RUN = "from benchlog.__main__ import main; main()"
TOP = Path(__file__).parents[1]
RATE_HZ = 50.0
#: Longest wait for one session, s of our clock and of the stream.
PATIENCE_S, LIMIT_S = 3600.0, 9000.0
LOOKS_EVERY_S = 0.12
_CHARS = {word: char for char, word in KEYS.items() if char not in ("\n", " ", "\x03")}
_FIND = b"goes on to the faulty place"


@dataclass(frozen=True, slots=True)
class Played:
    """One session: its row, what the rider did, and how long after a circuit's switch its mark stands, s."""

    row: Row
    story: list[tuple[float, str]]
    lags_s: list[float]


def play(case: Case, latest_s: float, folder: Path) -> Played:
    """One session between real processes."""
    (folder / "plan.toml").write_text(plan_toml_of(SimulatedInstall(), LIMITS), encoding="utf-8")
    os.environ["BENCHLOG_DATA"] = str(folder / "data")
    install = with_fault(SimulatedInstall(), case.fault) if case.fault else SimulatedInstall()
    bike = Replayed(with_behaviours(install, [case.behaviour] if case.behaviour else []))
    with _standin(case, folder) as port:
        hands = hands_of(port)
        assert hands is not None, "the stand-in has no hands"
        bench = RealBench(hands, bike)
        rider = Rider(np.random.default_rng(case.seed), case.fault, latest_s)
        exit_status = _led(port, rider, bench, folder)
    log = folder / "a.csv"
    finished = exit_status in (0, 1, 3) and not state_path(log).exists()
    ended = "done" if finished else f"exit {exit_status}, at {bench.step.id if bench.step else 'no step'}"
    verdicts = None
    times, marks = _marks_in(log)
    if finished:
        result = benchlog.check(log, plan=folder / "plan.toml")
        (folder / "result.json").write_text(result.to_json(), encoding="utf-8")
        verdicts = judged(bike.install, bike.actions, times, result, case.fault, the_plan())
    lags_s = lag_s(bench.done, marks, lambda text: text.startswith("slot ") and text.endswith(" on"))
    return Played(Row(case, ended, times, verdicts), rider.story, lags_s)


def _led(port: str, rider: Rider, bench: RealBench, folder: Path) -> int | None:
    """Play until the test has ended; its exit status, None where it had to be stopped."""
    near, far = pty.openpty()
    kept = bytearray()
    try:
        order = ["acceptance", port, "--plan", "plan.toml", "--out", "a.csv", "--practise"]
        test = _started(order, folder, stdin=far, stdout=far, stderr=far, start_new_session=True)
        os.close(far)
        reader = threading.Thread(target=_drained, args=(near, kept), daemon=True)
        reader.start()
        until = time.monotonic() + PATIENCE_S
        while test.poll() is None and time.monotonic() < until and bench.now_s < LIMIT_S:
            bench.look()
            rider(bench)
            for key in rider.keys(bench):
                os.write(near, _CHARS[key].encode())
            bench.pace(rider)
            if _FIND in kept[-400:]:
                with suppress(OSError):
                    os.write(near, b"q\n")
            time.sleep(LOOKS_EVERY_S)
        exit_status = test.poll()
        if exit_status is None:
            test.kill()
        test.wait()
        reader.join(timeout=5.0)
        (folder / "screen.txt").write_bytes(kept)
        return exit_status
    finally:
        os.close(near)


@contextmanager
def _standin(case: Case, folder: Path) -> Iterator[str]:
    """A running stand-in's port."""
    order = ["standin", "--speed", f"{HANDS_SPEED:g}", "--rate", f"{RATE_HZ:g}", "--seed", str(case.seed)]
    order += ["--fault", case.fault] if case.fault else []
    order += ["--behaviour", case.behaviour] if case.behaviour else []
    with (folder / "standin.txt").open("w") as told:
        running = _started(order, folder, stdin=subprocess.DEVNULL, stdout=told, stderr=subprocess.STDOUT)
    try:
        yield named_port(folder / "standin.txt")
    finally:
        running.terminate()
        running.wait(timeout=20)


def _started(order: list[str], folder: Path, **streams: object) -> "subprocess.Popen[bytes]":
    where = {**os.environ, "PYTHONPATH": str(TOP), "TERM": "xterm", "COLUMNS": "80", "LINES": "24"}
    where |= {"POLARS_MAX_THREADS": "1", "OMP_NUM_THREADS": "1"}  # many at once
    return subprocess.Popen([sys.executable, "-c", RUN, *order], cwd=folder, env=where, **streams)  # type: ignore[call-overload,no-any-return]


def _drained(handle: int, kept: bytearray) -> None:
    with suppress(OSError):
        while came := os.read(handle, 65536):
            kept += came


def _marks_in(log: Path) -> tuple[float, list[tuple[float, str]]]:
    """The log's last time, s, and its marks."""
    last_s, marks = 0.0, []
    if log.exists():
        with log.open(encoding="utf-8", newline="") as file:
            rows = csv.DictReader(line for line in file if not line.startswith("#"))
            for row in rows:
                last_s = float(row["time_s"])
                if row["mark"]:
                    marks.append((last_s, row["mark"]))
    return last_s, marks


def one_session(case: Case, latest_s: float, keep: Path | None) -> Played:
    """Play one session; what is to be looked at is kept."""
    folder = Path(tempfile.mkdtemp(prefix="rider-"))
    try:
        one = play(case, latest_s, folder)
        if keep is not None and one.row.told:
            (folder / "story.txt").write_text("\n".join(f"{at_s:9.2f} {text}" for at_s, text in one.story))
            shutil.copytree(folder, keep / str(case.seed), dirs_exist_ok=True)
        return one
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _rows_in(file: Path | None) -> dict[Case, Row]:
    rows = {}
    for line in file.read_text(encoding="utf-8").splitlines() if file is not None and file.exists() else []:
        plain = json.loads(line)
        verdicts = plain["verdicts"] and Verdicts(**{name: tuple(what) for name, what in plain["verdicts"].items()})
        case = Case(*plain["case"])
        rows[case] = Row(case, plain["ended"], plain["lasted_s"], verdicts)
    return rows


def main() -> None:
    """Play them, several at once."""
    asked = argparse.ArgumentParser(description="The random rider before real processes.")
    asked.add_argument("--sessions", type=int, default=200)
    asked.add_argument("--seed", type=int, default=9000)
    asked.add_argument("--only", type=int, nargs="*", help="of these sessions, those with these seeds")
    asked.add_argument("--workers", type=int, default=6)
    asked.add_argument(
        "--latest", type=float, default=LATEST_S, help="the longest that a step is late, s of the stream"
    )
    asked.add_argument("--rows", type=Path, help="where each session's row is added")
    asked.add_argument("--keep", type=Path, help="where the files of those are kept that are to be looked at")
    given = asked.parse_args()
    wanted = [case for case in cases(given.sessions, given.seed) if not given.only or case.seed in given.only]
    rows = {case: row for case, row in _rows_in(given.rows).items() if case in wanted}
    lags_s: list[float] = []
    with ProcessPoolExecutor(given.workers, mp_context=get_context("spawn")) as pool:
        left = [case for case in wanted if case not in rows]
        asked_for = {pool.submit(one_session, case, given.latest, given.keep): case for case in left}
        for done in as_completed(asked_for):
            if problem := done.exception():  # one session that cannot be played does not lose the others
                print(f"{asked_for[done].words}: not played, {problem!r}", flush=True)
                continue
            one = done.result()
            rows[one.row.case] = one.row
            lags_s += one.lags_s
            if given.rows is not None:
                with given.rows.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(one.row)) + "\n")
            lag = f"marks up to {max(one.lags_s):.1f} s late" if one.lags_s else "no marks of circuits"
            print(f"{one.row.case.words}: {one.row.ended}, {one.row.lasted_s:.0f} s, {len(one.story)} deeds, {lag}; "
                  f"{one.row.told or 'nothing wrong'}", flush=True)  # fmt: skip
    print(render([rows[case] for case in sorted(rows)]))
    if lags_s:
        median_s, late_s = np.percentile(lags_s, (50, 95))
        print(f"a circuit's mark after its switch: median {median_s:.1f} s, 95 % {late_s:.1f} s")


if __name__ == "__main__":
    main()
