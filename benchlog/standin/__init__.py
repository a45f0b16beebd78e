"""A simulated install: logs with a known truth, for tests, sample data and a stand-in logger.

    from pathlib import Path

    import numpy as np
    from benchlog.standin import SimulatedInstall, acceptance_script, fast_logger, simulate, with_fault, write_csv

    sim = simulate(SimulatedInstall(), acceptance_script(), fast_logger(1000), np.random.default_rng(1))
    sim.frame                     # time_s, a column a role (NaN where over range), mark
    sim.truth["relay_pull_in"]    # ms; every check id has its true value, None where not seen
    sim.truth.key_events          # ((30.0003, "on"), (84.5003, "off"))
    write_csv(sim, Path("a.csv")) # and a.logger.toml beside it
    Path("plan.toml").write_text(sim.plan_toml)

    bad = simulate(with_fault(SimulatedInstall(), "feed_resistance"), acceptance_script(), fast_logger(), rng)
    busy = with_behaviours(SimulatedInstall(), ["flashers", "key_bounce"])
    real = simulate(busy, acceptance_script(), fast_logger(), rng)

Anything can be changed with ``dataclasses.replace``: the install's parameters, a script's actions, a
logger's channels (``spec.changed("battery_v", resolution=0.1)``). The same ``rng`` gives the same log.

A bike that runs on and is acted on, for a stream instead of a whole log (``benchlog standin`` puts it on a port):

    live = LiveBike(SimulatedInstall(), live_logger(500), np.random.default_rng(1))
    live.act("key on")            # s; the marks of a log are the words
    live.samples(100).values      # role -> the next 100 readings

Circuits draw a constant current whatever the voltage, and the coil a constant one once pulled in.
"""

from benchlog.standin.behaving import NoSuchBehaviour, with_behaviours
from benchlog.standin.behaviours import BEHAVIOURS, Behaviour
from benchlog.standin.faults import FAULTS, NoSuchFault, with_fault
from benchlog.standin.install import BikeLoad, SimulatedCircuit, SimulatedInstall, WakeUps
from benchlog.standin.logger import (
    ChannelSpec,
    LoggerSpec,
    channel,
    fast_logger,
    live_logger,
    slow_logger,
    to_logger_toml,
)
from benchlog.standin.planning import LIMITS, plan_toml_of
from benchlog.standin.script import Action, Script, acceptance_script, key_cycles, parked_script
from benchlog.standin.simulation import Simulation, simulate
from benchlog.standin.streaming import CannotDo, LiveBike, Window
from benchlog.standin.truth import Truth
from benchlog.standin.writing import WrittenForm, csv_text, write_csv

__all__ = [
    "BEHAVIOURS",
    "FAULTS",
    "LIMITS",
    "Action",
    "Behaviour",
    "BikeLoad",
    "CannotDo",
    "ChannelSpec",
    "LiveBike",
    "LoggerSpec",
    "NoSuchBehaviour",
    "NoSuchFault",
    "Script",
    "SimulatedCircuit",
    "SimulatedInstall",
    "Simulation",
    "Truth",
    "WakeUps",
    "Window",
    "WrittenForm",
    "acceptance_script",
    "channel",
    "csv_text",
    "fast_logger",
    "key_cycles",
    "live_logger",
    "parked_script",
    "plan_toml_of",
    "simulate",
    "slow_logger",
    "to_logger_toml",
    "with_behaviours",
    "with_fault",
    "write_csv",
]
