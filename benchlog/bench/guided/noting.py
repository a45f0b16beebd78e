"""What is noted of a step, in the log and for later: done, left out, withdrawn, out of order."""

from benchlog.analysis.fuse_walk import HAND_S
from benchlog.analysis.key_state import MARK_REACH_S
from benchlog.bench.guided.at_step import DONE, AtStep, switched
from benchlog.bench.guided.right import PutRight
from benchlog.bench.guided.spec import StepSpec
from benchlog.core.events import SlotWithdrawn

#: A state that lasts from mark to mark is noted so long after the stand-in made it so, s.
AFTER_DONE_S = 0.5
#: A slot is noted so long after its step, s; later by more than this, with how long ago it was.
NOTED_AFTER_S, LATE_S = 1.5, 1.0


class Noting(AtStep):
    """Notes what became of a step."""

    def _go_on(self, right: PutRight | None = None) -> None:
        """The next step; ``right`` comes before it."""
        raise NotImplementedError

    def _do(self, mark: str) -> bool:
        done_s = self._ways.do(mark)
        if done_s is None:
            return False
        self._did_s = done_s
        if self.spec.end_mark:
            # what lies between two marks must be so throughout: noted once the stream shows it
            self._later = (max(done_s, self.history.now_s) + AFTER_DONE_S, mark)
        else:
            self._ways.mark(mark)
        return True

    def _turned(self, mark: str) -> None:
        """Remember how the key stands."""
        if mark in ("key on", "key off"):
            self.memory.key = mark == "key on"
            if mark == "key off":
                self.memory.key_off_s = self.history.now_s

    def _settle_for(self, outcome: str, from_s: float, by: str) -> None:
        """Done; now the step lasts for its hold time."""
        spec = self.spec
        self._note_due()
        if spec.mark and not self._noted:
            self._ways.mark(spec.mark)
            self._noted = True
        self._turned(spec.mark)
        if spec.question == "key_off":
            # the check takes a mark that comes late as it stands
            late = self.history.now_s - from_s > MARK_REACH_S
            self.memory.key_off_s = self.history.now_s if late else from_s
        elif spec.question == "fuse_out":
            self._out_s = from_s
        elif spec.question == "fuse_in" and self._out_s is not None:
            self._left_out.append((self._out_s - HAND_S, self.history.now_s + HAND_S))
        self.memory.outcomes[spec.id] = outcome
        if by:
            self._ways.tell(f"{spec.title}: {by}")
        self._held_from_s = from_s
        self._phase, self._doubted = "hold", False

    def _note_due(self, *, now: bool = False) -> None:
        if self._later is not None and (now or self.history.now_s >= self._later[0]):
            due_s, text = self._later
            late_s = self.history.now_s - due_s
            told_late = late_s > LATE_S and not self._by_itself
            self._ways.mark(f"{text} {late_s + NOTED_AFTER_S:.1f} s ago" if told_late else text)
            self._later = None

    def _end(self) -> None:
        """The step has lasted long enough."""
        spec = self.spec
        if spec.end_mark:
            self._ways.mark(spec.end_mark)
            if self._by_itself and not self._tester:
                self._ways.do(spec.end_mark)
        self._go_on()

    def _leave(self, outcome: str) -> None:
        self._abandon()
        self.memory.outcomes[self.spec.id] = outcome
        self._go_on()

    def _abandon(self) -> None:
        """The step does not last until its end."""
        if self._phase == "hold" and self.spec.end_mark:
            self._ways.mark(self.spec.end_mark)

    def _withdraw(self, spec: StepSpec) -> None:
        """What was noted of a circuit does not count."""
        if self._later is not None and self._later[1] == spec.mark:
            self._later = None
        elif switched(spec) and self.memory.outcomes.get(spec.id) in DONE:
            self._ways.mark(SlotWithdrawn(spec.slot).text)

    def _stray(self, what: str) -> None:
        """Note in the log what was done out of order."""
        self._ways.mark(f"out of order: {what}")
