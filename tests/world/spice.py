"""Running ngspice on a deck and reading what it wrote."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .netlist import OPTIONS

NAMES = {
    "v(bat)": "battery_v",
    "i(vbat)": "battery_a",
    "v(t86)": "trigger_v",
    "v(feed)": "feed_v",
    "v(bus)": "ground_v",
    "i(vfeed)": "feed_a",
    "i(vc)": "coil_a",
    "v(x)": "armature",
}


@dataclass(frozen=True)
class Run:
    """Time from the window's start and the vectors, by role; `measured` holds the deck's .meas results, s."""

    t: np.ndarray
    values: dict[str, np.ndarray]
    measured: dict[str, float]


def available() -> bool:
    """Whether ngspice is installed."""
    return shutil.which("ngspice") is not None


def read_raw(path: Path) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """A binary raw file of a transient analysis."""
    head, _, body = path.read_bytes().partition(b"Binary:\n")
    text = head.decode("latin-1")
    count = int(re.search(r"No\. Variables:\s*(\d+)", text).group(1))
    points = int(re.search(r"No\. Points:\s*(\d+)", text).group(1))
    names = [line.split()[1] for line in text.split("Variables:\n")[1].splitlines()[:count]]
    data = np.frombuffer(body, dtype=np.float64, count=count * points).reshape(points, count)
    return data[:, 0], {NAMES.get(n.lower(), n): data[:, k] for k, n in enumerate(names) if k}


def run(deck: str, timeout_s: float = 120.0) -> Run:
    """Solve one deck.

    Raises:
        RuntimeError: ngspice ended without a result; the message holds its last lines.
    """
    said = ""
    for options in OPTIONS:
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "a.cir").write_text(deck.replace(OPTIONS[0], options), encoding="ascii")
            try:
                done = subprocess.run(
                    ["ngspice", "-b", "a.cir"],
                    capture_output=True,
                    text=True,
                    timeout=timeout_s,
                    check=False,
                    cwd=folder,
                )
            except subprocess.TimeoutExpired:
                said = f"no end after {timeout_s:.0f} s"
                continue
            said = done.stdout + done.stderr
            raw = Path(folder) / "a.raw"
            if raw.exists() and "aborted" not in said:
                t, values = read_raw(raw)
                break
    else:
        raise RuntimeError("ngspice gave no result:\n" + "\n".join(said.splitlines()[-12:]))
    found = re.findall(r"^(pull_in|drop_out)\s*=\s*([-+0-9.eE]+)", said, re.M)
    return Run(t, values, {k: float(v) for k, v in found})
