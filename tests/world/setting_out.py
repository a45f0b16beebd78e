"""Setting a case out: bike, session and logger with their behaviours and fault, drawn but not yet solved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .behaviours_bike import BIKE
from .behaviours_engine import ENGINE
from .behaviours_install import INSTALL
from .bench import Bench, Twist, add_sleep, bind
from .faults import FAULTS
from .grades import draw_logger
from .install import draw_install
from .logger import Logger
from .plan import make_plan
from .script import draw_script
from .shift import crop

BEHAVIOURS: tuple[Twist, ...] = ENGINE + BIKE + INSTALL
CLASHES = (
    {"clipped_declared", "clipped_silent"},
    {"no_suppression", "lamp_on_trigger", "pulsed_lamp_trigger"},
    {"park_light", "never_sleeps"},
    {"push_start", "failed_crank", "several_cranks", "hot_restart"},
    {"repeated_readings", "averaged_readings", "packet_stamps", "jitter"},
)


@dataclass
class SetOut:
    """What a case is made of before its circuit is solved, which takes nearly all of the time.

    `start` is where its simulation begins, s.
    """

    bench: Bench
    applied: tuple[str, ...]
    grade: str
    start: float


def set_out(
    seed: int,
    behaviours: tuple[str, ...] | None,
    n_behaviours: tuple[int, int] = (0, 3),
    fault: str | None = None,
    grade: str | None = None,
    template: str | None = None,
    marks: bool | None = None,
) -> SetOut:
    """Draw it; the arguments are those of `draw`."""
    rng = np.random.default_rng(seed)
    inst = draw_install(rng)
    settle = float(rng.uniform(1.0, 12.0))
    drawn_grade = str(
        rng.choice(["fast5", "mid4", "slow2", "random", "fast_all", "mid6"], p=[0.4, 0.15, 0.1, 0.2, 0.1, 0.05])
    )
    grade = grade or drawn_grade
    if grade == "night":
        template = "night"
    script = draw_script(rng, len(inst.circuits), settle, template)
    spec = draw_logger(rng, grade, len(inst.circuits))
    plan = make_plan(rng, inst, script.settle_max_s)
    bench = Bench(rng, inst, script, spec, plan, settle)
    names = list(behaviours) if behaviours is not None else _pick(rng, n_behaviours)
    known = {x.name: x for x in BEHAVIOURS}
    twists = [known[n] for n in names]
    applied = [x.name for x in twists if x.stage == "script" and x.apply(bench)]
    add_sleep(bench)
    bind(bench)
    applied += [x.name for x in twists if x.stage == "circuit" and x.apply(bench)]
    if fault:
        wrong = next(x for x in FAULTS if x.name == fault)
        if not wrong.apply(bench):
            raise ValueError(f"{fault} does not fit a session of the template {script.template}")
        script.say(0.0, f"fault: {fault}")
    applied += [x.name for x in twists if x.stage == "logger" and x.apply(bench)]
    if marks is not None:
        script.marked = marks
    return SetOut(bench, tuple(applied), grade, crop(bench))


def draw_only_logger(seed: int, grade: str, behaviours: tuple[str, ...]) -> Logger:
    """The logger of the case that `draw` gives for the same arguments."""
    return set_out(seed, behaviours, grade=grade).bench.logger


def _pick(rng: np.random.Generator, count: tuple[int, int]) -> list[str]:
    n = int(rng.integers(count[0], count[1] + 1))
    names: list[str] = []
    for k in rng.permutation(len(BEHAVIOURS)):
        name = BEHAVIOURS[k].name
        if len(names) < n and not any(name in c and c & set(names) for c in CLASHES):
            names.append(name)
    return names
