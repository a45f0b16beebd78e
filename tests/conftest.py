"""Simulated logs on disk, made once for all tests that share them."""

import ctypes
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import scenarios
from scenarios import write_files
from serial_wire import Wire

from benchlog.standin import (
    SimulatedInstall,
    Simulation,
    acceptance_script,
    fast_logger,
    parked_script,
    plan_toml_of,
    simulate,
    slow_logger,
)

if TYPE_CHECKING:
    from playwright.sync_api import Browser


#: Files that take long, for whole logs, processes or browsers, the longest first: so begun, no core waits at the end.
#: ``tests/run --quick`` leaves them out.
SLOW = (
    *("test_world", "test_verdicts", "test_causes_logs", "test_acceptance_live", "test_standin_behaviours"),
    *(
        "test_standin_live",
        "test_full_disks",
        "test_standin_from_plan",
        "test_ctrl_c",
        "test_pages_browser",
        "test_pages_guided",
    ),
    *(
        "test_pages_season_browser",
        "test_report_browser",
        "test_season_browser",
        "test_first_look",
        "test_world_ngspice",
    ),
    *("test_world_causes", "test_world_table", "test_world_shown", "test_truth_table", "test_pages_safe", "test_exit"),
    *("test_store_verify", "test_store_forged", "test_messages", "test_messages_store", "test_messages_pages"),
    *("test_messages_bench", "test_messages_many", "test_season_trend", "test_standin", "test_store", "test_charging"),
    *(
        "test_cluster",
        "test_many",
        "test_probe",
        "test_every_system",
        "test_hard_knocks",
        "test_recheck",
        "test_packaging",
    ),
    *("test_guided_session", "test_recording", "test_recording_faults", "test_pages_apart", "test_pages_door"),
    *("test_bounds", "test_find", "test_foreign", "test_firmware", "test_store_engine", "test_report", "test_cli"),
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the slow files, and begin with them."""
    rank = {name: n for n, name in enumerate(SLOW)}
    for item in items:
        if item.path.stem in rank:
            item.add_marker("slow")
    items.sort(key=lambda item: rank.get(item.path.stem, len(rank)))


class Samples:
    """Files of a good install, each written once.

    Attributes:
        folder: where they lie. log, plan: a fast log of the acceptance run and its plan.
        slow, before: half an hour with the key off, after and before the install, by one and the same logger.
        late: the fast log of a relay that lets go late.
    """

    def __init__(self, folder: Path) -> None:
        """Write them all."""
        self.folder = folder
        self.sim = acceptance()
        self.log, self.plan = write_files(self.sim, folder, "fast")
        after = parked(0.0006)
        self.slow, _ = write_files(after, folder, "slow")
        self.before, _ = write_files(parked(0.0005, like=after), folder, "before")
        self.late, _ = write_files(acceptance(SimulatedInstall(release_travel_ms=105.0)), folder, "late")
        self.plan.write_text(plan_toml_of(SimulatedInstall()), encoding="utf-8")


def acceptance(install: SimulatedInstall | None = None, settle_s: float = 200.0, seed: int = 1) -> Simulation:
    """The acceptance run at 500 samples a second: half the rows of the usual one."""
    return scenarios._log(install, acceptance_script(settle_s=settle_s), fast_logger(500), seed)


def parked(drain_a: float, like: Simulation | None = None, seed: int = 1) -> Simulation:
    """Half half an hour with the key off; by the very logger of ``like`` where given."""
    drawn = None if like is None else like.drawn
    return simulate(
        SimulatedInstall(drain_a=drain_a),
        parked_script(0.5),
        slow_logger(5.0),
        np.random.default_rng(seed),
        drawn=drawn,
    )


@pytest.fixture(scope="session")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Samples:
    """The shared files; tests write nothing there."""
    return Samples(tmp_path_factory.mktemp("samples"))


# from linux/prctl.h and linux/capability.h
_DROP_FROM_BOUNDING_SET = 24
_DAC_OVERRIDE, _DAC_READ_SEARCH = 1, 2


def without_override() -> None:
    """For ``preexec_fn``: let root obey the permissions of files, as everyone else does.

    Another user would do as well, but may not be able to start a Python that lies in root's home.
    """
    if os.geteuid() != 0:
        return
    libc = ctypes.CDLL(None, use_errno=True)
    for right in (_DAC_OVERRIDE, _DAC_READ_SEARCH):
        if libc.prctl(_DROP_FROM_BOUNDING_SET, right, 0, 0, 0) != 0:
            raise OSError(ctypes.get_errno(), "root cannot give up its right to read everything")


@pytest.fixture
def own_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Live states of tests stay among themselves."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))


@pytest.fixture
def wire(tmp_path: Path) -> Iterator[Wire]:
    """A cable."""
    made = Wire(tmp_path)
    yield made
    made.close()


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    """The machine's Chromium; a machine without one fails these tests, since nothing else proves the pages."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def heard(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What was said by each entry of a module's ``PROVOKED``."""
    from messages import all_said

    return all_said(request.module.PROVOKED, tmp_path_factory)
