"""How fast a stream is recorded, beside a bare copy of the port's bytes to a file and polars reading that file.

    python tests/benchmarks/record_speed.py [--lines N] [--rounds N] [--form FORM]

The sender is a process of its own that gives a pseudo-terminal all it takes. Copying and recording are processes of
their own too, run in turn; times are taken inside each, after start-up and imports: wall time from the first byte to
the last line kept, and CPU time (user and system, all threads) of all that is done. The bare copy reads with pyserial
in bulk, as the recorder does, and polars then parses the file; for the other forms of line the copy holds the same
samples as plain CSV, since polars reads no other. Nothing here is asserted.
"""

import argparse
import json
import os
import pty
import select
import statistics
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

FORMS = ("csv", "pairs", "json")
COLUMNS = ("t_us", "battery_v", "battery_a", "trigger_v", "feed_v", "ground_v")

COPY = """
import json, sys, time
import polars as pl, serial
port, out, size = sys.argv[1], sys.argv[2], int(sys.argv[3])
pl.read_csv(b"a,b\\n1,2\\n")
line = serial.Serial(port, 115200, timeout=0.05)
began_cpu, began, got = time.process_time(), None, 0
with open(out, "wb") as file:
    while got < size:
        data = line.read(1 << 16)
        if data and began is None:
            began = time.perf_counter()
        file.write(data)
        got += len(data)
rows = pl.read_csv(out).height
print(json.dumps({"wall_s": time.perf_counter() - began, "cpu_s": time.process_time() - began_cpu, "rows": rows}))
"""

RECORD = """
import json, sys, time
from pathlib import Path
import polars as pl, serial
from benchlog.logger.model import load_logger
from benchlog.log.readers.lines import LineParser
from benchlog.bench.recording import Capture
port, out, lines, logger = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), load_logger(sys.argv[4])
LineParser(logger).feed(b"t_us,battery_v,battery_a,trigger_v,feed_v,ground_v\\n1,2,3,4,5,6\\n2,2,3,4,5,6\\n")
began_cpu, began, ended = time.process_time(), None, None
with Capture(port, out, logger=logger) as capture:
    for batch in capture.batches():
        if began is None:
            began = capture._first_at
        if capture.counts.kept + capture.counts.refused_in_all >= lines:
            ended = time.monotonic()
            break
print(json.dumps({"wall_s": ended - began, "cpu_s": time.process_time() - began_cpu, "rows": capture.counts.kept}))
"""

LOGGER = '[time]\ncolumn = "t_us"\nunit = "us"\n' + "".join(
    f'[[channel]]\ncolumn = "{name}"\nrole = "{name}"\n' for name in COLUMNS[1:]
)


def lines_of(form: str, checksum: str, count: int) -> bytes:
    """A stream of ``count`` lines, about 45 bytes each where they are plain CSV."""
    import numpy as np

    from benchlog.log.readers.lines.checksum import DIGITS, checksum_of

    rng = np.random.default_rng(3)
    volts = 12.6 + 0.01 * rng.standard_normal((count, 3))
    rows = [
        (str(n * 1000), f"{v[0]:.4f}", f"{3.2 + v[1] - 12.6:.4f}", f"{v[1]:.3f}", f"{v[2]:.4f}", f"{v[0] - 12.55:.4f}")
        for n, v in enumerate(volts.tolist())
    ]
    if form == "csv":
        lines = [",".join(COLUMNS), *(",".join(row) for row in rows)]
    elif form == "pairs":
        lines = [",".join(f"{name}={cell}" for name, cell in zip(COLUMNS, row, strict=True)) for row in rows]
    else:
        lines = [
            "{" + ",".join(f'"{name}":{cell}' for name, cell in zip(COLUMNS, row, strict=True)) + "}" for row in rows
        ]
    if checksum:
        digits = DIGITS[checksum]
        lines = [f"{line}*{checksum_of(checksum, line.encode()):0{digits}X}" for line in lines]
    return ("\n".join(lines) + "\n").encode()


def send(path: Path, master: int) -> None:
    """Give the pseudo-terminal all it takes, once somebody has opened the other end."""
    data = memoryview(path.read_bytes())
    poll = select.poll()
    poll.register(master, select.POLLHUP)
    while any(event & select.POLLHUP for _, event in poll.poll(0)):
        time.sleep(0.02)
    time.sleep(0.3)  # what comes before a port is set up is thrown away
    while len(data):
        data = data[os.write(master, data[:65536]) :]


def run(script: str, stream: Path, out: Path, *more: str) -> dict[str, float]:
    """Let one process read the stream that another sends."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    os.close(slave)
    with subprocess.Popen(
        [sys.executable, "-c", script, name, str(out), *more], stdout=subprocess.PIPE, text=True
    ) as reader:
        command = [sys.executable, __file__, "--send", str(stream), str(master)]
        with subprocess.Popen(command, pass_fds=[master]):
            printed = reader.stdout.read() if reader.stdout else ""
    os.close(master)
    found: dict[str, float] = json.loads(printed)
    return found


@dataclass(frozen=True)
class Recorded:
    """Medians of some rounds of one form of line.

    Attributes:
        lines_s: lines a second, from the first byte to the last line kept.
        ratio: CPU time in that of the bare copy.
    """

    form: str
    checksum: str
    kept: int
    of: int
    lines_s: float
    ratio: float


def measure(forms: Sequence[str], lines: int, rounds: int) -> list[Recorded]:
    """Record each form with each checksum beside a bare copy, and print a line for each."""
    found = []
    print(f"{lines:,} lines, six columns; CPU after start-up and imports, all threads, user and system")
    print("form    checksum   B/line     kept   lines/s   CPU s  bare CPU s  ratio")
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        os.environ["BENCHLOG_DATA"] = str(folder / "data")
        logger = folder / "bench.logger.toml"
        logger.write_text(LOGGER, encoding="utf-8")
        plain = folder / "plain.txt"
        plain.write_bytes(lines_of("csv", "", lines))
        number = 0
        for form in forms:
            for checksum in ("", "xor", "crc"):
                stream = folder / "stream.txt"
                stream.write_bytes(lines_of(form, checksum, lines))
                bare, ours = [], []
                for _ in range(rounds):
                    number += 1
                    # bytes of this form are copied; polars reads the plain ones, the only form it knows
                    source = stream if form == "csv" and not checksum else plain
                    bare.append(run(COPY, source, folder / f"{number}.txt", str(source.stat().st_size)))
                    out = folder / f"{number}.csv"
                    ours.append(run(RECORD, stream, out, str(lines), str(logger)))
                    (folder / f"{number}.txt").unlink()
                    out.unlink()
                kept = min(int(each["rows"]) for each in ours)
                speed = statistics.median(each["rows"] / each["wall_s"] for each in ours)
                cpu, base = (statistics.median(each["cpu_s"] for each in runs) for runs in (ours, bare))
                ratio = statistics.median(a["cpu_s"] / b["cpu_s"] for a, b in zip(ours, bare, strict=True))
                size = stream.stat().st_size / lines
                print(
                    f"{form:<8}{checksum or 'none':<10}{size:>7.1f}{kept:>9,}{speed:>10,.0f}"
                    f"{cpu:>8.2f}{base:>12.2f}{ratio:>7.2f}",
                    flush=True,
                )
                found.append(Recorded(form, checksum, kept, lines, speed, ratio))
    return found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="speed of recording beside a bare copy")
    parser.add_argument("--lines", type=int, default=300_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--form", choices=FORMS, help="this form alone")
    parser.add_argument("--send", nargs=2, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.send:
        send(Path(given.send[0]), int(given.send[1]))
    else:
        measure([given.form] if given.form else FORMS, given.lines, given.rounds)


if __name__ == "__main__":
    main()
