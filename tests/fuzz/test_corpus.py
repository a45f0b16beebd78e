"""The small corpus of the fuzzing, run without atheris: each input ends in a result or one plain refusal."""

import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from targets import TARGETS  # noqa: E402 the folder is found only now

INPUTS = sorted(path for path in (HERE / "corpus").glob("*/*") if path.is_file())


@pytest.mark.parametrize("path", INPUTS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_kept_input_is_read_or_refused(path: Path):
    """No input that fuzzing has kept makes anything but a result or a ``BenchlogError``."""
    TARGETS[path.parent.name](path.read_bytes())


def test_every_target_has_inputs():
    """A target without inputs would be tested by nothing, and an input without a target would not be run."""
    assert {path.parent.name for path in INPUTS} == set(TARGETS)


def test_corpus_is_small():
    """All inputs together stay below 200 kB."""
    assert sum(path.stat().st_size for path in INPUTS) < 200_000
