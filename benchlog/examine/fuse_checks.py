"""The fuse-pull walk: what it leaves of the key-off state, and what each circuit draws there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchlog.analysis.coarse import coarse
from benchlog.analysis.fuse_walk import HAND_S, Draw, Pull, draw_of, missing_wakeups, pulls_of, started_up_s
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.core.numbers import number, with_uncertainty
from benchlog.core.quantiles import known_median, median
from benchlog.core.uncertainty import COVERAGE_K, combine
from benchlog.examine.context import LogContext, Samples, Timeline
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.off_state import OffState
from benchlog.verdict.evidence import KeyOffDraw
from benchlog.verdict.result import Cause

POINT_S = 0.1
#: A circuit that takes away this share of the drain is named as its cause.
NAMED_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class FuseWalk:
    """The fuses that were out with the key off.

    Attributes:
        pulls: in time order. left_out: what is not the bike's own key-off state, s.
        let_go: those with which the relay let go.
    """

    pulls: tuple[Pull, ...]
    left_out: tuple[tuple[float, float], ...]
    let_go: tuple[Pull, ...]


@dataclass(frozen=True, slots=True)
class WalkFindings:
    """For the report: one entry a circuit, and a plain sentence each."""

    draws: tuple[KeyOffDraw, ...]
    notes: tuple[str, ...]


def find_walk(log: Samples, story: Timeline) -> FuseWalk:
    """Which stretches of the key-off spans a pulled fuse has changed.

    A fuse that is out counts from a little before its mark until the circuit has started up again. Where the
    relay let go with it, the rest of that span is no longer what the key-off left.
    """
    pulls = pulls_of(log.marks)
    left_out: list[tuple[float, float]] = []
    let_go: list[Pull] = []
    kept: list[Pull] = []
    for pull in pulls:
        for from_s, to_s in story.off:
            begins, ends = max(pull.out_s - HAND_S, from_s), min(pull.ends_s(log.end_s), to_s)
            if ends <= begins:
                continue
            kept.append(pull)
            if _lets_go(log, pull, from_s, ends):
                let_go.append(pull)
                left_out.append((begins, to_s))
            elif pull.in_s is None or pull.in_s > to_s:
                left_out.append((begins, to_s))
            else:
                left_out.append((begins, _back_s(log, pulls, pull, to_s)))
    return FuseWalk(tuple(dict.fromkeys(kept)), tuple(left_out), tuple(let_go))


def _back_s(log: Samples, pulls: Sequence[Pull], pull: Pull, to_s: float) -> float:
    """When the circuit had its fuse back and had started up."""
    in_s = pull.ends_s(to_s)
    until = min([other.out_s - HAND_S for other in pulls if other.out_s > in_s] + [to_s])
    if until <= in_s:
        return in_s
    table = coarse(log.overview, in_s, until, POINT_S, ["drain_a", "battery_a"])
    return max((started_up_s(table, role, in_s, until) for role in table.mean), default=min(in_s + HAND_S, until))


def _lets_go(log: Samples, pull: Pull, off_from_s: float, ends_s: float) -> bool:
    """Whether feed or trigger was up with the key off and fell as the fuse was pulled."""
    for role in ("feed_v", "trigger_v"):
        if role not in log.overview.bands:
            continue
        before = coarse(
            log.overview, max(off_from_s, pull.out_s - HAND_S - 3), pull.out_s - HAND_S / 4, POINT_S, [role]
        )
        after = coarse(log.overview, pull.out_s, ends_s, POINT_S, [role])
        if not np.isfinite(before.mean[role]).any() or not np.isfinite(after.mean[role]).any():
            continue
        up, down = known_median(before.mean[role]), known_median(after.mean[role])
        return up > UP_ABOVE_V and down < UP_ABOVE_V
    return False


def without_pulled(story: Timeline, walk: FuseWalk) -> Timeline:
    """The story without falls of the trigger that a pulled fuse brought about: they are no drop-out of the relay."""
    if not walk.let_go:
        return story
    ends = [(pull.out_s - HAND_S, pull.ends_s(np.inf)) for pull in walk.let_go]
    falls = tuple(fall for fall in story.falls if not any(a <= fall.time_s <= b for a, b in ends))
    return replace(story, falls=falls)


def examine_walk(bench: LogContext, walk: FuseWalk, off: OffState) -> WalkFindings:
    """What each circuit draws with the key off, by the steps of the drain."""
    devices = {circuit.slot: circuit.device for circuit in bench.plan.circuit}
    draws: list[KeyOffDraw] = []
    notes: list[str] = []
    for pull in walk.pulls:
        name = f"slot {pull.slot}" + (f" ({devices[pull.slot]})" if pull.slot in devices else "")
        if pull in walk.let_go:
            notes.append(f"with fuse {pull.slot} out the relay let go (at {pull.out_s:.1f} s): {name} feeds its coil")
            continue
        span = next((s for s in off.spans if s.from_s <= pull.out_s + HAND_S and pull.out_s < s.to_s), None)
        if span is None or span.role is None or not span.role.endswith("_a"):
            continue
        draw = _draw(bench, walk, pull, span)
        if draw is None:
            notes.append(f"fuse {pull.slot} was out at {pull.out_s:.1f} s too briefly to tell what {name} draws")
            continue
        entry = _entry(bench, pull, span, draw, devices.get(pull.slot, ""), off)
        draws.append(entry)
        notes.append(_sentence(entry, name) + _asleep(bench, pull, span, entry))
    return WalkFindings(tuple(draws), tuple(notes))


def _draw(bench: LogContext, walk: FuseWalk, pull: Pull, span: OffSpan) -> Draw | None:
    role = span.role or ""
    table = coarse(bench.overview, span.from_s, span.to_s, POINT_S, [role])
    # between two moves of any fuse each step is one circuit's own, whether the others are in or out
    moves = sorted(t for p in walk.pulls if p is not pull for t in (p.out_s, p.ends_s(span.to_s)))
    stop_s = min([t for t in moves if t > pull.out_s] + [pull.ends_s(span.to_s), span.to_s])
    begin_s = max([t + HAND_S for t in moves if t <= pull.out_s] + [span.from_s])
    for left_from, left_to in bench.left_out:
        if left_from < pull.out_s - HAND_S and begin_s < left_to <= pull.out_s:
            begin_s = left_to
    if span.settled is not None and begin_s < span.settled.from_s < pull.out_s - 2 * HAND_S:
        begin_s = span.settled.from_s
    after = None
    if pull.in_s is not None and stop_s == pull.in_s:
        back_s = next((b for a, b in bench.left_out if a <= pull.out_s <= b), pull.in_s)
        until = min([t - HAND_S for t in moves if t >= pull.in_s] + [span.to_s])
        after = (back_s, until)
    return draw_of(table, role, Pull(pull.slot, pull.out_s, stop_s), begin_s, after)


def _entry(bench: LogContext, pull: Pull, span: OffSpan, draw: Draw, device: str, off: OffState) -> KeyOffDraw:
    accuracy = bench.accuracy.get(span.role or "")
    u = None if accuracy is None else combine(draw.type_a_u, accuracy.change_u(draw.amps))
    least = COVERAGE_K * (draw.type_a_u if u is None else u)
    mean = off.drain.mean_a if off.drain else None
    settled = span.settled
    pulses = False
    pulsed_a = 0.0
    if settled is not None and off.drain is not None:
        out_s = pull.ends_s(span.to_s) - pull.out_s
        count = _wakes_out(bench, span, pull)
        pulses = missing_wakeups(settled.wakeups, settled.lasts_s, out_s, count)
        pulsed_a = off.drain.mean_a - off.drain.base_a if pulses else 0.0
        u = combine(u, off.drain.type_a_u) if pulses and u is not None else u
    total = draw.amps + max(pulsed_a, 0.0)
    return KeyOffDraw(
        slot=pull.slot,
        device=device,
        out_at_s=pull.out_s,
        draw_ma=total * 1000,
        uncertainty_ma=None if u is None else COVERAGE_K * u * 1000,
        told=pulses or draw.amps > least,
        pulses=pulses,
        share=total / mean if mean is not None and mean > 0 else None,
    )


def _wakes_out(bench: LogContext, span: OffSpan, pull: Pull) -> int:
    """Wake-ups while the fuse was out: excursions half as tall as the smallest one that came with all fuses in."""
    role, settled = span.role or "", span.settled
    if settled is None or not settled.wakeups:
        return 0
    table = coarse(bench.overview, span.from_s, span.to_s, POINT_S, [role])
    tall = [
        float(np.nanmax(part.mean[role])) - settled.base_a
        for a, b in settled.wakeups
        if len(part := table.part(a - POINT_S, b + POINT_S)) and np.isfinite(part.mean[role]).any()
    ]
    hand_s = min(HAND_S, 0.2 * (pull.ends_s(span.to_s) - pull.out_s))
    out = table.part(pull.out_s + hand_s, pull.ends_s(span.to_s) - hand_s).mean[role]
    out = out[np.isfinite(out)]
    if not tall or not len(out):
        return 0
    high = out > median(out) + 0.5 * min(tall)
    return int(np.count_nonzero(high[1:] & ~high[:-1]) + high[0])


def _sentence(entry: KeyOffDraw, name: str) -> str:
    figure = with_uncertainty(entry.draw_ma, entry.uncertainty_ma)
    if not entry.told:
        return (
            f"{name} draws nothing that can be distinguished from zero with the key off ({figure} mA, "
            f"fuse {entry.slot} out at {entry.out_at_s:.1f} s)"
        )
    how = "in pulses, " if entry.pulses else ""
    mean = " on average" if entry.pulses else ""
    return f"{name} draws {how}{figure} mA{mean} with the key off (fuse {entry.slot} out at {entry.out_at_s:.1f} s)"


def _asleep(bench: LogContext, pull: Pull, span: OffSpan, entry: KeyOffDraw) -> str:
    """A device may sleep while its fuse is out for less than its interval."""
    if entry.pulses or span.settled is None or not span.settled.wakeups or _wakes_out(bench, span, pull):
        return ""
    return "; its fuse was out too briefly to tell whether it is the one that wakes"


def with_circuits(
    causes: Sequence[Cause], draws: Sequence[KeyOffDraw], let_go: Sequence[tuple[int, str]], drain_ma: float | None
) -> list[Cause]:
    """The same causes, with the circuit that the walk found.

    Args:
        let_go: ``(slot, device)`` with whose fuse out the relay let go. drain_ma: the off-state drain, mA.
    """
    return [_with_circuit(cause, draws, let_go, drain_ma) for cause in causes]


def _with_circuit(
    cause: Cause, draws: Sequence[KeyOffDraw], let_go: Sequence[tuple[int, str]], drain_ma: float | None
) -> Cause:
    evidence, steps = list(cause.evidence), []
    if cause.id == "backfed_coil":
        for slot, device in let_go:
            evidence.append(f"with fuse {slot} out the relay let go")
            steps.append(f"slot {slot}{f' ({device})' if device else ''} feeds the coil: part that device from 86")
    elif cause.id in ("unswitched_device", "waking_device") and drain_ma:
        for draw in sorted(draws, key=lambda one: -one.draw_ma):
            if not draw.told or draw.draw_ma < 0.1 * drain_ma or (cause.id == "waking_device" and not draw.pulses):
                continue
            evidence.append(f"pulling fuse {draw.slot} takes {number(draw.draw_ma)} mA of {number(drain_ma)} mA away")
            if draw.draw_ma >= NAMED_SHARE * drain_ma:
                named = f"slot {draw.slot}{f' ({draw.device})' if draw.device else ''}"
                steps.append(f"look at {named}: its fuse feeds that drain")
    if not steps and len(evidence) == len(cause.evidence):
        return cause
    update: Mapping[str, object] = {"evidence": evidence, "next_test": "; then ".join([*steps, cause.next_test])}
    return cause.model_copy(update=dict(update))
