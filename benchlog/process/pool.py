"""The same work on many things, shared among processes: answers in order, memory within bounds, nothing left running.

One way for this computer's cores and for a cluster's: joblib hands out the jobs and streams the answers back.
"""

import sys
from collections import Counter, deque
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from functools import partial
from itertools import takewhile
from typing import TYPE_CHECKING, Any, TypeVar

from benchlog.core import remote
from benchlog.core.errors import BenchlogError
from benchlog.process.orders import Answer, Outcome, refusal_of

if TYPE_CHECKING:
    from benchlog.process.lent import Crew

Job = TypeVar("Job")
Given = TypeVar("Given")

#: So many jobs for each process are under way or answered and not fetched yet: what the caller holds at most.
_AHEAD = 45
#: A job whose process ended so often, the last time with nothing else under way, is not tried again.
_TRIES = 2


class ProcessEnded(BenchlogError):
    """The processes that did a job were ended from outside, or by it."""


def side_by_side(
    work: Callable[[Job], Given],
    jobs: Sequence[Job],
    processes: int,
    *,
    crew: "Callable[[Callable[[Job], Given]], Crew] | None" = None,
    lost: Callable[[Job], Given] | None = None,
    watch: Callable[[int, Answer], None] | None = None,
) -> Generator[Given, None, None]:
    """Do the work on each, several at a time.

    Close the generator (or go through to its end): only then have all processes ended.

    Args:
        work: a function of a module, or a ``partial`` of one; it, the jobs and the answers must pickle.
        jobs: what it is done on.
        processes: how many of this computer; below 2 the caller's own does it.
        crew: opens another crew for the work, such as a cluster's.
        lost: what stands for the answer to a job that ended two processes; None to stop there.
        watch: told of each answer: how many there are now, and the answer.

    Yields:
        The answers, in the order of the jobs.

    Raises:
        BenchlogError: of the first job, in order, whose work raised one.
        ProcessEnded: a job ended the processes that tried it.
    """
    opened = _opened(work, jobs, processes) if crew is None else crew(work)
    if opened is None:
        yield from map(work, jobs)
        return
    try:
        with closing(_tried(opened, jobs)) as answers:
            for n, (job, answer) in enumerate(answers, start=1):
                if watch is not None:
                    watch(n, answer)
                if answer.outcome is Outcome.FAILED:  # a fault of the program: met here again, and shown from here
                    yield work(job)
                elif answer.outcome is Outcome.REFUSED:
                    raise refusal_of(answer)
                elif answer.outcome is Outcome.DONE:
                    yield answer.value
                elif lost is not None:
                    yield lost(job)
                else:
                    raise ProcessEnded(
                        "the work was stopped: one of its processes was ended, perhaps because memory ran out; "
                        "give fewer logs at once"
                    )
    finally:
        opened.end()


def workers_at(address: str, logs: Sequence[Any]) -> "Callable[[Callable[[Any], Any]], Crew]":
    """What opens a crew of the workers at a scheduler, which must reach these logs."""
    from benchlog.process.cluster import Workers

    sees = [remote.shown(log) for log in {*logs[:1], *logs[-1:]}]
    return partial(Workers, address, sees=sees)


def _opened(work: Callable[[Job], Given], jobs: Sequence[Job], processes: int) -> "Crew | None":
    """Processes of this computer; None where the caller's own does it, or no other can be started."""
    count = min(processes, len(jobs))
    if count < 2 or not sys.executable or getattr(sys, "frozen", False):
        return None
    from benchlog.process.here import Processes

    started = Processes(count, work)
    return started if started.can_start() else None


def _tried(crew: "Crew", jobs: Sequence[Job]) -> Generator[tuple[Job, Answer], None, None]:
    """Every job with its answer; where a process ended, each job that it may have ended by is tried again, alone.

    Jobs are asked for as their turn comes, and let go: a sequence that makes them then takes no memory.
    """
    from benchlog.process.batches import Batches, Pace
    from benchlog.process.lent import streamed

    most = _AHEAD * max(crew.count, 2)
    died: Counter[int] = Counter()
    pace = Pace()
    made = deque[Job]()  # from the one whose turn it is: the next are made while these are done
    at = 0
    while at < len(jobs):
        made.extend(jobs[n] for n in range(at + len(made), min(at + most, len(jobs))))
        # a suspect goes alone: if its process ends again, it was not another's fault
        ahead = takewhile(lambda n: n not in died, range(at + 1, at + len(made)))
        group = [made.popleft() for _ in range(1 if at in died else 1 + sum(1 for _ in ahead))]
        batches = Batches(group, crew.count, pace)
        answered = 0
        try:
            with closing(streamed(crew, batches, pace)) as answers:
                for answer in answers:
                    answered += 1
                    yield group[answered - 1], answer
                    if (after := at + len(group) + len(made)) < min(at + answered + most, len(jobs)):
                        made.append(jobs[after])
        except crew.deaths:
            left = range(answered, len(group))
            began = [(n, batches.future_of(n)) for n in left]
            died.update(at + n for n in [n for n, one in began if one is not None and crew.suspects(one)] or left)
            if len(group) == 1 and died[at] >= _TRIES:
                answered = 1
                yield group[0], Answer(Outcome.KILLED, None)
        made.extendleft(reversed(group[answered:]))
        at += answered
