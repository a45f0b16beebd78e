"""Simulated logs on disk, made once for all tests that share them."""

import ctypes
import os
from collections.abc import Container, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import hypothesis
import numpy as np
import pytest
import scenarios
from scenarios import write_files
from serial_wire import Wire

from benchlog import standin

if TYPE_CHECKING:
    from playwright.sync_api import Browser


#: Files that take long, for whole logs, processes or browsers, and about how many seconds of one core, or of waiting:
#: the longest are begun first, so that no core waits at the end, and ``tests/run --quick`` leaves all of them out.
SLOW = {
    "test_guided_session": 45, "test_ctrl_c": 36, "test_pages_browser": 26, "test_pages_guided": 25, "test_cluster": 20,
    "test_guided_following": 20, "test_pages_season_browser": 18, "test_world": 18, "test_standin_behaviours": 17,
    "test_acceptance_live": 16, "test_verdicts": 16, "test_bucket": 15, "test_pages_safe": 15,
    "test_plan_page_browser": 15, "test_every_system": 14, "test_hard_knocks": 14, "test_fuse_walk": 13,
    "test_guided_bridge": 13, "test_report_browser": 13, "test_cli": 12, "test_full_disks": 12, "test_many": 12,
    "test_messages_store": 12, "test_recheck": 12, "test_rider_pty": 12, "test_standin_live": 12, "test_exit": 11,
    "test_store_ledger": 11, "test_avr": 10, "test_avr_recorded": 10, "test_listening": 10, "test_recording": 10,
    "test_season_breaks": 10, "test_avr_mishaps": 9, "test_charging": 9, "test_first_look": 9, "test_log_parts": 9,
    "test_outside": 9, "test_probe": 9, "test_causes": 8, "test_messages": 8, "test_packaging": 8,
    "test_pages_apart": 8, "test_random_rider": 8, "test_readers_properties": 8, "test_recording_faults": 8,
    "test_season_browser": 8, "test_truth_table": 8, "test_world_causes": 8, "test_zero": 8, "test_messages_many": 7,
    "test_pages_door": 6, "test_plan_page": 6, "test_store_import": 6, "test_world_table": 6, "test_bounds": 5,
    "test_bridge": 5, "test_causes_logs": 5, "test_find": 5, "test_gaps": 5, "test_sense": 5, "test_whole_check": 5,
    "test_firmware": 4, "test_folder_saved": 4, "test_foreign": 4, "test_messages_bench": 4, "test_messages_pages": 4,
    "test_process_wide": 4, "test_report": 4, "test_season_command": 4, "test_season_trend": 4, "test_standin": 4,
    "test_standin_from_plan": 4, "test_store": 4, "test_store_changes": 4, "test_store_engine": 4,
    "test_world_ngspice": 4, "test_world_shown": 4, "test_hearing": 3, "test_store_forged": 3, "test_store_verify": 3,
    "test_world_circuit": 3,
}  # fmt: skip


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--long`` runs all rows of the long tables; a few of each are always run."""
    parser.addoption("--long", action="store_true", help="also the tests marked long: the other rows of long tables")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark the slow files, begin with them, and leave the long tests to ``--long``."""
    left = [] if config.getoption("--long") else [item for item in items if item.get_closest_marker("long")]
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = [item for item in items if item not in set(left)]
    for item in items:
        if item.path.stem in SLOW:
            item.add_marker("slow")
    items.sort(key=lambda item: -SLOW.get(item.path.stem, 0))


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Where the slow files are left out they are not even read: each worker would import and list all of them."""
    if config.getoption("markexpr") != "not slow" or collection_path.stem not in SLOW:
        return None
    return None if any(collection_path.name in argument for argument in config.args) else True


def few(rows: Iterable[object], always: Container[object]) -> list[object]:
    """The rows of a long table: ``always`` those that stand for their kind, the others with ``--long``."""
    return [row if row in always else pytest.param(*_values(row), marks=pytest.mark.long) for row in rows]


def _values(row: object) -> tuple[object, ...]:
    return row if isinstance(row, tuple) else (row,)


@pytest.fixture(scope="session")
def long(request: pytest.FixtureRequest) -> bool:
    """Whether the long tables are run in full."""
    return bool(request.config.getoption("--long"))


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """What the tests of messages bring up: each entry of a module's ``PROVOKED`` by itself."""
    if "entry" in metafunc.fixturenames:
        metafunc.parametrize("entry", metafunc.module.PROVOKED)


# a busy machine is no failure of what is tested
hypothesis.settings.register_profile("benchlog", deadline=None)
hypothesis.settings.load_profile("benchlog")


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
        self.late, _ = write_files(acceptance(standin.SimulatedInstall(release_travel_ms=105.0)), folder, "late")
        self.plan.write_text(standin.plan_toml_of(standin.SimulatedInstall()), encoding="utf-8")


def acceptance(
    install: standin.SimulatedInstall | None = None, settle_s: float = 200.0, seed: int = 1
) -> standin.Simulation:
    """The acceptance run at 500 samples a second: half the rows of the usual one."""
    return scenarios._log(install, standin.acceptance_script(settle_s=settle_s), standin.fast_logger(500), seed)


def parked(drain_a: float, like: standin.Simulation | None = None, seed: int = 1) -> standin.Simulation:
    """Half half an hour with the key off; by the very logger of ``like`` where given."""
    drawn = None if like is None else like.drawn
    return standin.simulate(
        standin.SimulatedInstall(drain_a=drain_a),
        standin.parked_script(0.5),
        standin.slow_logger(5.0),
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
    from page_browser import chromium

    with chromium() as one:
        yield one


@pytest.fixture(scope="module")
def heard(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What was said by each entry of a module's ``PROVOKED``."""
    from messages import all_said

    return all_said(request.module.PROVOKED, tmp_path_factory)
