"""Counts that add up, for the tables of verdicts."""

from dataclasses import dataclass
from typing import Self


@dataclass
class Counts:
    """What was judged, and wrongly; a table adds numbers of its own."""

    judged: int = 0
    false_pass: int = 0
    false_fail: int = 0

    def add(self, other: Self) -> None:
        """Add another's."""
        for name in vars(self):
            setattr(self, name, getattr(self, name) + getattr(other, name))


@dataclass
class ProvenCounts(Counts):
    """The same, of verdicts that may be proven, and how often a stated uncertainty covered the truth."""

    proven: int = 0
    with_u: int = 0
    covered: int = 0
