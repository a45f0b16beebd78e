"""The load steps of each key-on, and whose load each is: the fuse block's or the bike's own."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from benchlog.analysis.load_steps import LoadStep
from benchlog.analysis.plateaus import Plateau
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.analysis.witness import PathStep, judge_steps
from benchlog.core.uncertainty import combine, rectangular
from benchlog.examine.context import LogContext
from benchlog.examine.steady import DROP, LIFT, new_pulse
from benchlog.plan.paths import feed_path, ground_path

#: A step of the battery's current within this time of a key-on is the bike's own, s.
KEY_REACH_S = 0.5
#: A path has at least this share of its wire's planned resistance, 1; where no wire is planned, so much, Ω (from
#: memory: a relay's contact and a blade fuse have more, a ring terminal and a hand's width of wire too).
WIRE_SHARE = 0.5
LEAST_OHM: Mapping[str, float] = {DROP: 0.002, LIFT: 0.0005}
#: Loads answer to a change of voltage in proportion, or up to so much more (a lamp less, a motor more).
ANSWER = 1.5
#: A sag that is not logged, relative (a step of some amperes on a battery of some 20 mΩ).
UNSEEN_SAG = 0.01
#: Why a step's size may be wrong.
ANOTHER_BESIDE = "another load seems to have come or gone with it: feed and ground do not step in one ratio"
#: Standard uncertainty of a path's voltage where the logger states no accuracy, V.
UNSTATED_U_V = 0.002


@dataclass(frozen=True, slots=True)
class Stepped:
    """One load step between two steady stretches.

    Attributes:
        step: its size, and whose it is. before, after: the stretches that it was taken from.
    """

    step: LoadStep
    before: Plateau
    after: Plateau


@dataclass(frozen=True, slots=True)
class AllSteps:
    """The steps of a log.

    Attributes:
        groups: one a key-on (or part of one), in time order.
        role: the current channel behind them.
        ratios: path (``DROP``, ``LIFT``) -> Ω as the steps show it; a path that shows nothing is absent.
    """

    groups: tuple[tuple[Stepped, ...], ...]
    role: str
    ratios: Mapping[str, float]


def find_steps(
    bench: LogContext, groups: Sequence[Sequence[Plateau]], role: str, key_on_s: Sequence[float]
) -> AllSteps:
    """Changes of load between neighbouring steady stretches, each with its owner.

    Args:
        groups: the steady stretches by ``role``, one group a key-on.
        key_on_s: a step across one of these times is the bike's own load, whatever comes on beside it, and is left out.
    """
    accuracy = bench.accuracy.get(role)
    rounding = math.sqrt(2) * accuracy.resolution_u if accuracy else 0.0
    found = [
        [
            _step(before, after, role, rounding)
            for before, after in pairwise(group)
            if not any(before.to_s - KEY_REACH_S <= at <= after.from_s + KEY_REACH_S / 5 for at in key_on_s)
            and not any(before.to_s <= crank.to_s and crank.from_s <= after.from_s for crank in bench.story.cranks)
            and not _answers(before, after, role)
            # as the contact closes or opens, the bike's own loads come and go with the key
            and (role == "feed_a" or live(before) == live(after))
        ]
        for group in groups
    ]
    if role == "feed_a":
        mine = tuple(tuple(replace(one, step=replace(one.step, owner="block")) for one in group) for group in found)
        return AllSteps(mine, role, {})
    flat = [one for group in found for one in group]
    paths = {name: [_path_step(bench, name, one) for one in flat] for name in (DROP, LIFT)}
    judged = judge_steps([one.step.amps for one in flat], [one.step.u for one in flat], paths, least_ohm(bench))
    verdicts = iter(judged.verdicts)
    owned = []
    for group in found:
        steps = []
        for one in group:
            verdict = next(verdicts)
            step = replace(one.step, owner=verdict.owner)
            if verdict.owner == "both":
                step = replace(step, amps=verdict.block_a, u=verdict.u_a, answer_a=0.0)
            if verdict.alone and step.doubtful is None:
                step = replace(step, doubtful=ANOTHER_BESIDE)
            steps.append(replace(one, step=step))
        owned.append(tuple(steps))
    return AllSteps(tuple(owned), role, judged.ratios)


def _step(before: Plateau, after: Plateau, role: str, rounding_u: float) -> Stepped:
    a, b = before.readings[role], after.readings[role]
    amps = b.value - a.value
    peak, pulse_u, doubtful = new_pulse(before, after, amps)
    answer = _answer_a(before, after, a.value, role)
    unseen = rectangular(UNSEEN_SAG * abs(a.value)) if answer is None else rectangular(answer)
    u = combine(a.u, b.u, rounding_u, pulse_u, unseen)
    step = LoadStep(
        after.from_s,
        amps,
        u,
        before.sustained_from_s,
        after.to_s,
        peak_a=peak,
        doubtful=doubtful,
        since_s=before.to_s,
        answer_a=answer or 0.0,
    )
    return Stepped(step, before, after)


def _answers(before: Plateau, after: Plateau, role: str) -> bool:
    """Whether nothing was switched: the loads that are on answer to a change of voltage that another cause has made.

    A step makes a battery sag far less than in proportion; the alternator's cut-in, or an engine that revs, does.
    """
    a, b = before.readings.get("battery_v"), after.readings.get("battery_v")
    if a is None or b is None or a.value < UP_ABOVE_V:
        return False
    before_a, after_a = before.readings[role].value, after.readings[role].value
    return abs(after_a - before_a) < ANSWER * max(abs(before_a), abs(after_a)) * abs(b.value - a.value) / a.value


def _answer_a(before: Plateau, after: Plateau, amps: float, role: str) -> float | None:
    """By how much the loads that were on before would draw less if they answered the sag in proportion, A.

    None where no voltage is logged. The block's circuits have the feed's drop before them, the bike's own do not.
    """
    falls = []
    for volts in ("feed_v",) if role == "feed_a" and "feed_v" in before.readings else ("battery_v", "feed_v"):
        a, b = before.readings.get(volts), after.readings.get(volts)
        if a is not None and b is not None and min(a.value, b.value) >= UP_ABOVE_V:
            falls.append((a.value - b.value) / a.value)
    return max(amps, 0.0) * sum(falls) / len(falls) if falls else None


def live(plateau: Plateau) -> bool:
    """Whether the feed is live on a stretch; where ``feed_v`` is not logged it is taken to be."""
    feed, battery = plateau.readings.get("feed_v"), plateau.readings.get("battery_v")
    if feed is None:
        return True
    return feed.value > (0.5 * battery.value if battery else UP_ABOVE_V)


def _path_step(bench: LogContext, path: str, one: Stepped) -> PathStep | None:
    a, b = one.before.readings.get(path), one.after.readings.get(path)
    if a is None or b is None or not live(one.after):
        return None
    return PathStep(b.value - a.value, path_step_u(bench, path, one))


def path_step_u(bench: LogContext, path: str, one: Stepped) -> float:
    """Standard uncertainty of the change of a path's voltage over a step, V."""
    a, b = one.before.readings[path], one.after.readings[path]
    parts = [a.u, b.u]
    for role in ("battery_v", "feed_v") if path == DROP else ("ground_v",):
        accuracy = bench.accuracy.get(role)
        parts.append(math.sqrt(2) * accuracy.resolution_u if accuracy else UNSTATED_U_V)
    if path == DROP:
        parts.append(
            gain_apart(bench) * abs(one.after.readings["battery_v"].value - one.before.readings["battery_v"].value)
        )
    return combine(*parts)


def gain_apart(bench: LogContext) -> float:
    """Standard uncertainty of how far the gains of ``battery_v`` and ``feed_v`` lie apart, relative."""
    battery, feed = bench.accuracy.get("battery_v"), bench.accuracy.get("feed_v")
    if battery is None or feed is None:
        return 0.005
    return math.hypot(battery.gain_rel, feed.gain_rel) / math.sqrt(3)


def least_ohm(bench: LogContext) -> dict[str, float]:
    """Path -> a resistance that it has at the least, Ω."""
    planned = {DROP: feed_path(bench.plan), LIFT: ground_path(bench.plan)}
    return {
        name: LEAST_OHM[name] if path is None else max(WIRE_SHARE * path.wire_mohm / 1000, LEAST_OHM[name])
        for name, path in planned.items()
    }
