"""Logs that are looked at: what is drawn of them in memory and on disk, and their samples at hand."""

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from benchlog import __version__
from benchlog.core.trace import Trace
from benchlog.logger.model import Logger
from benchlog.plan.model import Plan
from benchlog.report.figures.view import DrawnView, drawn_overview, drawn_samples, needs_samples
from benchlog.verdict.evidence import LogEvidence
from dashboards.drawn_file import FORM, read_drawn, write_drawn
from dashboards.kept_samples import KeptSamples

#: Most logs whose drawings are in memory; each takes some megabytes.
MOST_OPEN = 6

Progress = Callable[[int, int], None]


class ShelfSamples(Protocol):
    """Gives any stretch at its full rate: an open log, or a kept copy."""

    def trace(self, from_s: float, to_s: float, roles: Collection[str] | None = None) -> Trace:
        """The samples of a stretch, s."""

    def close(self) -> None:
        """Let the file go."""


@dataclass(frozen=True, slots=True)
class LookedAt:
    """One log on the shelf: what is drawn of it, and its samples as recorded."""

    evidence: LogEvidence
    samples: ShelfSamples | None

    @property
    def start_s(self) -> float:
        """Time of the first sample, s."""
        return float(self.evidence.overview.start_s[0])

    @property
    def end_s(self) -> float:
        """Time of the last sample, s."""
        return float(self.evidence.overview.end_s[-1])

    def drawn(self, from_s: float, to_s: float) -> dict[str, DrawnView]:
        """Every role over a stretch: bands, or single samples where a screen can show them."""
        overview = self.evidence.overview
        if self.samples is not None and needs_samples(overview, from_s, to_s):
            # one sample more on either side, so that lines run to the edge
            near_s = max(overview.step_s, 1e-4) * 1.5
            return drawn_samples(self.evidence.as_seen(self.samples.trace(from_s - near_s, to_s + near_s)))
        return drawn_overview(overview, from_s, to_s)


def looked_at(path: Path, evidence: LogEvidence) -> LookedAt:
    """A copy in canonical columns, with what was found in its log."""
    return LookedAt(evidence, KeptSamples(path, evidence.overview))


class Shelf:
    """The logs looked at last; safe to use from several threads."""

    def __init__(self) -> None:
        """Empty."""
        self._open: OrderedDict[str, LookedAt] = OrderedDict()
        self._lock = threading.Lock()

    def at_hand(self, path: Path, plan: Plan) -> LookedAt | None:
        """A kept log whose drawing is in memory or on disk; None where it must be made."""
        drawn = drawn_path(path, plan)
        with self._lock:
            if (known := self._open.get(drawn.name)) is not None:
                self._open.move_to_end(drawn.name)
                return known
        evidence = read_drawn(drawn)
        return None if evidence is None else self._put(drawn.name, evidence, path)

    def make(self, path: Path, name: str, logger: Logger, plan: Plan, progress: Progress) -> LookedAt:
        """Read a kept log from end to end and keep what is drawn of it.

        Args:
            path: of the copy. name: the log's own. logger: as used. plan: what it was checked against.
        """
        from benchlog.examine import examine
        from benchlog.log.log import Log
        from benchlog.store.logs_kept import kept_logger
        from benchlog.verdict.registry.table import limits_of

        with Log.open(path, kept_logger(logger), progress=progress) as log:
            evidence = replace(examine(log, log.logger, plan, limits_of(plan)).evidence, log=name)
        return self.keep(path, plan, evidence)

    def keep(self, path: Path, plan: Plan, evidence: LogEvidence) -> LookedAt:
        """Put down what is drawn of a kept log."""
        drawn = drawn_path(path, plan)
        write_drawn(drawn, evidence)
        return self._put(drawn.name, evidence, path)

    def _put(self, key: str, evidence: LogEvidence, path: Path) -> LookedAt:
        looked = looked_at(path, evidence)
        with self._lock:
            self._open[key] = looked
            while len(self._open) > MOST_OPEN:
                self._open.popitem(last=False)
        return looked


def drawn_path(path: Path, plan: Plan) -> Path:
    """Where the drawing of a kept log lies: beside it, one for each plan, since the plan says what is looked for."""
    made_from = f"{FORM} {__version__} {plan.model_dump_json()}"
    return path.with_name(f"{path.stem}.{hashlib.sha256(made_from.encode()).hexdigest()[:12]}.drawn")
