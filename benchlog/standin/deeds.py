"""What a person's one deed comes to on this bike: several presses of the starter, a switch pressed before the key.

The deeds that follow are done ahead of their time, and dropped where the person does something else before it comes.
"""

from collections.abc import Sequence
from dataclasses import replace

from benchlog.standin.install import SimulatedInstall
from benchlog.standin.script import Action, Do, Script

PRESSED_SHARE = 0.9  # of the time that the engine needs to fire, in a press of the starter that is let go too early
ENDS: tuple[Do, ...] = ("engine off", "key off")


def deeds_of(install: SimulatedInstall, action: Action, done: Sequence[Action]) -> list[Action]:
    """The action as this bike and its rider have it, in order of time; only the one that was asked for has its mark.

    Args:
        install: the bike.
        action: what is done now.
        done: what was done before, and still matters.
    """
    at = action.time_s
    if action.do == "crank" and not _last(done, "crank") > _last(done, "key on"):
        presses = [at + number * install.crank_again_s for number in range(install.crank_tries)]
        deeds = [replace(action, time_s=press, mark=action.mark and press == at) for press in presses]
        let_go_s = PRESSED_SHARE * install.crank_s
        deeds += [Action(press + let_go_s, "engine off", mark=False) for press in presses[:-1]]
        if install.stalls_after_s is not None:
            deeds.append(Action(presses[-1] + install.crank_s + install.stalls_after_s, "engine off", mark=False))
        return sorted(deeds, key=lambda deed: deed.time_s)
    if action.do == "key off" and install.kill_before_off_s and _last(done, "crank") > _last(done, *ENDS):
        off = replace(action, time_s=at + install.kill_before_off_s)
        return [Action(at, "engine off", mark=False), off]
    return [action]


def still_to_come(action: Action, done: Sequence[Action]) -> list[Action]:
    """What was done ahead of its time, and is dropped because of this action."""
    if action.do not in ("key on", *ENDS):
        return []
    return [one for one in done if one.time_s > action.time_s]


def as_done(install: SimulatedInstall, script: Script) -> Script:
    """The script with each action as this bike and its rider have it; what takes longer delays all that follows."""
    done: list[Action] = []
    late_s = 0.0
    for planned in sorted(script.actions, key=lambda act: act.time_s):
        action = replace(planned, time_s=planned.time_s + late_s)
        dropped = still_to_come(action, done)
        done = [one for one in done if one not in dropped]
        deeds = deeds_of(install, action, done)
        late_s += max(deed.time_s for deed in deeds if deed.do == action.do) - action.time_s
        done += deeds
    return replace(script, actions=tuple(done), end_s=script.end_s + late_s)


def _last(done: Sequence[Action], *what: Do) -> float:
    """When one of these was last done, s; long ago where never."""
    return max((act.time_s for act in done if act.do in what), default=-1.0)
