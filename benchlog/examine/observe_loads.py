"""What the circuits draw with the key on and off, over what the plan gives them."""

from collections.abc import Mapping
from typing import Literal

import numpy as np

from benchlog.analysis.coarse import coarse
from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import Finding, Measured
from benchlog.core.events import SlotOff, SlotOn
from benchlog.core.quantiles import known_median, median
from benchlog.core.uncertainty import Accuracy, combine, rectangular
from benchlog.examine.context import LogContext
from benchlog.examine.path_checks import FeedLoad
from benchlog.examine.slot_match import switched_unseen
from benchlog.examine.swing import swing_a
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.causes.seen import Seen, slot_quantity
from benchlog.verdict.registry.loads import SLOT_CURRENT
from benchlog.verdict.registry.table import is_of

POINT_S = 0.1
#: Currents below this share of the circuits' are not theirs, 1.
LEAST_SHARE = 0.2
#: Doubt of a zero that no logger file states, A (from memory).
UNSTATED_ZERO_A = 0.02
#: A coil draws no more than this times its planned current.
MOST_COIL = 1.4
#: Doubt of a load taken from the battery's step as the contact closes, over the planned one (no source).
CLOSING_U = 0.2
#: After a switch inrush has gone, s.
INRUSH_S = 0.5
#: Where the offset may be more than this share of the coil's current, what flows first may be the coil's, 1.
NOT_HELD = 0.4
#: A stretch before the first key-on that is shorter than this shows no steady current, s.
LEAST_BEFORE_S = 5.0
#: Circuits draw more from a charged battery than from one under load, and some not at all without the engine, 1.
USUAL_SPREAD = 0.1


def circuits(bench: LogContext, findings: Mapping[str, Finding], limits: Mapping[str, PlannedLimit]) -> dict[str, Seen]:
    """``slot_N``: each circuit's current over the planned one, where the log is sure of it."""
    seen = dict[str, Seen]()
    for circuit in bench.plan.circuit:
        check_id = SLOT_CURRENT.id_of(circuit.slot)
        limit = limits.get(check_id)
        amps = _sure(findings.get(check_id))
        if amps is None or limit is None or limit.min is None or limit.max is None:
            continue
        share, u = amps.value / circuit.planned_a, amps.u / circuit.planned_a
        text = f"slot {circuit.slot} draws {amps.value:.3g} A, {circuit.planned_a:.3g} A planned"
        low, high = limit.min / circuit.planned_a, limit.max / circuit.planned_a
        seen[slot_quantity(circuit.slot)] = Seen(share, u, text, low, high)
    return seen


def _sure(finding: Finding | None) -> Seen | None:
    if not isinstance(finding, Measured) or finding.value is None or finding.disqualified:
        return None
    # of several that fail alike the likeliest tells
    u = finding.likely_u if finding.failed and finding.likely_u is not None else finding.u
    return Seen(finding.value, u or 0.0, "")


def _drawn(bench: LogContext, findings: Mapping[str, Finding]) -> tuple[float, float] | None:
    """``(A that all circuits were seen to draw, A planned)``; None where one of them is not known."""
    found = [_sure(findings.get(SLOT_CURRENT.id_of(circuit.slot))) for circuit in bench.plan.circuit]
    if not found or any(one is None for one in found):
        return None
    return sum(one.value for one in found if one is not None), bench.plan.planned_load_a


def load_on(bench: LogContext, load: FeedLoad | None, findings: Mapping[str, Finding]) -> dict[str, Seen]:
    """The greatest load through the feed over the planned one, where the log would show it."""
    planned = bench.plan.planned_load_a
    if not planned or not bench.story.on:
        return {}
    slots = [found for check_id, found in findings.items() if is_of(check_id, SLOT_CURRENT)]
    u = 0.01
    if bench.has("feed_a") and load is not None and load.points:
        most = max(point.load_a for point in load.points)
    elif bench.has("feed_a"):
        tables = [coarse(bench.overview, a, b, POINT_S, ["feed_a"]).mean["feed_a"] for a, b in bench.story.on]
        most = max((known_median(table) for table in tables if np.isfinite(table).any()), default=0.0)
    elif (drawn := _drawn(bench, findings)) is not None:
        most = drawn[0]
    elif load is not None and load.points:
        # as the contact closes the bike's own loads may come on as well
        most, u = max(point.load_a for point in load.points), u if load.steps else CLOSING_U
    elif any(isinstance(found, Measured) and (found.value or 0.0) > 0.1 for found in slots):
        return {}  # circuits draw, though not through a channel that sums them
    elif (
        any(isinstance(mark.event, SlotOn | SlotOff) for mark in bench.log.marks)
        and bench.has("battery_a")
        and not any(switched_unseen(bench, circuit.slot) for circuit in bench.plan.circuit)
    ):
        most = 0.0  # circuits were switched on, and no step came
    else:
        return {}
    return {"load_on": Seen(most / planned, u, f"{most:.2g} A through the feed of {planned:.3g} A planned")}


def key_off(bench: LogContext, off: Drain | None, findings: Mapping[str, Finding]) -> dict[str, Seen]:
    """``load_off`` and ``coil_off``: the current with the key off over what the circuits, or the coil, draw.

    The circuits' share tells where they are known to be switched on still, or where that much flows; the coil's
    where they draw nothing.
    """
    if off is None:
        return {}
    u = off.u if off.u is not None else off.type_a_u
    return _shares(bench, off.base_a, u, "off", _left_on(bench), findings)


def before(bench: LogContext, off: Drain | None, findings: Mapping[str, Finding]) -> dict[str, Seen]:
    """``load_before`` and ``coil_before``: the same before the first key-on; ``before_off``: over that after it."""
    first = bench.story.off[0] if bench.story.off and bench.story.on else None
    if first is None or first[0] > bench.log.start_s or first[1] > bench.story.on[0][1]:
        return {}
    role = next((role for role in ("drain_a", "battery_a") if bench.has(role)), None)
    if role is None or first[1] - first[0] < LEAST_BEFORE_S:
        return {}
    table = coarse(bench.overview, (first[0] + first[1]) / 2, first[1] - 2 * POINT_S, POINT_S, [role])
    amps = table.mean[role][np.isfinite(table.mean[role])]
    if table.over[role].any() or len(amps) < 4:
        return {}
    level, accuracy = median(amps), bench.accuracy.get(role)
    u = UNSTATED_ZERO_A if accuracy is None else accuracy.level_u(level)
    seen = _shares(bench, level, u, "before", None, findings)
    limit = bench.plan.limits.off_state_drain_ma
    if off is not None and limit and off.base_a > max(limit / 1000, 5 * u):
        text = f"{level * 1000:.3g} mA before the first key-on, {off.base_a * 1000:.3g} mA after the key-off"
        seen["before_off"] = Seen(level / off.base_a, u / off.base_a, text)
    return seen


def _shares(
    bench: LogContext,
    amps: float,
    u: float,
    when: Literal["off", "before"],
    left_on: tuple[int, ...] | None,
    findings: Mapping[str, Finding],
) -> dict[str, Seen]:
    """A current over the circuits', where these are on or so much flows, else over the coil's.

    Args:
        when: it flowed: with the key off, or before the first key-on.
        left_on: the slots known to be switched on; None where that is not known.
    """
    words = "with the key off" if when == "off" else "before the first key-on"
    drawn = {circuit.slot: _sure(findings.get(SLOT_CURRENT.id_of(circuit.slot))) for circuit in bench.plan.circuit}
    wanted = {
        circuit.slot: circuit.planned_a for circuit in bench.plan.circuit if left_on is None or circuit.slot in left_on
    }
    known = [one.value for slot in wanted if (one := drawn[slot]) is not None]
    as_drawn = bool(wanted) and len(known) == len(wanted) and sum(known) > LEAST_SHARE * sum(wanted.values())
    reference = sum(known) if as_drawn else sum(wanted.values())
    if wanted and (left_on is not None or amps > LEAST_SHARE * reference):
        what = "drawn by the circuits with it on" if as_drawn else "planned for the circuits"
        text = f"{amps:.3g} A {words}, {reference:.3g} A {what}"
        return {f"load_{when}": Seen(amps / reference, combine(u / reference, 0.0 if as_drawn else USUAL_SPREAD), text)}
    relay = bench.plan.relay
    if relay is None or not relay.coil_a:
        return {}
    text = f"{amps * 1000:.3g} mA {words}, {relay.coil_a * 1000:.3g} mA planned for the coil"
    share = amps / relay.coil_a
    # what is more than the coil may be the lamps on its line as well
    return {f"{'line' if share > MOST_COIL else 'coil'}_{when}": Seen(share, u / relay.coil_a, text)}


def held_coil(bench: LogContext, off: Drain | None, findings: Mapping[str, Finding]) -> dict[str, Seen]:
    """``coil_held``: what flows with the key off beyond the circuits that are on still, over the coil's current.

    A contact that does not open leaves the circuits alone, one whose coil is held the coil as well, with the lamps on
    its line. The circuits' own currents are those with the key on, before the engine was started, as far as the
    voltage was another then: a heater draws less in proportion as it falls, a converter more.
    """
    slots, relay, at = _left_on(bench), bench.plan.relay, _around_marks(bench)
    accuracy = bench.accuracy.get("battery_a")
    if off is None or relay is None or not relay.coil_a or accuracy is None:
        return {}
    if not bench.has("battery_a", "battery_v") or bench.has("drain_a"):
        return {}
    if (let_go := _let_go(bench, relay.coil_a, accuracy)) is not None:
        return {"coil_held": let_go}
    if not slots or at is None:
        return {}
    known = [_sure(findings.get(SLOT_CURRENT.id_of(slot))) for slot in slots]
    drawn = [one.value for one in known if one is not None]
    planned = sum(circuit.planned_a for circuit in bench.plan.circuit if circuit.slot in slots)
    if len(drawn) < len(known) or min(off.base_a, sum(drawn)) < LEAST_SHARE * planned:
        return {}
    first = next(((a, b) for a, b in bench.story.off if a <= bench.log.start_s), None)
    zero = None if first is None else _median(bench, "battery_a", (first[0] + first[1]) / 2, first[1] - POINT_S)
    on_v = _median(bench, "battery_v", *at[1])
    off_v = _median(bench, "battery_v", bench.story.off[-1][0] + INRUSH_S, bench.story.off[-1][1])
    if on_v is None or off_v is None or on_v < 1.0:
        return {}
    # what flowed before the first key-on is the channel's zero, unless the coil may have been held then
    zeroed = zero is not None and abs(zero) <= accuracy.offset <= NOT_HELD * relay.coil_a
    apart_s = bench.story.off[-1][0] - bench.log.start_s
    own = accuracy.change_u(off.base_a, apart_s) if zeroed else accuracy.level_u(off.base_a)
    by_kind = rectangular(sum(drawn) * abs(off_v / on_v - 1.0))
    u = combine(own, by_kind, off.type_a_u, *(one.u for one in known if one is not None))
    beyond = off.base_a - (zero or 0.0) * zeroed - sum(drawn)
    text = f"{beyond * 1000:.3g} mA with the key off beyond the circuits, {relay.coil_a * 1000:.3g} mA the coil's"
    return {"coil_held": Seen(beyond / relay.coil_a, u / relay.coil_a, text)}


def keyed(bench: LogContext) -> dict[str, Seen]:
    """``keyed_a``: what flows with the key on before the engine is started, A."""
    if not bench.has("battery_a"):
        return {}
    starts = [c.from_s for c in bench.story.cranks] + [r.from_s for r in bench.story.running]
    spans = [(a + INRUSH_S, min([b, *(at for at in starts if a < at < b)])) for a, b in bench.story.on]
    found = [amps for a, b in spans if b > a and (amps := _median(bench, "battery_a", a, b)) is not None]
    if not found:
        return {}
    return {"keyed_a": Seen(max(found), 0.1, f"{max(found):.3g} A with the key on before the engine was started")}


def _let_go(bench: LogContext, coil_a: float, accuracy: Accuracy) -> Seen | None:
    """The coil's current as it was let go after any key-off, over the planned one; None where none was seen to be.

    A coil that the load side or a live trigger holds is held after every key-off, circuits or not.
    """
    after = [(a + INRUSH_S, b) for a, b in bench.story.off if a > bench.log.start_s]
    found = [(amps, a, b) for a, b in after if (amps := _lowest(bench, a, b)) is not None]
    lowest = min(found, default=None)
    if lowest is None or lowest[0] > NOT_HELD * coil_a:
        return None
    amps, a, b = lowest
    text = f"no more than {amps * 1000:.3g} mA with the key off, from {a:.0f} to {b:.0f} s"
    return Seen(amps / coil_a, accuracy.level_u(amps) / coil_a, text)


def _lowest(bench: LogContext, from_s: float, to_s: float) -> float | None:
    """The lowest current that a stretch shows for a second and more, A."""
    mean = coarse(bench.overview, from_s, to_s, 1.0, ["battery_a"]).mean["battery_a"]
    mean = mean[np.isfinite(mean)]
    return float(mean.min()) if len(mean) else None


def _median(bench: LogContext, role: str, from_s: float, to_s: float) -> float | None:
    mean = coarse(bench.overview, from_s, to_s, POINT_S, [role]).mean[role]
    mean = mean[np.isfinite(mean)]
    return median(mean) if len(mean) else None


def load_swing(bench: LogContext) -> dict[str, Seen]:
    """How much further the current swings once the circuits are marked on than before, over the planned load."""
    planned, on = bench.plan.planned_load_a, _around_marks(bench)
    if not planned or on is None or not bench.has("battery_a"):
        return {}
    swings = [swing_a(bench, *stretch) for stretch in on]
    if swings[0] is None or swings[1] is None:
        return {}
    more = swings[1] - swings[0]
    text = f"the current swings by {more:.3g} A more with the circuits on, {planned:.3g} A planned for them"
    return {"load_swing": Seen(more / planned, 0.02, text)}


def _around_marks(bench: LogContext) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """The stretches of one key-on before the first circuit is marked on, and after the last; None without marks."""
    at = sorted(mark.time_s for mark in bench.log.marks if isinstance(mark.event, SlotOn))
    span = next(((a, b) for a, b in bench.story.on if at and a < at[0] < b), None)
    if span is None:
        return None
    starts = [c.from_s for c in bench.story.cranks] + [r.from_s for r in bench.story.running]
    starts += [mark.time_s for mark in bench.log.marks]  # whatever comes after the last circuit changes the load
    ends_s = min([span[1], *(start for start in starts if start > at[-1])])
    return (span[0] + INRUSH_S, at[0] - POINT_S), (at[-1] + INRUSH_S, ends_s - POINT_S)


def _left_on(bench: LogContext) -> tuple[int, ...] | None:
    """The slots that marks show switched on at the last key-off; None where no mark tells."""
    state = {
        mark.event.slot: isinstance(mark.event, SlotOn)
        for mark in sorted(bench.log.marks, key=lambda mark: mark.time_s)
        if isinstance(mark.event, SlotOn | SlotOff)
    }
    return tuple(slot for slot, on in state.items() if on) if state else None
