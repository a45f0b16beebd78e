"""What a log shows of the quantities that faults make predictions about."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measured quantity and what a good install shows of it.

    Attributes:
        low, high: the healthy interval; ends may be infinite.
        softness: how far outside is still no contradiction, in the quantity's own scale.
        means: in words.
        asks: out of its range it asks for a cause even where no check failed.
    """

    low: float
    high: float
    softness: float
    means: str
    asks: bool = False


def _over_limit(what: str) -> Quantity:
    return Quantity(-INF, 1.0, 0.005, f"{what} over its limit")


_A_SLOT = "slot_"


def slot_quantity(slot: int) -> str:
    """The name of one circuit's quantity: its current over the planned one."""
    return f"{_A_SLOT}{slot}"


def slot_of_quantity(name: str) -> int | None:
    """The slot whose current a quantity is; None for every other quantity."""
    number = name.removeprefix(_A_SLOT)
    return int(number) if number != name and number.isdigit() else None


INF = math.inf

#: Fractions of the battery's voltage, parts of a limit, and so on: every quantity is a plain number.
QUANTITIES: dict[str, Quantity] = {
    "trigger_on": Quantity(0.85, 1.1, 0.03, "trigger over battery voltage, key on, while it is up"),
    "trigger_duty": Quantity(0.97, 1.1, 0.005, "part of the time that the trigger is up with the key on"),
    "trigger_falls_hz": Quantity(-INF, 0.1, 0.03, "how often the trigger goes down with the key on, at least"),
    "feed_falls_hz": Quantity(-INF, 0.1, 0.03, "how often the feed goes down with the key on, at least"),
    "trigger_off": Quantity(-0.1, 0.15, 0.05, "trigger over battery voltage after the key-off"),
    "trigger_before": Quantity(-0.1, 0.15, 0.05, "the same before the first key-on"),
    "feed_on": Quantity(0.85, 1.1, 0.03, "feed over battery voltage, key on, while it is live"),
    "feed_duty": Quantity(0.97, 1.1, 0.01, "part of the time that the feed is live with the key on"),
    "feed_off": Quantity(-0.1, 0.1, 0.05, "feed over battery voltage after the key-off"),
    "feed_before": Quantity(-0.1, 0.1, 0.05, "the same before the first key-on"),
    "bus_on": Quantity(-0.05, 0.1, 0.03, "ground bus over battery voltage, key on"),
    "load_on": Quantity(0.15, INF, 0.03, "greatest load through the feed over the planned one"),
    "load_off": Quantity(-INF, 0.1, 0.05, "current with the key off over what the circuits drew with it on"),
    "load_before": Quantity(-INF, 0.1, 0.05, "current before the first key-on over the circuits'"),
    "load_swing": Quantity(-INF, 0.15, 0.03, "how much further the current swings with the circuits on"),
    "keyed_a": Quantity(-INF, INF, 1.0, "current with the key on, before the engine is started, A"),
    "before_off": Quantity(-INF, INF, 0.1, "current before the first key-on over that after the key-off"),
    "line_off": Quantity(-INF, 0.5, 0.1, "current with the key off over the coil's, where it is more"),
    "line_before": Quantity(-INF, 0.5, 0.1, "the same before the first key-on"),
    "coil_off": Quantity(-INF, 0.5, 0.1, "current with the key off over the coil's"),
    "coil_held": Quantity(-INF, INF, 0.1, "current with the key off beyond the circuits' over the coil's"),
    "coil_before": Quantity(-INF, 0.4, 0.1, "current before the first key-on over the coil's"),
    "feed_path": _over_limit("feed drop"),
    "ground_path": _over_limit("ground lift"),
    "drain_base": _over_limit("drain between wake-ups"),
    "drain_wakes": Quantity(-INF, 1.0, 0.005, "what wake-ups add over what the limit leaves them"),
    "off_charge_a": Quantity(0.0, INF, 1e-5, "current out of the battery with the key off, A", asks=True),
    "settle": _over_limit("settling time"),
    "trigger_fall_s": Quantity(-INF, 0.02, 0.004, "the trigger's own fall, once let go, s"),
    "pull_in": _over_limit("pull-in"),
    "drop_out": _over_limit("drop-out"),
    "drop_out_own": Quantity(-INF, 1.0, 0.05, "drop-out from where the trigger is gone, over the limit"),
    "openings": Quantity(-INF, 0.5, 0.15, "openings and re-closings of the contact out of turn"),
    "feed_lead_s": Quantity(-INF, 0.0, 1e-4, "how far the feed moves before its trigger, s", asks=True),
    "coil_kick_v": Quantity(-INF, INF, 0.15, "how far the trigger goes below zero as it is let go, V"),
    "clip_slope": Quantity(
        -INF, 0.0, 0.1, "1 where only trigger_v sinks with the load, -1 where only feed_v does", asks=True
    ),
    "source": _over_limit("source resistance"),
    "sag": _over_limit("sag under the planned load"),
    "rest_short_v": Quantity(-INF, 0.0, 0.005, "resting voltage below its limit, V"),
    "crank_short_v": Quantity(-INF, 0.0, 0.005, "cranking voltage below its limit, V"),
    "charge_over_v": Quantity(-INF, 0.0, 0.005, "running voltage above its window, V"),
    "charge_under_v": Quantity(-INF, 0.0, 0.005, "running voltage below its window, V"),
    "alternator_share": Quantity(0.97, INF, 0.02, "part of the load that the alternator carries; above 1 it charges"),
    "run_charged": Quantity(-INF, INF, 0.02, "part of the engine's run over which the battery was charged"),
    "run_raise_v": Quantity(0.3, INF, 0.1, "running voltage above that before the crank, V"),
    "run_rest_v": Quantity(0.3, INF, 0.1, "running voltage above resting, V"),
}
#: A circuit's current over the planned one; one quantity a slot, ``slot_1`` and so on.
SLOT = Quantity(0.0, INF, 0.01, "the circuit's current over the planned one")


@dataclass(frozen=True, slots=True)
class Seen:
    """One quantity as measured.

    Attributes:
        value: in the quantity's scale. u: standard uncertainty, same scale.
        text: the figure in words, for the evidence.
        low, high: the healthy interval where the plan sets it (slots); else that of the quantity.
    """

    value: float
    u: float
    text: str
    low: float | None = None
    high: float | None = None

    def healthy(self, name: str) -> tuple[float, float]:
        """The healthy interval."""
        quantity = QUANTITIES.get(name, SLOT)
        return (
            quantity.low if self.low is None else self.low,
            quantity.high if self.high is None else self.high,
        )


#: More than this says no more: one quantity must not outweigh all others.
MOST = 12.0


def misfit(name: str, seen: Seen, low: float, high: float) -> float:
    """How badly a measured quantity agrees with an interval: half the squared distance in uncertainties, at most 12."""
    outside = max(low - seen.value, seen.value - high, 0.0)
    softness = QUANTITIES.get(name, SLOT).softness
    return min(0.5 * (outside / math.hypot(seen.u, softness)) ** 2, MOST)


def merged(logs: Iterable[Mapping[str, Seen]]) -> dict[str, Seen]:
    """The quantities of several logs together; where two show the same, the one further from healthy counts."""
    together: dict[str, Seen] = {}
    for log in logs:
        for name, seen in log.items():
            if name not in together or wrongness(name, seen) > wrongness(name, together[name]):
                together[name] = seen
    return together


def wrongness(name: str, seen: Seen) -> float:
    """How badly a measured quantity agrees with a good install."""
    return misfit(name, seen, *seen.healthy(name))
