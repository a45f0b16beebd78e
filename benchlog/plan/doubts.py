"""Numbers that are hardly meant: absurd sizes, a fuse far from the battery, a load beyond the alternator."""

from collections.abc import Iterator

from benchlog.plan.model import Plan

#: Ah of motorcycle batteries; A of one accessory; m of a wire on a bike (common practice, no source).
BATTERY_AH, LARGEST_LOAD_A, LONGEST_M = (1.5, 40.0), 40.0, 6.0
#: Days in which a drain must not empty the battery (common practice, no source).
SHORTEST_DAYS = 7.0
#: m of wire from battery + to its fuse: 7 inches, or 72 in a sheath from the post itself (ABYC E-11, as wiring guides
#: quote it).
UNFUSED_M, UNFUSED_SHEATHED_M = 0.18, 1.83
_FUSE_SHARE = 0.8


def doubts(plan: Plan) -> Iterator[tuple[str, str]]:
    """What is doubted: (key, text)."""
    yield from _sizes(plan)
    yield from _unfused(plan)
    yield from _trigger(plan)
    yield from _budget(plan)


def capacity_doubt(capacity_ah: float) -> str:
    """What is odd about a battery's size, Ah; "" where nothing is."""
    least, most = BATTERY_AH
    if least <= capacity_ah <= most:
        return ""
    meant = f"; was {capacity_ah / 1000:g} Ah meant?" if capacity_ah >= 1000 * least else ""
    return f"{capacity_ah:g} Ah is hardly a motorcycle's battery: they have {least:g} to {most:g} Ah{meant}"


def drain_doubt(drain_ma: float, capacity_ah: float) -> str:
    """What is odd about a limit of the drain, mA, for a battery of this size, Ah; "" where nothing is."""
    if drain_ma <= 0 or capacity_ah * 1000 / drain_ma / 24 >= SHORTEST_DAYS:
        return ""
    hours = capacity_ah * 1000 / drain_ma
    return f"a drain of {drain_ma:g} mA empties the full battery in {hours:.0f} hours; parked bikes draw a few mA"


def load_doubt(planned_a: float) -> str:
    """What is odd about one accessory's current, A; "" where nothing is."""
    if planned_a <= LARGEST_LOAD_A:
        return ""
    return f"{planned_a:g} A is more than any usual accessory draws; was it watts (planned_w)?"


def length_doubt(run_m: float) -> str:
    """What is odd about the length of a wire, m one way; "" where nothing is."""
    return "" if run_m <= LONGEST_M else f"{run_m:.3g} m of wire one way is longer than a motorcycle needs"


def _sizes(plan: Plan) -> Iterator[tuple[str, str]]:
    capacity_ah, drain_ma = plan.battery.capacity_ah, plan.limits.off_state_drain_ma
    if odd := capacity_doubt(capacity_ah):
        yield "battery.capacity_ah", odd
    elif drain_ma and (odd := drain_doubt(drain_ma, capacity_ah)):
        yield "limits.off_state_drain_ma", odd
    for number, circuit in enumerate(plan.circuit, start=1):
        if odd := load_doubt(circuit.planned_a):
            yield f"circuit[{number}].planned_a", f"slot {circuit.slot} ({circuit.device}): {odd}"
    runs = {"feed": plan.feed, "ground": plan.ground}
    for about, run in {**runs, **{f"circuit[{n}]": each for n, each in enumerate(plan.circuit, start=1)}}.items():
        if run is not None and run.run_m is not None and (odd := length_doubt(run.run_m)):
            yield f"{about}.length_m", f"{about}: {odd}"


def _unfused(plan: Plan) -> Iterator[tuple[str, str]]:
    unfused_m = plan.feed.unfused_run_m if plan.feed is not None else None
    if unfused_m is not None and unfused_m > UNFUSED_M:
        yield (
            "feed.unfused_m",
            f"{unfused_m:.2g} m of wire from battery + to the feed fuse burns where it chafes; ABYC E-11 allows"
            f" {UNFUSED_M:g} m, or {UNFUSED_SHEATHED_M:g} m in a sheath all the way: move the fuse to the battery",
        )


def _trigger(plan: Plan) -> Iterator[tuple[str, str]]:
    relay = plan.relay
    if relay is None or relay.trigger_fuse_a is None or relay.coil_a is None:
        return
    if relay.coil_a > _FUSE_SHARE * relay.trigger_fuse_a:
        yield (
            "relay.trigger_fuse_a",
            f"the coil's {relay.coil_a:g} A is above 80 % of the trigger wire's {relay.trigger_fuse_a:g} A fuse;"
            f" fit one of at least {relay.coil_a / _FUSE_SHARE:.2g} A",
        )


def _budget(plan: Plan) -> Iterator[tuple[str, str]]:
    given = plan.alternator
    if given is None:
        return
    own_a = given.bike_a or 0.0
    need_a = plan.planned_load_a + own_a
    parts = f"{plan.planned_load_a:.3g} A planned" + (f" and {own_a:g} A for the bike" if own_a else "")
    if given.speed_a is not None and need_a > given.speed_a:
        yield (
            "alternator.speed_a",
            f"{parts} are more than the alternator's {given.speed_a:g} A at speed: the battery empties while you ride",
        )
    elif given.idle_a is not None and need_a > given.idle_a:
        yield (
            "alternator.idle_a",
            f"{parts} are more than the alternator's {given.idle_a:g} A at idle: in slow traffic the battery empties",
        )
