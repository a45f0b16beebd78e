"""The state of a stopped run: a small file beside its log, so that the test can be resumed later."""

import json
import math
from dataclasses import asdict, dataclass
from pathlib import Path

from benchlog.bench.guided.history import Before
from benchlog.bench.guided.memory import Memory
from benchlog.core.errors import BenchlogError, reason_of
from benchlog.core.files import write_whole

_SUFFIX = ".steps.json"
_VERSION = 1
_ANEW = "start a new test without --resume"


@dataclass(frozen=True, slots=True)
class Stopped:
    """A run that stopped: its bike, its log, and where it stands."""

    bike: str
    log: Path
    memory: Memory


def state_path(log: Path) -> Path:
    """The file beside a log: ``a.steps.json`` for ``a.csv``."""
    return log.with_name(log.name.removesuffix(log.suffix) + _SUFFIX)


def save(log: Path, bike: str, memory: Memory) -> None:
    """Save where the run stands; whole or not at all.

    Raises:
        BenchlogError: the folder cannot be written to.
    """
    plain = asdict(memory)
    for name in ("key_off_s", "wakes_every_s"):  # JSON has no NaN
        plain[name] = plain[name] if math.isfinite(plain[name]) else None
    plain["fallen_a"] = {slot: amps for slot, amps in memory.fallen_a.items() if math.isfinite(amps)}
    if memory.before_crank is not None:
        levels = {role: x for role, x in memory.before_crank.levels.items() if math.isfinite(x)}
        plain["before_crank"] = {"at_s": memory.before_crank.at_s, "levels": levels}
    text = json.dumps({"version": _VERSION, "bike": bike, "log": log.name, "memory": plain}, indent=1)
    write_whole(state_path(log), text + "\n", what="the state of the test")


def load(log: Path) -> Stopped:
    """Where the run with this log stands.

    Raises:
        BenchlogError: there is none, or it cannot be read.
    """
    path = state_path(log)
    try:
        plain = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise BenchlogError(
            f"{path}: no such file, so there is no stopped test with the log {log.name}; "
            f"name the log of the stopped test with --out, or {_ANEW}"
        ) from None
    except (OSError, ValueError) as problem:
        raise _unreadable(path, problem) from None
    try:
        if plain["version"] != _VERSION:
            raise ValueError(f"version {plain['version']}")
        return Stopped(str(plain["bike"]), log, _memory(plain["memory"]))
    except (KeyError, TypeError, ValueError, AttributeError):
        raise BenchlogError(
            f"{path}: this file does not hold the state of a guided test, or another version of benchlog wrote it; "
            f"{_ANEW}"
        ) from None


def newest(folder: Path) -> Path:
    """The log of the test that was stopped last in this folder.

    Raises:
        BenchlogError: no test was stopped there.
    """
    found = sorted(folder.glob(f"*{_SUFFIX}"), key=lambda path: path.stat().st_mtime)
    if not found:
        raise BenchlogError(
            f"{folder}: there is no stopped test here; name the log of the stopped test with --out, or go to its folder"
        )
    try:
        name = json.loads(found[-1].read_text(encoding="utf-8"))["log"]
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise _unreadable(found[-1], problem) from None
    return found[-1].with_name(str(name))


def forget(log: Path) -> None:
    """Remove the state: the test is done."""
    state_path(log).unlink(missing_ok=True)


def _unreadable(path: Path, problem: Exception) -> BenchlogError:
    why = "it is damaged"
    if isinstance(problem, OSError):
        why = reason_of(problem)
    return BenchlogError(f"{path}: the state of the test cannot be read ({why}); {_ANEW}")


def _memory(plain: dict[str, object]) -> Memory:
    before = plain["before_crank"]
    return Memory(
        step=str(plain["step"]),
        tries={str(step): int(n) for step, n in _table(plain["tries"]).items()},  # type: ignore[call-overload]  # refused below
        outcomes={str(step): str(outcome) for step, outcome in _table(plain["outcomes"]).items()},
        walk=bool(plain["walk"]),
        key_off_s=_number(plain["key_off_s"]),
        before_crank=None
        if before is None
        else Before(
            float(_table(before)["at_s"]),  # type: ignore[arg-type]  # a wrong type is refused
            {str(role): float(x) for role, x in _table(_table(before)["levels"]).items()},  # type: ignore[arg-type]  # as above
        ),
        fallen_a={int(slot): float(amps) for slot, amps in _table(plain["fallen_a"]).items()},  # type: ignore[arg-type]  # as above
        wakes_every_s=_number(plain["wakes_every_s"]),
        bridged=bool(plain.get("bridged", False)),  # an older state has none
        key=None if plain.get("key") is None else bool(plain["key"]),  # as above
        only=tuple(str(one) for one in _list(plain.get("only", []))),  # as above
    )


def _table(plain: object) -> dict[str, object]:
    if not isinstance(plain, dict):
        raise TypeError(f"a table is needed, got {plain!r}")
    return plain


def _list(plain: object) -> list[object]:
    if not isinstance(plain, list):
        raise TypeError(f"a list is needed, got {plain!r}")
    return plain


def _number(plain: object) -> float:
    return math.nan if plain is None else float(plain)  # type: ignore[arg-type]  # a wrong type is refused
