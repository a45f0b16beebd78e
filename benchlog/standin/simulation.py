"""A simulated log with its truth: an install, a script and a logger put together."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from benchlog.standin.channels import at_logger
from benchlog.standin.deeds import as_done
from benchlog.standin.install import SimulatedInstall
from benchlog.standin.logger import DrawnErrors, LoggerSpec, draw, read, to_logger_toml
from benchlog.standin.planning import LIMITS, plan_toml_of
from benchlog.standin.script import Script
from benchlog.standin.timeline import timeline_of
from benchlog.standin.truth import Truth, truth_of

if TYPE_CHECKING:
    import pandas as pd

UNSTATED_SETTLED_S = 60.0  # how long a key-off span must stay settled where the plan does not say


@dataclass(frozen=True, slots=True)
class Simulation:
    """One simulated log.

    Attributes:
        frame: ``time_s``, one column a role in canonical unit and sign (NaN where over range), ``mark`` ("" or text).
        over: role -> True where over range; only roles that have any.
        truth: true values, times counted from the log's first sample.
        logger_toml, plan_toml: the files that belong to it.
        spec, drawn: the logger, and the errors this one really has.
        install, script: what was simulated; the script moved by the sampling phase, and as the bike
            and its rider have it (``deeds``).
    """

    frame: "pd.DataFrame"
    over: Mapping[str, npt.NDArray[np.bool_]]
    truth: Truth
    logger_toml: str
    plan_toml: str
    spec: LoggerSpec
    drawn: Mapping[str, DrawnErrors]
    install: SimulatedInstall
    script: Script


def simulate(
    install: SimulatedInstall,
    script: Script,
    spec: LoggerSpec,
    rng: np.random.Generator,
    limits: Mapping[str, float | str | None] | None = None,
    drawn: Mapping[str, DrawnErrors] | None = None,
) -> Simulation:
    """Log what the script does to the install.

    Args:
        install: true parameters.
        script: what is done when.
        spec: the logger; its own errors are drawn from ``rng``.
        rng: the only source of chance.
        limits: changes to the plan's limits (``planning.LIMITS``).
        drawn: the errors of a logger that logged before (``Simulation.drawn``), to log with that one again.
    """
    import pandas as pd  # heavy; only those who simulate pay for it

    phase_s = float(rng.uniform(0.0, 1.0 / spec.rate_hz))
    if spec.random_phase:
        script = script.shifted(phase_s)
    script = as_done(install, script)
    line = timeline_of(install, script)
    time = np.arange(int(script.end_s * spec.rate_hz)) / spec.rate_hz
    reached = at_logger(line, time, spec.roles)
    columns: dict[str, object] = {"time_s": time}
    over: dict[str, npt.NDArray[np.bool_]] = {}
    own: dict[str, DrawnErrors] = {}
    for channel in spec.channels:
        its_own = draw(channel, rng)  # drawn in any case, so that the noise after it is the same
        own[channel.role] = (drawn or {}).get(channel.role, its_own)
        value, beyond = read(channel, own[channel.role], reached[channel.role], rng)
        columns[channel.role] = value
        if beyond.any():
            over[channel.role] = beyond > 0
    columns["mark"] = _marks(script, time)
    settled_s = {**LIMITS, **(limits or {})}["settle_max_s"]
    return Simulation(
        frame=pd.DataFrame(columns),
        over=over,
        truth=truth_of(line, UNSTATED_SETTLED_S if settled_s is None else float(settled_s)),
        logger_toml=to_logger_toml(spec),
        plan_toml=plan_toml_of(install, limits),
        spec=spec,
        drawn=own,
        install=install,
        script=script,
    )


def _marks(script: Script, time_s: npt.NDArray[np.float64]) -> list[str]:
    """Each mark at the first sample after it was set; a second one at the same sample goes to the next."""
    marks = [""] * len(time_s)
    for act in sorted(script.actions, key=lambda action: action.time_s):
        row = int(np.searchsorted(time_s, act.time_s + script.mark_late_s))
        while row < len(marks) and marks[row]:
            row += 1
        if act.mark and row < len(marks):
            marks[row] = act.marked_as
    return marks
