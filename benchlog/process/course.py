"""How far long work is: jobs done and failed, the time that is left, and which process is slow."""

import statistics
import time
from collections import defaultdict
from dataclasses import dataclass, field

from benchlog.process.orders import Answer

#: A process is slow whose jobs take this many times as long as those of the others, in the middle.
_SLOW = 2.0
_FEWEST = 5  # jobs of one process, before it is compared
_KEPT = 50


@dataclass
class Course:
    """Fed with each answer; tells at any time.

    Attributes:
        of: jobs in all. done: answered. failed: counted by whoever reads the answers.
    """

    of: int
    done: int = 0
    failed: int = 0
    began: float = field(default_factory=time.monotonic)
    _took: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))

    def watch(self, done: int, answer: Answer) -> None:
        """One more job is answered."""
        self.done = done
        took = self._took[answer.who]
        took.append(answer.took_s)
        del took[:-_KEPT]

    @property
    def left_s(self) -> float | None:
        """Time that the rest takes at the pace so far, s; None before the first answer."""
        if not self.done:
            return None
        return (time.monotonic() - self.began) / self.done * (self.of - self.done)

    @property
    def slow(self) -> dict[str, float]:
        """Processes that are slow, and how many times as long as the others they take."""
        middle = {who: statistics.median(took) for who, took in self._took.items() if who and len(took) >= _FEWEST}
        found = {}
        for who, own_s in middle.items():
            others = [other_s for other, other_s in middle.items() if other != who]
            if others and own_s > _SLOW * statistics.median(others):
                found[who] = own_s / statistics.median(others)
        return found

    def line(self) -> str:
        """One line for people."""
        parts = [f"{self.done} of {self.of} done"]
        if self.failed:
            parts.append(f"{self.failed} failed")
        if self.left_s is not None and self.done < self.of:
            parts.append(f"{_lasts(self.left_s)} left")
        parts += [f"{who} takes {times:.1f} times as long" for who, times in sorted(self.slow.items())]
        return ", ".join(parts)

    def event(self) -> dict[str, object]:
        """The same for programs."""
        left_s = None if self.left_s is None else round(self.left_s, 1)
        slow = {who: round(times, 1) for who, times in self.slow.items()}
        return {
            "event": "progress",
            "done": self.done,
            "of": self.of,
            "failed": self.failed,
            "left_s": left_s,
            "slow": slow,
        }


def _lasts(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min" if minutes >= 10 else f"{minutes} min {rest} s" if minutes else f"{rest} s"
