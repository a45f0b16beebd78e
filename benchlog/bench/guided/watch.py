"""Has it been done yet? Each question is answered from the stream alone: no keys, no clock, no files."""

from collections.abc import Callable, Mapping

import numpy as np

from benchlog.analysis.cranking import LEAST_DIP_ALONE_V, LEAST_DIP_BESIDE_V, LEAST_DIP_V, LEAST_STARTER_A
from benchlog.analysis.key_state import KEY_ON_A
from benchlog.analysis.running import LEAST_SHARE_A, RAISED_V
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.bench.guided.block import of_block
from benchlog.bench.guided.history import History
from benchlog.bench.guided.moves import is_up, moved, pulsing_change, steady_change
from benchlog.bench.guided.sight import Look, Question, Sight, StepSeen
from benchlog.bench.guided.watch_drain import LINES, NAMES, asleep, fuse_in, fuse_out, rested

#: A current that no line bears out has moved once it has been steady for this long, s; or for this long where a line
#: that should have fallen stays up.
STEADY_S, STUBBORN_S = 1.0, 4.0
#: A battery that nothing else tells of has moved by this much as the key was turned, V (common practice, no source).
KEY_ON_V = 0.06
#: A slot's step this near to its plan, share of it, is taken once it stood for the shorter time, s, else the longer.
NEAR_SHARE, NEAR_STANDS_S, FAR_STANDS_S = 0.4, 0.6, 1.1
#: Whose a load is shows once its inrush is over, s.
STANDS_S = 0.3
#: Less than this is no load that came on: share of the plan, and A.
LEAST_SHARE, LEAST_STEP_A = 0.15, 0.1
#: The starter has let go once the battery has stayed up again for this long, s.
RECOVERED_S = 0.5
ENGINE_S = 2.0


def key_is_on(history: History) -> bool:
    """Whether the key is on by what the stream shows now: by the first line that is logged, else by the current."""
    for role in LINES:
        if role in history.roles:
            return is_up(history, role)
    return abs(history.newest("battery_a", STEADY_S)) > KEY_ON_A


def key_on(sight: Sight) -> Look:
    """The key was turned on: a switched line rose, or the bike's own load came on."""
    for role in LINES:
        at_s = moved(sight, role, up=True)
        if at_s is not None:
            return Look(StepSeen(at_s, f"{NAMES[role]} rose"))
    silent = [role for role in ("key_v", "trigger_v") if role in sight.history.roles]
    change = steady_change(sight, "battery_a", STEADY_S)
    if change is not None and change[1] > KEY_ON_A:
        odd = ""
        if silent and not any(sight.before.of(role) > UP_ABOVE_V for role in silent):
            odd = "the trigger did not rise with it: is its clip on terminal 86 (DIN 72552), and is that circuit live?"
        elif silent:
            odd = "the trigger was live before: the key does not switch it, or its clip is on another wire"
        # a line that is on its way gets the first word
        waits_s = STEADY_S if silent else 0.0
        if sight.history.now_s - change[0] >= STEADY_S + waits_s:
            return Look(StepSeen(change[0], "the battery's current rose", odd))
    return _by_voltage(sight, "fell", lambda change_v: change_v < -KEY_ON_V)


def key_off(sight: Sight) -> Look:
    """The key was turned off: a switched line fell; else the current changed though the lines stay up."""
    for role in LINES:
        at_s = moved(sight, role, up=False)
        if at_s is not None:
            stays = [NAMES[other] for other in LINES if is_up(sight.history, other)]
            odd = stays_up(stays)
            return Look(StepSeen(at_s, f"{NAMES[role]} fell", odd))
    stubborn = [NAMES[role] for role in LINES if is_up(sight.history, role)]
    lasts_s = STUBBORN_S if stubborn else STEADY_S
    for role, least in (("battery_a", KEY_ON_A), ("battery_v", RAISED_V)):
        change = steady_change(sight, role, lasts_s)
        if change is not None and abs(change[1]) > least:
            odd = stays_up(stubborn)
            what = f"the battery's {'current' if role == 'battery_a' else 'voltage'} changed"
            unsure = f"{what}, but {odd}: is the key off?" if odd else ""
            return Look(StepSeen(change[0], what, odd, unsure=unsure.replace(" with the key off", "")))
    return _by_voltage(sight, "rose", lambda change_v: change_v > KEY_ON_V)


def stays_up(names: list[str]) -> str:
    """What is odd about lines that stay up with the key off; "" for none."""
    if not names:
        return ""
    return f"{' and '.join(names)} {'stay' if len(names) > 1 else 'stays'} up with the key off"


def _by_voltage(sight: Sight, way: str, is_it: Callable[[float], bool]) -> Look:
    """Where the battery's voltage is all there is."""
    if any(role in sight.history.roles for role in (*LINES, "battery_a")):
        return Look()
    change = steady_change(sight, "battery_v", STEADY_S)
    return (
        Look(StepSeen(change[0], f"the battery's voltage {way}")) if change is not None and is_it(change[1]) else Look()
    )


def slot_on(sight: Sight) -> Look:
    """The circuit came on: its own current, else a step of the feed's or the battery's current."""
    least = max(LEAST_STEP_A, LEAST_SHARE * sight.planned_a)
    own = f"slot{sight.slot}_a"
    for role, by in (
        (own, "its own current"),
        ("feed_a", "the feed's current"),
        ("battery_a", "the battery's current"),
    ):
        if role not in sight.history.roles:
            continue
        for stands_s in (NEAR_STANDS_S, FAR_STANDS_S):
            change = steady_change(sight, role, stands_s) or pulsing_change(sight, role)
            if change is None or change[1] < least:
                continue
            at_s, amps = change
            if role == "battery_a" and of_block(sight.history, sight.before, at_s + STANDS_S, amps) is False:
                return Look(waiting=f"{amps:.1f} A came on elsewhere on the bike, not at the fuse block")
            off = abs(amps - sight.planned_a) / sight.planned_a if sight.planned_a else 0.0
            if off <= NEAR_SHARE:
                return Look(StepSeen(at_s, f"{by} rose by {amps:.1f} A", value=amps))
            if stands_s == FAR_STANDS_S and sight.history.now_s - at_s >= FAR_STANDS_S:
                odd = f"{sight.planned_a:.1f} A is planned"
                return Look(StepSeen(at_s, f"{by} rose by {amps:.1f} A", odd, amps))
        return Look()
    return Look()


def slot_off(sight: Sight) -> Look:
    """The circuit went off again."""
    least = max(LEAST_STEP_A, LEAST_SHARE * sight.planned_a)
    for role in (f"slot{sight.slot}_a", "feed_a", "battery_a"):
        if role in sight.history.roles:
            change = steady_change(sight, role, NEAR_STANDS_S)
            return (
                Look(StepSeen(change[0], "the current fell")) if change is not None and change[1] < -least else Look()
            )
    return Look()


def crank(sight: Sight) -> Look:
    """The starter turned, and has let go again."""
    starter_s = cranking_since(sight)
    if starter_s is None:
        return Look()
    if not _let_go(sight, starter_s):
        return Look(waiting="the starter turns; hold it until the engine fires")
    odd = ""
    if sight.history.was_over("battery_a", starter_s):
        odd = "the starter's current was beyond the logger's range; bypass the shunt before the next start"
    return Look(StepSeen(starter_s, "the battery's voltage dipped", odd))


def cranking_since(sight: Sight) -> float | None:
    """When the starter began to turn, s; None where it has not."""
    history, volts = sight.history, sight.before.of("battery_v")
    t, low = history.points("battery_v", sight.since_s, what="low")
    current_t, amps = history.points("battery_a", sight.since_s, what="high")
    with np.errstate(invalid="ignore"):
        strong = amps > sight.before.of("battery_a") + LEAST_STARTER_A
    strong |= history.points("battery_a", sight.since_s, what="over")[1] > 0
    if not len(t):
        return float(current_t[np.argmax(strong)]) if strong.any() else None
    least = LEAST_DIP_V if len(amps) else LEAST_DIP_ALONE_V
    with np.errstate(invalid="ignore"):
        deep = low < volts - least
        if len(amps) == len(low):
            deep |= (low < volts - LEAST_DIP_BESIDE_V) & strong
    return float(t[np.argmax(deep)]) if deep.any() else None


def _let_go(sight: Sight, starter_s: float) -> bool:
    history = sight.history
    t, x = history.points("battery_v", starter_s, what="low")
    if not len(t):
        t, x = history.points("battery_a", starter_s, what="high")
        up = x < sight.before.of("battery_a") + LEAST_STARTER_A
    else:
        up = x > sight.before.of("battery_v") - 0.5 * LEAST_DIP_V
    late = t > history.now_s - RECOVERED_S - 0.2
    return bool(late.any() and up[late].all() and history.now_s - starter_s > RECOVERED_S)


def engine_on(sight: Sight) -> Look:
    """The engine runs: the battery's voltage is raised, or the alternator carries a share of the load."""
    history, before = sight.history, sight.before_crank
    if before is None:
        return Look()
    from_s = history.now_s - ENGINE_S
    if from_s < sight.since_s - ENGINE_S:
        return Look()
    t, volts = history.points("battery_v", from_s - 0.1)
    if len(t) and t[-1] - t[0] >= 0.8 * ENGINE_S and np.all(volts > before.of("battery_v") + RAISED_V):
        return Look(StepSeen(float(t[0]), "the battery's voltage is raised"))
    t, amps = history.points("battery_a", from_s - 0.1)
    share_a = before.of("battery_a") - amps
    if len(t) and t[-1] - t[0] >= 0.8 * ENGINE_S and np.all(share_a > max(LEAST_SHARE_A, 0.1)):
        return Look(StepSeen(float(t[0]), "the alternator carries a share of the load"))
    return Look()


def engine_off(sight: Sight) -> Look:
    """The engine stopped: a voltage that was raised, then or since, fell back and stands."""
    t, volts = sight.history.points("battery_v", sight.since_s - STEADY_S)
    late = t > sight.history.now_s - STEADY_S - 0.15
    if not np.isfinite(volts).all() or late.sum() < 2 or np.ptp(volts[late]) > RAISED_V / 4:
        return Look()
    high = volts > float(np.median(volts[late])) + RAISED_V / 2
    return Look(StepSeen(float(t[high][-1]), "the battery's voltage fell")) if high.any() else Look()


#: What a step waits for -> the question that tells.
QUESTIONS: Mapping[str, Question] = {
    "key_on": key_on,
    "key_off": key_off,
    "slot_on": slot_on,
    "slot_off": slot_off,
    "crank": crank,
    "engine_on": engine_on,
    "engine_off": engine_off,
    "rested": rested,
    "asleep": asleep,
    "fuse_out": fuse_out,
    "fuse_in": fuse_in,
    "told": lambda _: Look(),
    "at_once": lambda sight: Look(StepSeen(sight.history.now_s, "")),
}
