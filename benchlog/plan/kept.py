"""Plans that are kept in benchlog's own folder: by name, and never replaced unseen."""

import hashlib
import re
import threading
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from benchlog.core.errors import BenchlogError, reason_of
from benchlog.core.files import is_own, unreserved, write_whole
from benchlog.core.places import data_folder

ENDING = ".plan.toml"
_STRANGE = re.compile(r"[^\w.+-]+")
_LONGEST = 80
_writing = threading.Lock()


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """One kept plan. ``name``: of its file; ``changed``: when, UTC."""

    name: str
    path: Path
    changed: datetime


class AnotherPlan(BenchlogError):
    """A plan of that name is kept already, and says something else.

    Attributes:
        name: of its file. digest: of what it says, to name it when it is to be replaced.
    """

    def __init__(self, name: str, digest: str) -> None:
        self.name, self.digest = name, digest
        super().__init__(f"another plan is kept as {name} already; replace it, or give the bike another name")


def plans_folder() -> Path:
    """Where they lie; it may not exist yet."""
    return data_folder() / "plans"


def kept_plans() -> list[KeptPlan]:
    """All of them, by name."""
    found = []
    for path in sorted(plans_folder().glob(f"*{ENDING}")):
        if is_own(path):
            found.append(KeptPlan(path.name, path, datetime.fromtimestamp(path.stat().st_mtime, UTC)))
    return found


def kept_plan(name: object) -> KeptPlan | None:
    """The kept plan whose file is called so."""
    return next((plan for plan in kept_plans() if plan.name == name), None)


def plan_file_name(bike: str) -> str:
    """The name of a bike's plan: one plain name, whatever the bike is called."""
    stem = _STRANGE.sub("-", bike.casefold()).strip(" .-")[:_LONGEST]
    return unreserved(f"{stem or 'bike'}{ENDING}")


def digest_of(text: str) -> str:
    """What tells one plan's text from another."""
    return hashlib.sha256(text.encode()).hexdigest()


def keep_plan(bike: str, text: str, replacing: str = "") -> Path:
    """Keep a plan under its bike's name.

    Args:
        bike: its name. text: TOML.
        replacing: digest of the kept plan that may be replaced; "" for none.

    Raises:
        AnotherPlan: another one is kept under that name, and it is not the one to be replaced.
        BenchlogError: it cannot be written.
    """
    path = plans_folder() / plan_file_name(bike)
    with _writing:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            why = reason_of(problem)
            raise BenchlogError(
                f"{path.parent}: this folder for plans cannot be made ({why}); download the plan instead"
            ) from problem
        there = _digest_there(path)
        if there not in ("", digest_of(text), replacing):
            raise AnotherPlan(path.name, there)
        write_whole(path, text, what="the plan")
    return path


def _digest_there(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return ""
    except OSError as problem:
        why = reason_of(problem)
        raise BenchlogError(f"{path}: the plan that is kept cannot be read ({why}); move it away") from problem
