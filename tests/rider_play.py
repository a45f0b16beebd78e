"""The random rider's sessions in this process.

The session, its steps, questions and marks are the real ones; the bike, the logger's lines and the clock are simulated,
so that an hour of a rider who fetches tools takes seconds.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from guided_bike import Bench
from random_rider import Rider
from rider_truth import Verdicts, judged

import benchlog
from benchlog.bench.guided.screen import PlainScreen
from benchlog.bench.guided.session import Ended, run_session
from benchlog.core.trace import Trace
from benchlog.plan.model import Plan
from benchlog.standin import SimulatedInstall, fast_logger, with_fault
from benchlog.standin.behaving import with_behaviours
from benchlog.verdict.result import Result

#: The stream comes in pieces of this length while nobody does anything, s.
IDLE_S = 3.0
#: The stream ends here, s: a session that comes so far never ended.
LIMIT_S = 9000.0


class Remembering(Bench):
    """A bench whose bike forgets nothing, so that the truth of a long session can be told."""

    def __post_init__(self) -> None:
        """Forget nothing."""
        super().__post_init__()
        self.bike._forget = lambda: None  # type: ignore[method-assign]  # else half an hour is kept

    def engine_runs(self) -> bool:
        """Whether a person would hear it."""
        line = self.bike._line_until(self.bike.time_s)
        return any(start <= self.bike.time_s < stop for start, stop in line.runs)

    def _chunk(self) -> Trace:
        """The stream comes in larger pieces while nobody does anything."""
        rider = self.tester
        if isinstance(rider, Rider):
            self.chunk_s = IDLE_S if rider.idle_until_s(self.now_s) > self.now_s + IDLE_S else 0.5
        return super()._chunk()


@dataclass
class Played:
    """One session.

    Attributes:
        fault, behaviour: "" for none. ended: of the session. lasted_s: of the stream, s.
        result: of its log; None where it did not end. verdicts: beside the truth; None where there are none.
    """

    fault: str
    behaviour: str
    ended: Ended
    lasted_s: float
    result: Result | None
    verdicts: Verdicts | None
    rider: Rider
    bench: Bench
    told: list[str]


def played(seed: int, fault: str, behaviour: str, plan: Plan, log: Path, **more: float) -> Played:
    """Play one session to its end, and check its log."""
    rng = np.random.default_rng(seed)
    install = with_fault(SimulatedInstall(), fault) if fault else SimulatedInstall()
    install = with_behaviours(install, [behaviour] if behaviour else [])
    rider = Rider(rng, fault, **more)
    bench = Remembering(install, spec=fast_logger(50.0), tester=rider, limit_s=LIMIT_S, seed=seed)
    told: list[str] = []
    ended = run_session(bench, plan, PlainScreen(told.append), lambda: rider.keys(bench), log=log)
    result = benchlog.check(bench.write(log), plan=plan) if ended == "done" else None
    verdicts = None
    if result is not None:
        verdicts = judged(bench.install, bench.bike._actions, bench.now_s + 1.0, result, fault, plan)
    return Played(fault, behaviour, ended, bench.now_s, result, verdicts, rider, bench, told)
