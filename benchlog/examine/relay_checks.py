"""The relay's times: pull-in and drop-out, each event looked at on single samples."""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from benchlog.analysis.bounce import KEY_BOUNCE_S, line_moves, working_edge
from benchlog.analysis.coarse import unseen_s
from benchlog.analysis.contact import contact_moves
from benchlog.analysis.levels import Crossing
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.relay import BOUNCE_S, Operation, drop_out, pull_in
from benchlog.analysis.switched import PLAUSIBLE_V, UP_ABOVE_V
from benchlog.core.quantiles import known_median, median
from benchlog.core.trace import Trace
from benchlog.core.uncertainty import Z_PROVEN, combine, rectangular
from benchlog.examine.context import LogContext
from benchlog.examine.relay_still import by_the_key, sinks, stays_dead, stays_live, watched_longer_than
from benchlog.examine.trigger_fall import shows_returns

#: How far around an event the samples are looked at, s.
BEFORE_S, AFTER_S, LATEST_S = 0.5, 1.0, 30.0
#: A contact first touches up to so long before it closes for good, and for no less than this, s (from memory).
FIRST_TOUCH_S, TOUCH_S = 0.002, 0.0001
#: A contact that chatters shows it within this time, s.
WATCHED_S = 10.0
#: Samples further apart than this may miss pulses of 500 Hz, and show slower ones in their place, s.
FASTEST_PULSE_S = 0.00101


@dataclass(frozen=True, slots=True)
class RelayFindings:
    """Findings and, for drawing, the samples around each event with the trigger's passage."""

    findings: dict[str, Finding]
    pull_ins: tuple[tuple[Trace, float], ...]
    drop_outs: tuple[tuple[Trace, float], ...]


@dataclass(slots=True)
class _Moves:
    """The moves of one kind that a log shows.

    Attributes:
        timed: those whose time is known. already: how many had been made before. unseen: how many lie in a gap.
    """

    timed: list[Operation] = field(default_factory=list)
    already: int = 0
    unseen: int = 0

    def count(self, bench: LogContext, operation: Operation) -> bool:
        """Count one; False where it did not come."""
        if operation.took_s is not None and _across_gap(bench, operation):
            self.unseen += 1
        elif operation.took_s is not None:
            self.timed.append(operation)
        elif operation.already:
            self.already += 1
        else:
            return False
        return True

    def why_untimed(self, state: str) -> str:
        """Why none could be timed; ``state`` is that of the feed where they had all been made before."""
        if self.unseen:
            return "the log has a gap in its samples there"
        return state if self.already else "the log ends too soon after it"


def examine_relay(bench: LogContext) -> RelayFindings:
    """Findings for ``relay_pull_in`` and ``relay_drop_out``."""
    missing = next((role for role in ("trigger_v", "feed_v") if not bench.has(role)), None)
    if missing is not None:
        unlogged = NotEvaluated(f"{missing} is not logged")
        return RelayFindings({"relay_pull_in": unlogged, "relay_drop_out": unlogged}, (), ())
    ins, pull_in_finding = _pull_ins(bench)
    outs, drop_out_finding = _drop_outs(bench)
    return RelayFindings(
        {"relay_pull_in": pull_in_finding, "relay_drop_out": drop_out_finding},
        tuple(ins),
        tuple(outs),
    )


def _pull_ins(bench: LogContext) -> tuple[list[tuple[Trace, float]], Finding]:
    limit = bench.plan.relay.pull_in_max_ms if bench.plan.relay else None
    if not bench.story.rises:
        nothing = stays_dead(bench, limit)
        if nothing is None:
            return [], NotEvaluated("the trigger does not rise in this log; turn the key on while it records")
        what = "the trigger never rose and the feed stayed dead with the key on"
        return [], _worst([], [nothing], limit, what, "")
    windows, moves, never, restless = [], _Moves(), [], False
    for rise in bench.story.rises:
        until = _until(bench, rise, bench.story.falls)
        trace = _window(bench, rise, until)
        live = _level(trace, rise.after_s + 0.3, until)
        dead = _level(trace, trace.time_s[0], rise.before_s)
        windows.append((trace, rise.time_s))
        if not math.isfinite(live) or live < UP_ABOVE_V:
            # the feed may come late: look further before calling it dead
            trace = _window(bench, rise, until, after_s=LATEST_S)
            live = float(np.nanmax(trace.values["feed_v"], initial=0.0))
        if math.isfinite(dead) and dead > UP_ABOVE_V:
            moves.already += 1
            if live > UP_ABOVE_V:
                continue
        operation = (
            Operation(rise.time_s, None, (rise.width_s, rise.width_s))
            if live < UP_ABOVE_V
            else pull_in(trace, rise, live, dead if math.isfinite(dead) and dead < live / 2 else 0.0)
        )
        operation = _from_working_edge(bench, trace, rise, operation)
        restless = restless or _restless(bench, rise, until, live)
        if not moves.count(bench, operation) and watched_longer_than(bench, rise, until, limit):
            never.append((rise, until))
    what = "the feed never became live after the trigger rose"
    timed, why = moves.timed, moves.why_untimed("the feed was live already")
    slow = limit is not None and any(operation.widths_s[1] * 1000 > limit for operation in timed)
    worst = _worst(timed, never, limit, what, f"no pull-in could be timed: {why}")
    return windows, _unless_touched(_unless_missed(worst, timed, limit, undone=slow or restless), timed, limit)


def _restless(bench: LogContext, rise: Crossing, until: float, live_v: float) -> bool:
    """Whether the contact opens again soon after it closed; asked only where the samples would not show all of it."""
    if bench.true_step_s("feed_v") <= BOUNCE_S * 1.01:
        return False
    trace = bench.log.trace(rise.time_s, min(rise.time_s + WATCHED_S, until), ["feed_v"])
    return any(move.to == "low" for move in contact_moves(trace, max(live_v, UP_ABOVE_V)))


def _unless_missed(finding: Finding, timed: list[Operation], limit_ms: float | None, undone: bool) -> Finding:
    """A late move fails only where samples would have shown that the key's contact, or the relay's, moved between.

    Args:
        undone: an earlier closing may have been undone again, by the bounce of the key or since the contact chatters.
    """
    if not isinstance(finding, Measured) or finding.value is None or limit_ms is None:
        return finding
    step_s = max(width for operation in timed for width in operation.widths_s)
    if step_s <= BOUNCE_S * 1.01 or finding.value <= limit_ms:
        return finding
    remedy = "a log at 200 samples a second or more would show it"
    if finding.value - KEY_BOUNCE_S * 1000 <= limit_ms:
        doubt = f"samples {step_s * 1000:.0f} ms apart can miss the bounce of the key's contact"
        return replace(finding, disqualified=doubt, remedy=remedy)
    if undone:
        doubt = f"samples {step_s * 1000:.0f} ms apart can miss that the contact closed before"
        return replace(finding, disqualified=doubt, remedy=remedy)
    return finding


def _unless_touched(finding: Finding, timed: list[Operation], limit_ms: float | None) -> Finding:
    """A pull-in that is late by no more than a bounce fails only where samples would have shown its first touch."""
    if not isinstance(finding, Measured) or finding.value is None or limit_ms is None or finding.disqualified:
        return finding
    step_s = max(operation.widths_s[1] for operation in timed)
    if step_s <= TOUCH_S * 1.01 or not limit_ms < finding.value <= limit_ms + 1000 * (FIRST_TOUCH_S + step_s):
        return finding
    missed = f"samples {step_s * 1000:.3g} ms apart can miss that the contact touched before, and bounced"
    return replace(finding, disqualified=missed, remedy="a log at 10000 samples a second or more would prove it")


def _drop_outs(bench: LogContext) -> tuple[list[tuple[Trace, float]], Finding]:
    limit = bench.plan.relay.drop_out_max_ms if bench.plan.relay else None
    windows, moves, never, held = [], _Moves(), [], 0
    falls = [fall for fall in bench.story.falls if by_the_key(bench, fall)]
    for fall in falls:
        until = _until(bench, fall, bench.story.rises)
        trace = _window(bench, fall, until)
        live = _level(trace, fall.before_s - 0.3, fall.before_s)
        windows.append((trace, fall.time_s))
        if not math.isfinite(live) or live < UP_ABOVE_V:
            moves.already += 1
            continue
        operation = drop_out(trace, fall, live)
        if operation.took_s is None and not operation.already:
            trace = _window(bench, fall, until, after_s=LATEST_S)
            operation = drop_out(trace, fall, live)
        operation = _from_working_edge(bench, trace, fall, operation)
        if not moves.count(bench, operation) and watched_longer_than(bench, fall, until, limit):
            if sinks(trace, fall):
                held += 1
            else:
                never.append((fall, until))
    what = "the contact never opened after the trigger fell"
    if not falls:
        stuck = stays_live(bench)
        if stuck is None:
            return windows, NotEvaluated("the trigger does not fall in this log; turn the key off while it records")
        never.append(stuck)
        what = "the trigger never fell and the contact never opened after the key was turned off"
    why = "something holds the feed up after it" if held else moves.why_untimed("the feed was dead already")
    worst = _worst(moves.timed, never, limit, what, f"no drop-out could be timed: {why}")
    if all(shows_returns(bench, fall) for fall in falls):
        return windows, worst
    return windows, _unless_missed(worst, moves.timed, limit, undone=False)


def _from_working_edge(bench: LogContext, trace: Trace, first: Crossing, operation: Operation) -> Operation:
    """The same operation, counted from the edge that changed the coil's current where the key's contact bounced.

    Its widths are no finer than the logger's true step.
    """
    trigger_s, feed_s = bench.true_step_s("trigger_v"), bench.true_step_s("feed_v", "battery_v")
    pulses = bench.story.trigger_pulses
    if pulses is not None and bench.true_step_s("trigger_v") > FASTEST_PULSE_S:
        trigger_s = max(trigger_s, 2 * pulses.pause_s)  # the first pulses, or the last, may have been missed
    widths = max(operation.widths_s[0], trigger_s), max(operation.widths_s[1], feed_s)
    if operation.took_s is None:
        return replace(operation, widths_s=widths)
    moved_s = operation.trigger_s + operation.took_s
    edge = first
    if pulses is None:
        x = np.clip(trace.values["trigger_v"], *PLAUSIBLE_V)
        edge = working_edge(line_moves(trace.time_s, x, first.time_s, first.to, None), first, moved_s)
    return replace(operation, trigger_s=edge.time_s, took_s=moved_s - edge.time_s, widths_s=widths)


def _across_gap(bench: LogContext, operation: Operation) -> bool:
    """Whether the log has a gap between the trigger's passage and the feed's, so that nobody saw when it happened."""
    first, last = operation.widths_s
    ends_s = operation.trigger_s + (operation.took_s or 0.0) + last
    return unseen_s(bench.overview, operation.trigger_s - first, ends_s) > 0


def _until(bench: LogContext, event: Crossing, ends: tuple[Crossing, ...]) -> float:
    """When the state that ``event`` begins ends: the trigger's next move back, a crank, or the log's end."""
    after = [end.before_s for end in ends if end.time_s > event.time_s]
    cranks = [crank.from_s for crank in bench.story.cranks if crank.from_s > event.time_s]
    return min([*after, *cranks, bench.log.end_s])


def _window(bench: LogContext, event: Crossing, until: float, after_s: float = AFTER_S) -> Trace:
    step = bench.overview.step_s
    roles = [role for role in ("trigger_v", "feed_v", "battery_v", "battery_a") if bench.has(role)]
    return bench.log.trace(
        event.before_s - max(BEFORE_S, 5 * step), min(event.after_s + max(after_s, 8 * step), until), roles
    )


def _level(trace: Trace, from_s: float, to_s: float) -> float:
    part = trace.between(from_s, to_s).values["feed_v"]
    part = part[np.isfinite(part)]
    if not len(part):
        whole = trace.between(from_s - 2.0, to_s + 2.0).values["feed_v"]
        return float("nan") if not np.isfinite(whole).any() else known_median(whole)
    return median(part)


def _worst(
    timed: list[Operation],
    never: list[tuple[Crossing, float]],
    limit_ms: float | None,
    what: str,
    untimed: str,
) -> Finding:
    if never:
        event, until = never[0]
        return Measured(
            value=None,
            u=None,
            from_s=event.time_s,
            to_s=until,
            failed=f"{what}, for {until - event.time_s:.1f} s",
        )
    if not timed:
        return NotEvaluated(untimed)
    worst = max(timed, key=lambda operation: operation.took_s or 0.0)
    # samples too far apart can put the effect before its cause
    took_ms = max(1000 * (worst.took_s or 0.0), 0.0)
    u = combine(*(rectangular(width) for width in (*worst.widths_s, worst.slow_s))) * 1000
    vague = any(operation.vague for operation in timed)
    remedy = "log battery_v beside it" if vague else None
    if limit_ms is not None and not vague:
        margin = abs(limit_ms - took_ms)
        # u = step * sqrt(2/3) must be at most the margin over the quantile
        need_hz = Z_PROVEN * math.sqrt(2 / 3) * 1000 / max(margin, limit_ms / 20)
        remedy = f"a log at {_round_up(need_hz)} samples a second or more would prove it"
    return Measured(
        value=took_ms,
        u=u,
        from_s=worst.trigger_s,
        to_s=worst.trigger_s + (worst.took_s or 0.0),
        story=f"the slowest of {len(timed)}" if len(timed) > 1 else "one event",
        one_sided="without battery_v the fall of the feed may be the engine stopping, before the contact opens"
        if vague
        else None,
        remedy=remedy,
    )


def _round_up(rate: float) -> int:
    for nice in (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000):
        if rate <= nice:
            return nice
    return int(math.ceil(rate / 10000) * 10000)
