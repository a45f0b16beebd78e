"""Is the bike asleep, what does it draw, and does that fall as a fuse is pulled?"""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from benchlog.analysis.fuse_walk import HAND_S, started_up_s
from benchlog.analysis.settling import Settled, settle
from benchlog.bench.guided.history import History
from benchlog.bench.guided.moves import is_up, sigma, steady_change
from benchlog.bench.guided.sight import Look, Sight, StepSeen
from benchlog.core.numbers import number

LINES = ("key_v", "trigger_v", "feed_v")
NAMES = {"key_v": "the key line", "trigger_v": "the trigger", "feed_v": "the feed"}
#: The currents that show a drain, the finest first.
DRAINS = ("drain_a", "battery_a")
#: A fuse's own share of the drain shows above this many standard deviations, share of the drain, and A.
FUSE_SIGMAS, FUSE_SHARE, FUSE_LEAST_A = 6.0, 0.05, 1e-4
#: It has fallen, and is back, once it has stood for so long, s.
OUT_STANDS_S, IN_STANDS_S = 1.5, 0.6
#: The drain before a fuse is pulled is the median over this long, s.
CALM_S = 7.0
#: So many wake-ups more or less are left open by the check, half-width of a rectangle, k = 2; with some to spare.
ONE_WAKEUP = 1.4
#: A drain that wake-ups leave open is watched for no more than this many times the needed stretch.
MOST_TIMES = 5.0
#: Before the next pull the current is calm for so long, beside what a hand may be late; longest wait for that, s.
CALM_BEFORE_S, LONGEST_START_S = 2.0, 60.0
#: Asleep: two stretches of this length differ by no more than their scatter, s.
REST_PART_S = 5.0


def drain_role(history: History) -> str | None:
    """The finest current channel that is within its range now."""
    for role in DRAINS:
        if math.isfinite(history.newest(role)):
            return role
    return None


def rested(sight: Sight) -> Look:
    """The bike has lain at rest for long enough, and its current has stopped falling."""
    history = sight.history
    left_s = sight.need_s - (history.now_s - sight.since_s)
    if left_s > 0:
        return Look(waiting=f"{math.ceil(left_s)} s of rest still needed")
    lines = [NAMES[role] for role in LINES if is_up(history, role)]
    odd = ""
    if lines:
        odd = f"{' and '.join(lines)} {'are' if len(lines) > 1 else 'is'} up with the key off: is the key off?"
    role = drain_role(history)
    if role is not None:
        late = history.level(role, history.now_s - REST_PART_S)
        early = history.level(role, history.now_s - 2 * REST_PART_S, history.now_s - REST_PART_S)
        if abs(late - early) > max(FUSE_SIGMAS * sigma(history, role), FUSE_SHARE * abs(late), FUSE_LEAST_A):
            return Look(waiting="the current still changes: something is not asleep yet")
    return Look(StepSeen(sight.since_s, "at rest", odd))


def asleep(sight: Sight) -> Look:
    """The drain has settled and stayed so for as long as the check asks, by the check's own search."""
    history = sight.history
    from_s = sight.key_off_s if math.isfinite(sight.key_off_s) else sight.since_s
    settled = settled_since(history, max(from_s, history.first_s), sight.resolution, sight.left_out)
    if settled is None:
        return Look(waiting=f"{math.ceil(sight.need_s)} s of settled drain still needed")
    found, role = settled
    if not math.isfinite(found.base_a):
        return Look(waiting="the current is beyond the logger's range")
    left_s = sight.need_s - found.lasts_s
    mean_a = mean_of(history, role, found)
    newest = history.level(role, history.now_s - CALM_S / 2)
    if left_s <= 0 and role != "feed_v" and abs(newest - found.base_a) > max(0.1 * abs(found.base_a), FUSE_LEAST_A):
        return Look(waiting="the drain has just changed again")
    if left_s <= 0 and found.wakeups and history.now_s - found.wakeups[-1][1] < CALM_S:
        return Look(waiting="something has just woken up; wait for it to settle")
    if left_s <= 0 and found.lasts_s < MOST_TIMES * sight.need_s and _open(found, mean_a, sight.limit_ma / 1000):
        return Look(
            waiting=f"drain {_amount(mean_a)} with wake-ups; one more or less would still decide, so this takes longer"
        )
    if left_s > 0:
        shown = f"drain {_amount(mean_a)}" if role != "feed_v" else "the feed"
        return Look(waiting=f"{shown}, settled for {found.lasts_s:.0f} s; {math.ceil(left_s)} s still needed")
    if role == "feed_v":
        return Look(StepSeen(found.from_s, "the feed has settled"))
    odd, every_s = "", math.nan
    if mean_a * 1000 > sight.limit_ma:
        odd = f"the plan allows {number(sight.limit_ma)} mA"
        if found.base_a * 1000 <= sight.limit_ma and len(found.wakeups) > 1:
            every_s = float(np.median(np.diff([begins for begins, _ in found.wakeups])))
            odd += f"; something wakes about every {every_s:.0f} s"
    return Look(StepSeen(found.from_s, f"the drain has settled at {_amount(mean_a)}", odd, mean_a, every_s))


def _open(found: Settled, mean_a: float, limit_a: float) -> bool:
    """Whether one wake-up more or less may still change the verdict; False where the plan sets no limit."""
    if not found.wakeups or math.isnan(limit_a):
        return False
    once_a = (mean_a - found.base_a) / len(found.wakeups)
    return abs(mean_a - limit_a) < ONE_WAKEUP * abs(once_a)


def settled_since(
    history: History, from_s: float, resolution: Mapping[str, float], left_out: Sequence[tuple[float, float]] = ()
) -> tuple[Settled, str] | None:
    """Since when the drain has settled, and the channel that tells; the finest one that is within its range."""
    found: tuple[Settled, str] | None = None
    currents: list[str] = [role for role in ("drain_a", "battery_a") if role in history.roles]
    for role in currents or ["feed_v"]:
        if role not in history.roles:
            continue
        settled = settle(history.table(from_s, (role,)), role, resolution.get(role, 0.0), left_out=left_out)
        if settled is not None and (found is None or not math.isfinite(found[0].base_a)):
            found = (settled, role)
    return found


def mean_of(history: History, role: str, settled: Settled) -> float:
    """The mean over the settled stretch, wake-ups included."""
    x = history.points(role, settled.from_s, settled.to_s)[1]
    x = x[np.isfinite(x)]
    return float(x.mean()) if len(x) else math.nan


def fuse_out(sight: Sight) -> Look:
    """The drain fell as the fuse was pulled."""
    # longer than a wake-up, which is no fall as it ends
    levels = {role: sight.history.level(role, sight.since_s - CALM_S, sight.since_s) for role in DRAINS}
    # where the fall is from amperes, the finer channel has no level before it
    role = next((one for one in DRAINS if math.isfinite(levels[one] + sight.history.newest(one))), None)
    if role is None:
        return Look()
    before = levels[role]
    least = max(FUSE_SIGMAS * sigma(sight.history, role), FUSE_SHARE * abs(before), FUSE_LEAST_A)
    change = steady_change(sight, role, OUT_STANDS_S, least, before)
    if change is None or change[1] > -least:
        return Look()
    return Look(StepSeen(change[0], f"the drain fell by {_amount(-change[1])}", value=-change[1]))


def fuse_in(sight: Sight) -> Look:
    """The drain that fell as the fuse was pulled is back."""
    role = drain_role(sight.history)
    if role is None or not math.isfinite(sight.fallen_a):
        return Look(waiting="Enter when the fuse is back in")
    change = steady_change(sight, role, IN_STANDS_S, sight.fallen_a / 4)
    return Look(StepSeen(change[0], "the drain is back")) if change and change[1] > sight.fallen_a / 2 else Look()


def starting_up_s(history: History, in_s: float) -> float:
    """How long what got its fuse back at ``in_s`` must still be left alone, s; 0 once its current is calm again.

    The next pull needs a calm stretch before it, or the check cannot tell what it took away.
    """
    role = drain_role(history)
    if role is None or history.now_s - in_s > LONGEST_START_S:
        return 0.0
    started_s = started_up_s(history.table(in_s, (role,)), role, in_s, history.now_s)
    return max(started_s + HAND_S + CALM_BEFORE_S - history.now_s, 0.0)


def _amount(amps: float) -> str:
    return f"{number(amps * 1000)} mA" if abs(amps) < 1 else f"{amps:.1f} A"
