"""Plain tables of samples that pass from the log to the analysis: no files, no behaviour beyond slicing."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from benchlog.core.events import Event, SlotOn, SlotWithdrawn, event_of, seconds_ago

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mark:
    """What the tester noted at one sample.

    Attributes:
        time_s: s. text: as noted. event: what it stands for; None for free text.
    """

    time_s: float
    text: str
    event: Event | None = field(init=False, compare=False)

    def __post_init__(self) -> None:
        """Read the text, once."""
        object.__setattr__(self, "event", event_of(self.text))


def standing(marks: Sequence[Mark]) -> tuple[Mark, ...]:
    """The marks as they count, in the order of their times.

    Each withdrawal takes the newest that a circuit was switched on, and one that was noted late stands when it was.
    """
    kept: list[Mark] = []
    for noted in marks:
        text, ago_s = seconds_ago(noted.text)
        mark = Mark(noted.time_s - ago_s, text) if ago_s else noted
        if isinstance(mark.event, SlotWithdrawn):
            wrong = next((one for one in reversed(kept) if one.event == SlotOn(mark.event.slot)), None)
            kept = [one for one in kept if one is not wrong]
        kept.append(mark)
    return tuple(sorted(kept, key=lambda mark: mark.time_s))


def times_of(marks: Sequence[Mark], event: Event) -> list[float]:
    """When this was noted, s."""
    return [mark.time_s for mark in marks if mark.event == event]


@dataclass(frozen=True, slots=True)
class Trace:
    """Single samples over a stretch of one log.

    Attributes:
        time_s: s, strictly increasing.
        values: role -> array as long as ``time_s``, canonical unit and sign;
            NaN where the sample is missing or was over range.
        over: role -> True where the sample was over range. Only roles that have any.
    """

    time_s: Array
    values: Mapping[str, Array]
    over: Mapping[str, npt.NDArray[np.bool_]]

    def __len__(self) -> int:
        return len(self.time_s)

    def between(self, from_s: float, to_s: float) -> "Trace":
        """The samples with ``from_s <= time_s <= to_s`` (views, not copies)."""
        lo = np.searchsorted(self.time_s, from_s, side="left")
        hi = np.searchsorted(self.time_s, to_s, side="right")
        cut = slice(int(lo), int(hi))
        return Trace(
            self.time_s[cut],
            {role: column[cut] for role, column in self.values.items()},
            {role: flags[cut] for role, flags in self.over.items()},
        )

    def less(self, offsets: Mapping[str, float]) -> "Trace":
        """The same samples less each role's offset."""
        values = {role: x - offsets[role] if role in offsets else x for role, x in self.values.items()}
        return Trace(self.time_s, values, self.over)

    def hiding(self, roles: Collection[str], hidden: npt.NDArray[np.bool_]) -> "Trace":
        """The same samples; these roles have none where ``hidden`` is true, nor any over range."""
        if not hidden.any():
            return self
        values = {role: np.where(hidden, np.nan, x) if role in roles else x for role, x in self.values.items()}
        over = {role: flags & ~hidden if role in roles else flags for role, flags in self.over.items()}
        return Trace(self.time_s, values, {role: flags for role, flags in over.items() if flags.any()})


@dataclass(frozen=True, slots=True)
class Band:
    """One role in buckets. All arrays have one entry a bucket; NaN where it has no valid sample.

    Attributes:
        min, mean, max: over the bucket's valid samples (mean of samples, not of time).
        area: unit*s, trapezoid on the actual times, from the last sample of the bucket before
            to this bucket's last sample, over pairs of neighbouring valid samples.
        weight_s: s that ``area`` covers.
        over: how many samples were over range (int).
    """

    min: Array
    mean: Array
    max: Array
    area: Array
    weight_s: Array
    over: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Overview:
    """A whole log in buckets of equally many rows (the last may hold fewer).

    Attributes:
        start_s, end_s: time of each bucket's first and last sample, s.
        rows: samples in each bucket.
        bands: role -> its figures.
        gap_s: the widest step between neighbouring samples that ends in each bucket, s
            (0 for the log's first sample alone).
        step_s: median time between neighbouring samples over the log, s.
    """

    start_s: Array
    end_s: Array
    rows: npt.NDArray[np.int64]
    bands: Mapping[str, Band]
    gap_s: Array
    step_s: float

    def __len__(self) -> int:
        return len(self.start_s)

    def mean(self, role: str) -> float | None:
        """The mean of a role's samples over the log; None where it is not logged, or has no valid sample."""
        band = self.bands.get(role)
        if band is None or not (valid := np.isfinite(band.mean)).any():
            return None
        return float(np.average(band.mean[valid], weights=self.rows[valid]))
