"""A log whose samples at the end of a channel's range count as over range, declared or not."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from benchlog.analysis.clipping import LEAST_SAMPLES, Clip, clipped_at
from benchlog.analysis.coarse import runs
from benchlog.analysis.cranking import LEAST_STARTER_A
from benchlog.core.numbers import number
from benchlog.core.quantiles import distinct
from benchlog.core.roles import ROLE_UNITS
from benchlog.core.trace import Band, Overview, Trace
from benchlog.examine.context import Samples
from benchlog.examine.log_behind import LogBehind

#: Of the buckets that hold the end's figure so many are looked at, each with so many steps around it.
MOST_LOOKS, AROUND_STEPS = 6, 300
#: A current that stands at this figure or above is a starter's, A.
STARTER_A = 2 * LEAST_STARTER_A
#: The states of these lines are known at the end of the range as well, and nothing else of them is asked.
STATES_ONLY = ("trigger_v", "key_v")


class ClippedLog(LogBehind):
    """The samples of another log, those at the end of a channel's range over range.

    A current there is unknown, as with samples that the logger marks itself. A voltage keeps its figure, which still
    tells that a line is up, and so does a current that no load but a starter draws.
    """

    def __init__(self, log: Samples, clips: Sequence[Clip]) -> None:
        super().__init__(log)
        self._clips = clips
        self.overview = clipped_overview(log.overview, clips)

    def trace(self, from_s: float, to_s: float, roles: Sequence[str] | None = None) -> Trace:
        """Single samples of a stretch."""
        trace = self._log.trace(from_s, to_s, roles)
        values, over = dict(trace.values), dict(trace.over)
        for clip in self._clips:
            if clip.role not in values:
                continue
            with np.errstate(invalid="ignore"):
                at_end = _beyond(trace.values[clip.role], clip)
            if not at_end.any():
                continue
            over[clip.role] = over.get(clip.role, np.zeros(len(trace), dtype=bool)) | at_end
            if _unknown(clip):
                values[clip.role] = np.where(at_end, np.nan, values[clip.role])
        return Trace(trace.time_s, values, over)


def _beyond(x: np.ndarray, clip: Clip) -> np.ndarray:
    hair = 1e-9 * max(abs(clip.level), 1.0)
    return x >= clip.level - hair if clip.end == "highest" else x <= clip.level + hair


def _unknown(clip: Clip) -> bool:
    return ROLE_UNITS[clip.role] == "A" and abs(clip.level) < STARTER_A


def clipped_overview(overview: Overview, clips: Sequence[Clip]) -> Overview:
    """The same overview; a bucket that holds a sample at the end of the range counts one over range at least.

    The means and areas of longer buckets stay: with that sample they are a bound.
    """
    bands: dict[str, Band] = dict(overview.bands)
    for clip in clips:
        band = bands[clip.role]
        with np.errstate(invalid="ignore"):
            some = _beyond(band.max if clip.end == "highest" else band.min, clip)
            whole = _beyond(band.min if clip.end == "highest" else band.max, clip)
        over = np.where(whole, overview.rows, np.where(some, np.maximum(band.over, 1), band.over))
        band = replace(band, over=over.astype(np.int64))
        if _unknown(clip):
            low, mean, high = (np.where(whole, np.nan, x) for x in (band.min, band.mean, band.max))
            band = replace(band, min=low, mean=mean, max=high)
        bands[clip.role] = band
    return replace(overview, bands=bands)


@dataclass(frozen=True, slots=True)
class Clipped:
    """What the ends of a log's ranges come to.

    Attributes:
        log: the very same where no channel stands at one. clips: which do. notes: plain sentences.
    """

    log: Samples
    clips: tuple[Clip, ...]
    notes: tuple[str, ...]


def use_clips(log: Samples) -> Clipped:
    """Mark what a log reads at the end of a channel's range as over range."""
    clips: list[Clip] = []
    ends: tuple[Literal["highest", "lowest"], ...] = ("highest", "lowest")
    for role in log.overview.bands:
        if ROLE_UNITS[role] not in ("V", "A") or role in STATES_ONLY:
            continue
        clips += [clip for end in ends if (clip := _clip(log, role, end)) is not None]
    if not clips:
        return Clipped(log, (), ())
    notes = tuple(_told(log.overview, clip) for clip in clips)
    return Clipped(ClippedLog(log, clips), tuple(clips), notes)


def _told(view: Overview, clip: Clip) -> str:
    band = view.bands[clip.role]
    with np.errstate(invalid="ignore"):
        first, end = max(
            runs(_beyond(band.max if clip.end == "highest" else band.min, clip)), key=lambda run: run[1] - run[0]
        )
    return (
        f"{clip.role} stands at exactly {number(clip.level)} {ROLE_UNITS[clip.role]}, its {clip.end}, from "
        f"{view.start_s[first]:.1f} to {view.end_s[end - 1]:.1f} s, where it should vary: the logger's range ends "
        "there, so what needs those samples is not proven; add that figure, as the log writes it, to `over_range` in "
        "the logger file"
    )


def _clip(log: Samples, role: str, end: Literal["highest", "lowest"]) -> Clip | None:
    view = log.overview
    band = view.bands[role]
    extreme = band.max if end == "highest" else band.min
    known = np.isfinite(extreme)
    if not known.any():
        return None
    level = float(np.max(extreme[known]) if end == "highest" else np.min(extreme[known]))
    others = band.min if end == "highest" else band.max
    # nothing flows, or nothing is fed: a figure of zero is a state of its own
    if level == 0.0 or not np.nanmin(others) < np.nanmax(extreme):
        return None
    with np.errstate(invalid="ignore"):
        at = np.flatnonzero(_beyond(extreme, Clip(role, end, level)))
    if view.rows[at].sum() < LEAST_SAMPLES:
        return None
    looks = at[distinct(np.linspace(0, len(at) - 1, MOST_LOOKS).astype(int))]
    reach = AROUND_STEPS * view.step_s
    traces: list[Trace] = []
    done_s = -np.inf
    for bucket in looks:
        from_s, to_s = max(float(view.start_s[bucket]) - reach, done_s), float(view.end_s[bucket]) + reach
        if to_s <= done_s:
            continue
        traces.append(log.trace(from_s, to_s, [role]))
        done_s = np.nextafter(to_s, np.inf)
    return Clip(role, end, level) if clipped_at(traces, role, level, end) else None
