"""Does the contact open or re-close out of turn? Single samples are read only where the feed moves."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchlog.analysis.bounce import KEY_BOUNCE_S, line_moves, train
from benchlog.analysis.coarse import coarse, runs, unseen_s
from benchlog.analysis.contact import chatter_count, contact_moves, without_spikes
from benchlog.analysis.levels import Crossing
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.relay import BOUNCE_S, let_go_s
from benchlog.analysis.switched import PLAUSIBLE_V, UP_ABOVE_V
from benchlog.core.events import SlotOff, SlotOn
from benchlog.examine.context import LogContext
from benchlog.examine.load_checks import Loads
from benchlog.examine.path_checks import FeedLoad

#: A contact that was closed already is watched from this long after the key-on, s.
BEFORE_S = 0.5
POINT_S = 0.05
#: A load lasts this long, s; all circuits are on where this share of the planned load is seen.
POINT_LOAD_S, ALL_ON_SHARE = 0.5, 0.8
#: The trigger's passage this close to a turn of the key is that turn's, s.
NEAR_S = 0.2
#: A contact may follow its key's bounce for this long after the last edge, s (a drop-out and a pull-in).
FOLLOWS_S = 0.1


def examine_chatter(bench: LogContext, load: FeedLoad | None = None, loads: Loads | None = None) -> Finding:
    """The finding for ``relay_chatter``.

    Args:
        load: the load through the feed; loads: the steady stretches: they tell whether all circuits were on.
    """
    if not bench.has("feed_v"):
        return NotEvaluated("feed_v is not logged")
    if not bench.story.on:
        return NotEvaluated("the key is off throughout the log")
    watched = [one for on_from, on_to in bench.story.on if (one := _watched(bench, on_from, on_to)) is not None]
    if not watched:
        return NotEvaluated("the contact never closed while the key was on")
    count = sum(one.count for one in watched)
    hidden_s = sum(one.hidden_s for one in watched)
    seen_s = sum(one.to_s - one.from_s - one.hidden_s for one in watched)
    whole = [one.key_on for one in watched if bench.log.start_s < one.key_on[0] and one.key_on[1] < bench.log.end_s]
    one_sided, remedy = _short_of_a_pass(bench, whole, hidden_s, load, loads)
    starter = 0 < count <= sum(one.with_trigger for one in watched)
    return Measured(
        value=float(count),
        u=0.0,
        from_s=watched[0].from_s,
        to_s=watched[-1].to_s,
        story=f"watched for {seen_s:.0f} s",
        disqualified="the trigger itself went down with it, and without the battery's voltage that may be the starter"
        if starter
        else None,
        one_sided=one_sided,
        remedy="log battery_v beside it" if starter else remedy,
    )


@dataclass(frozen=True, slots=True)
class _Watched:
    """One key-on, with the key-off that follows, from the contact's first closing.

    Attributes:
        key_on: when the key was on, s. from_s, to_s: what was watched, s. hidden_s: of that without samples.
        count: moves out of turn. with_trigger: those of them in which the trigger went down too, where nothing but
            lines is logged.
    """

    key_on: tuple[float, float]
    from_s: float
    to_s: float
    hidden_s: float
    count: int
    with_trigger: int


def _watched(bench: LogContext, on_from: float, on_to: float) -> _Watched | None:
    """What the contact did; None where it never closed."""
    off_to = next((b for a, b in bench.story.off if a == on_to), on_to)
    on_from = _driven_from(bench, on_from, on_to)
    closed_at = _first_closing(bench, on_from, on_to)
    if closed_at is None:
        return None
    if closed_at < on_from:
        # live already before the key-on: what the relay does then is no chatter
        closed_at = on_from + BEFORE_S if on_from > bench.log.start_s else on_from
    # an opening that follows the trigger's own slow fall is the drop-out, not chatter
    around = max(0.5, 1.5 * bench.overview.step_s)
    moves = [
        move
        for move in _moves(bench, closed_at, off_to)
        if not any(c.from_s - around <= move.time_s <= c.to_s + 2 * around for c in bench.story.cranks)
    ]
    moves = _out_of_bounces(moves, _bounces(bench, on_from, on_to), on_to)
    with_trigger = 0
    if not bench.has("battery_v") and not bench.has("battery_a"):
        with_trigger = sum(_trigger_down(bench, move) for move in moves if move.to == "low" and move.time_s < on_to)
    slack_s = bench.story.half_width_s(on_to)
    stamped_s = bench.steps.by_role.get("feed_v", 0.0)
    count = chatter_count(moves, closed_at, on_to, off_to, slack_s, _falls_from(bench, on_to), stamped_s)
    hidden_s = unseen_s(bench.overview, closed_at, on_to)
    return _Watched((on_from, on_to), closed_at, off_to, hidden_s, count, with_trigger)


def _driven_from(bench: LogContext, on_from: float, on_to: float) -> float:
    """When the trigger came, s, where the key was marked on before: until then nothing drove the relay."""
    rise = next((move.time_s for move in bench.story.rises if on_from < move.time_s <= on_to), on_from)
    there_before = any(on_from < move.time_s < rise for move in bench.story.falls)
    bounces = rise - on_from <= BEFORE_S or bench.story.trigger_pulses is not None
    return on_from if there_before or bounces else rise


def _short_of_a_pass(
    bench: LogContext, whole: list[tuple[float, float]], hidden_s: float, load: FeedLoad | None, loads: Loads | None
) -> tuple[str | None, str | None]:
    """Why a log without an opening does not prove that there is none, and what would: none where it does."""
    step_s = bench.true_step_s("feed_v")
    if step_s > BOUNCE_S * 1.01:
        if step_s > 1.5 * bench.overview.step_s:
            seen = (
                f"the logger sees feed_v {step_s * 1000:.0f} ms apart, whatever its rows say, and can miss an opening"
            )
            return seen, "a logger that really reads 200 times a second or more would prove it"
        slow = f"samples {step_s * 1000:.0f} ms apart can miss an opening"
        return slow, "a log at 200 samples a second or more would prove it"
    if hidden_s:
        return (
            f"an opening in the {hidden_s:.1f} s that the log lacks would be missed",
            "a log without gaps would prove it",
        )
    if not whole:
        return (
            "the log holds no whole stretch with the key on",
            "record from before the key-on until after the key-off, with all circuits on",
        )
    if bench.plan.circuit and not any(_all_on(bench, a, b, load, loads) for a, b in whole):
        return (
            f"no stretch with the key on shows the planned load of {bench.plan.planned_load_a:.3g} A",
            "switch all circuits on with the key on, and log feed_a or battery_a, or mark each as it is switched",
        )
    return None, None


def _all_on(bench: LogContext, from_s: float, to_s: float, load: FeedLoad | None, loads: Loads | None) -> bool:
    """Whether all circuits were on at some time of a stretch: by marks, or by the planned load within its doubt."""
    on: set[int] = set()
    planned = {circuit.slot for circuit in bench.plan.circuit}
    for mark in bench.log.marks:
        if from_s <= mark.time_s <= to_s and isinstance(mark.event, SlotOn | SlotOff):
            (on.add if isinstance(mark.event, SlotOn) else on.discard)(mark.event.slot)
            if planned <= on:
                return True
    most = [point.load_a for point in (load.points if load else ()) if from_s <= point.plateau.from_s <= to_s]
    for group in loads.engine_off if loads else ():
        steady = [p.readings["battery_a"].value for p in group if from_s <= p.from_s <= to_s]
        most += [max(steady) - min(steady)] if steady else []
    own = [f"slot{circuit.slot}_a" for circuit in bench.plan.circuit]
    if bench.has(*own):
        part = coarse(bench.overview, from_s, to_s, POINT_LOAD_S, own)
        total = np.sum([part.mean[role] for role in own], axis=0)
        most += [float(np.nanmax(total, initial=0.0))]
    return max(most, default=0.0) >= ALL_ON_SHARE * bench.plan.planned_load_a


def _falls_from(bench: LogContext, on_to: float) -> float | None:
    """When the trigger began to fall for a key-off, s; None where it does not."""
    fall = _nearest(bench.story.falls, on_to)
    if fall is None or abs(fall.time_s - on_to) > NEAR_S:
        return None
    return let_go_s(bench.log.trace(fall.time_s - 3.0, fall.time_s, ["trigger_v"]), fall)


def _nearest(moves: Sequence[Crossing], at_s: float) -> Crossing | None:
    """Of moves in the order of their times."""
    after = bisect_left(moves, at_s, key=lambda move: move.time_s)
    return min(moves[max(after - 1, 0) : after + 1], key=lambda move: abs(move.time_s - at_s), default=None)


def _bounces(bench: LogContext, on_from: float, on_to: float) -> list[tuple[float, float]]:
    """The stretches in which the contact follows the bounce of the key's own, as a coil may, s."""
    if not bench.has("trigger_v"):
        return []
    if bench.story.trigger_pulses is not None:
        # among pulses no edge is known as a bounce; a contact that follows the pulses does so all the time
        near = [rise.time_s for rise in bench.story.rises if abs(rise.time_s - on_from) <= NEAR_S]
        return [(min(near), min(near) + KEY_BOUNCE_S + FOLLOWS_S)] if near else []
    found = []
    for at_s, events in ((on_from, bench.story.rises), (on_to, bench.story.falls)):
        event = _nearest(events, at_s)
        if event is None or abs(event.time_s - at_s) > NEAR_S:
            continue
        trace = bench.log.trace(event.time_s - 0.5, event.time_s + 0.5, ["trigger_v"])
        x = np.clip(trace.values["trigger_v"], *PLAUSIBLE_V)
        moves = line_moves(trace.time_s, x, event.time_s, event.to, None)
        last_s = train(moves, event)[-1].time_s
        # by other levels the same passage has another instant: a second one has a way back before it
        if any(event.time_s < move.time_s < last_s and move.to != event.to for move in moves):
            found.append((event.time_s, last_s + FOLLOWS_S))
    return found


def _out_of_bounces(moves: list[Crossing], bounces: list[tuple[float, float]], on_to: float) -> list[Crossing]:
    """The moves that do not follow a bounce of the key; what opens the contact for good in the key-off's stays."""
    kept = moves
    for a, b in bounces:
        inside = [move for move in moves if a <= move.time_s <= b]
        drop_out = inside[-1] if inside and inside[-1].to == "low" and b > on_to else None
        kept = [move for move in kept if move is drop_out or move not in inside]
    return kept


def _trigger_down(bench: LogContext, opening: Crossing) -> bool:
    """Whether the contact opened because its trigger went."""
    if not bench.has("trigger_v"):
        return False
    trace = bench.log.trace(opening.time_s - 0.2, opening.after_s + 0.2, ["trigger_v"])
    return bool(np.nanmin(trace.values["trigger_v"], initial=np.inf) < UP_ABOVE_V)


def _first_closing(bench: LogContext, on_from: float, on_to: float) -> float | None:
    part = coarse(bench.overview, on_from - POINT_S, on_to, POINT_S, ["feed_v"])
    live = np.flatnonzero(part.high["feed_v"] > UP_ABOVE_V)
    if not len(live):
        return None
    before = coarse(bench.overview, on_from - 4 * POINT_S, on_from, POINT_S, ["feed_v"]).low["feed_v"]
    if len(before) and np.nanmin(before, initial=np.inf) > UP_ABOVE_V:
        return on_from - POINT_S
    around = float(part.start_s[live[0]])
    trace = bench.log.trace(around - 0.2, around + 0.3, ["feed_v"])
    level = float(np.nanmax(trace.values["feed_v"], initial=UP_ABOVE_V))
    closings = [move for move in contact_moves(trace, level) if move.to == "high"]
    return closings[0].time_s if closings else around


def _moves(bench: LogContext, from_s: float, to_s: float) -> list[Crossing]:
    """The contact's moves between two times: single samples are read only where the feed dips or rises."""
    part = coarse(bench.overview, from_s, to_s, POINT_S, ["feed_v", "battery_v"])
    low, high, mean = part.low["feed_v"], part.high["feed_v"], part.mean["feed_v"]
    live = part.mean.get("battery_v", np.full(len(mean), min(np.nanmax(mean, initial=12.0), PLAUSIBLE_V[1])))
    with np.errstate(invalid="ignore"):
        mixed = (low < 0.55 * live) & (high > 0.45 * live)
        turned = np.flatnonzero((mean[1:] > 0.5 * live[1:]) != (mean[:-1] > 0.5 * live[:-1]))
    mixed[turned] = True
    mixed[turned + 1] = True
    roles = [role for role in ("feed_v", "battery_v") if bench.has(role)]
    moves: list[Crossing] = []
    for first, end in runs(mixed):
        step = bench.overview.step_s
        a = float(part.start_s[max(first - 1, 0)]) - 3 * step
        b = float(part.end_s[min(end, len(part) - 1)]) + 3 * step
        trace = without_spikes(bench.log.trace(a, b, roles), float(live[first]))
        moves += [move for move in contact_moves(trace, float(live[first])) if move.time_s > from_s]
    unique: list[Crossing] = []
    for move in sorted(moves, key=lambda m: m.time_s):
        if not unique or move.to != unique[-1].to:
            unique.append(move)
    return unique
