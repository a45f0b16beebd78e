"""Ten simulated minutes of the AVR logger at its full rate, recorded by benchlog: any sample lost or wrong ends in 1.

    python tests/avr_long.py [--minutes 10]

Voltages anywhere in and beyond every range, new ones each millisecond, with noise; prints what the notes quote.
"""

import argparse
import csv
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from avr_fixtures import (
    CYCLES,
    LOGGER,
    RATE_HZ,
    Built,
    build_board,
    build_image,
    expected,
    random_scene,
    read_truth,
    record,
    write_scene,
)


def main() -> int:
    """Run, compare, print."""
    wanted = argparse.ArgumentParser(description=__doc__)
    wanted.add_argument("--minutes", type=float, default=10.0)
    seconds = wanted.parse_args().minutes * 60
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["BENCHLOG_DATA"] = str(folder / "data")
        built = Built(build_board(folder), build_image(folder), folder)
        scene = write_scene(folder / "scene.csv", random_scene(np.random.default_rng(7), 61.0))
        board = built.command(scene, folder / "truth.csv", seconds, "--noise", 1)
        figures = record(board, folder / "log.csv", "--logger", LOGGER)
        with (folder / "log.csv").open() as file:
            next(file)
            got = list(csv.reader(line for line in file if not line.startswith("#")))
        truth = read_truth(folder / "truth.csv")
        size = subprocess.run(["avr-size", built.image], capture_output=True, text=True, check=True).stdout
    true = expected(truth)
    wrong = sum(row[:9] != should for row, should in zip(got, true, strict=False))
    cycles = truth["cycle"].to_numpy()
    late_us = (cycles - cycles[0] - np.arange(len(cycles)) * CYCLES) / 16
    text, data, bss = (int(number) for number in size.splitlines()[1].split()[:3])
    stack = 2048 - figures["memory_untouched"] - data - bss
    print(f"{figures['simulated_s']:.0f} s simulated in {figures['took_s']:.0f} s")
    print(f"{len(true)} samples begun, {len(got)} recorded, {len(true) - len(got)} still on the line at the end")
    print(f"wrong: {wrong}; dropped, by their own count: {got[-1][9]}")
    print(f"rate: {(len(cycles) - 1) / (cycles[-1] - cycles[0]) * 16e6:.6f} samples a second")
    print(f"begun against the stamp: {late_us.min():+.2f} to {late_us.max():+.2f} us, rms {late_us.std():.2f} us")
    print(f"flash {text + data} of 32768 bytes; memory {data + bss} of 2048 bytes, and a stack of {stack}")
    fine = wrong == 0 and len(true) - len(got) <= 2 and got[-1][9] == "0" and len(got) >= seconds * RATE_HZ - 10
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
