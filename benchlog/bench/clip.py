"""A test of the search for a place, taken by a running logger: by a channel as it is, or by a clip that is moved."""

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from benchlog.core.errors import BenchlogError
from benchlog.core.roles import ROLE_UNITS
from benchlog.find.questions import Question
from benchlog.find.terminal import Shown

if TYPE_CHECKING:
    from benchlog.logger.model import Channel, Logger

#: How long a test is watched, s: a drain takes longer, for its pulses.
WATCH_S, DRAIN_S, FIND_ROLES_S = 2.0, 8.0, 1.5
#: Point -> the role whose clip sits there in the acceptance test.
AT_POINT = {
    **{"battery +": "battery_v", "block": "feed_v", "87": "feed_v", "86": "trigger_v"},
    **{"key line": "key_v", "bus": "ground_v"},
}
#: Clips that no test needs where they are, the freest first; what they are called.
FREE = {"feed_v": "feed", "ground_v": "ground", "trigger_v": "trigger", "key_v": "key"}


@dataclass(frozen=True, slots=True)
class _Taking:
    """How a test is taken: the role, and what to do first."""

    role: str
    first: str


class Clips:
    """A logger at a port, whose channels take tests.

    Args:
        port: a device, or a pyserial URL.
        logger: what its columns mean; None where their names are roles, and their accuracy is not stated.
        baud: line speed, where the port has one.
        watch_s: how long a voltage or current is watched.
    """

    def __init__(
        self, port: str, logger: "Logger | None" = None, baud: int = 115200, *, watch_s: float = WATCH_S
    ) -> None:
        self._port, self._logger, self._baud, self._watch_s = port, logger, baud, watch_s
        self._roles = self._there()

    def offers(self, question: Question, widest: float) -> str:
        """What to do so that the logger takes this test; "" where it cannot, or not well enough.

        Args:
            question: the test.
            widest: the width of what a good install shows, in the test's unit.
        """
        how = self._taking(question)
        if how is None:
            return ""
        size = 12.0 if question.kind == "voltage" and question.start != "bus" else 0.0
        half = self._half_width(how.role, size)
        scale = 1000.0 if question.kind == "drain" else 1.0
        return "" if half is not None and half * scale > widest else how.first

    def take(self, question: Question) -> Shown:
        """Watch the logger and give what the test shows.

        Raises:
            BenchlogError: the port cannot be read, or nothing came; says what to do.
        """
        how = self._taking(question)
        assert how is not None  # only what was offered is taken
        values = self._watched(DRAIN_S if question.kind == "drain" else self._watch_s).get(how.role, np.zeros(0))
        values = values[np.isfinite(values)]
        if not len(values):
            raise BenchlogError(
                f"{self._port}: no reading of {how.role} came within {self._watch_s:g} s; look at the clip and the "
                "range, or type the value from a meter"
            )
        value = float(values.min() if question.state == "cranking" else values.mean())
        half = self._half_width(how.role, value)
        scale = 1000.0 if question.kind == "drain" else 1.0
        return Shown(value * scale, None if half is None else half * scale)

    def _taking(self, question: Question) -> _Taking | None:
        if question.kind == "voltage" and question.end == "battery -":
            own = AT_POINT.get(question.start)
            if own in self._roles:
                return _Taking(own, f"The logger's {own} clip sits on {question.start}: press Enter to measure")
            free = next((role for role in FREE if role in self._roles), None)
            return (
                None
                if free is None
                else _Taking(free, f"Put the logger's {FREE[free]} clip on {question.start} and press Enter to measure")
            )
        role = self._current_role(question)
        return None if role is None else _Taking(role, f"The logger has it on {role}: press Enter to measure")

    def _current_role(self, question: Question) -> str | None:
        """The channel that measures a current as it is clamped on."""
        wanted: tuple[str, ...] = ()
        if question.kind == "drain" or (question.kind, question.state) == ("current", "asleep"):
            wanted = ("drain_a", "battery_a")
        elif question.kind == "current":
            wanted = (f"{question.of.replace(' ', '')}_a",)
        return next((role for role in wanted if role in self._roles), None)

    def _half_width(self, role: str, value: float) -> float | None:
        """Of the logger's accuracy limits, canonical unit; None where it is not stated."""
        channel: Channel | None = None if self._logger is None else self._logger.channel_of(role)
        if channel is None or channel.gain_rel is None or channel.offset_canonical is None:
            return None
        return abs(value) * channel.gain_rel + channel.offset_canonical

    def _there(self) -> frozenset[str]:
        if self._logger is not None:
            return frozenset(channel.role for channel in self._logger.channel)
        return frozenset(self._watched(FIND_ROLES_S))

    def _watched(self, seconds: float) -> dict[str, np.ndarray]:
        """What came in so many seconds: role -> values."""
        from benchlog.bench.recording import Capture

        with tempfile.TemporaryDirectory(prefix="benchlog-clip-") as folder:
            capture = Capture(
                self._port, Path(folder) / "clip.csv", logger=self._logger, baud=self._baud, seconds=seconds
            )
            with capture:
                traces = [batch.trace for batch in capture.batches() if len(batch.trace)]
        roles = {role for trace in traces for role in trace.values if role in ROLE_UNITS or role.startswith("slot")}
        return {
            role: np.concatenate([trace.values[role] for trace in traces if role in trace.values]) for role in roles
        }
