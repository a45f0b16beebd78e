"""A plan is opened: one that is kept here, one of a sheet on file, or a file that was dropped in."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from benchlog.core.errors import BenchlogError
from benchlog.core.toml_text import tables_of
from benchlog.plan.comments import comments_of
from benchlog.plan.kept import digest_of, kept_plan
from benchlog.plan.model import load_plan
from benchlog.plan.questions.turned_back import TurnedBack, turned_back
from dashboards.checking import named_plainly
from dashboards.context import Context
from dashboards.planning.sketch import Sketch

Opened = tuple[Sketch, str]


def open_kept(name: object) -> Opened:
    """A plan that is kept here, and what is to be said about it.

    Raises:
        BenchlogError: it is gone, or cannot be used.
    """
    kept = kept_plan(name)
    if kept is None:
        raise BenchlogError("this plan is no longer kept here; reload this page")
    return _from_file(kept.path, kept=True)


def open_filed(context: Context, number: object) -> Opened:
    """The plan of a sheet on file.

    Raises:
        BenchlogError: there is no such sheet.
    """
    if not isinstance(number, int) or isinstance(number, bool):
        raise BenchlogError("there is no such sheet; reload this page")
    plan = context.store.record(number).plan
    back = turned_back(plan.model_dump(exclude_none=True))
    name = f"the plan of sheet No. {number}"
    return Sketch(back.typed, back.circuits, name), _told(name, back, 0)


def open_dropped(context: Context, listing: object) -> Opened:
    """The newest file of a tray.

    Raises:
        BenchlogError: it is gone, or no plan that can be used.
    """
    tray = context.trays.get(listing.get("tray")) if isinstance(listing, Mapping) else None
    if tray is None or not tray.files:
        raise BenchlogError("this file is no longer here; choose it again")
    path = list(tray.files.values())[-1].path
    with named_plainly(path.parent):
        return _from_file(path, kept=False)


def _from_file(path: Path, *, kept: bool) -> Opened:
    load_plan(path)
    text = path.read_text(encoding="utf-8-sig")
    tables: dict[str, Any] = tables_of(text)
    back, comments = turned_back(tables), comments_of(text, tables)
    digest = digest_of(path.read_bytes().decode("utf-8")) if kept else ""
    sketch = Sketch(back.typed, back.circuits, path.name, digest, list(comments.behind))
    return sketch, _told(path.name, back, comments.alone)


def _told(name: str, back: TurnedBack, alone: int) -> str:
    said = [f"Opened: {name}."]
    if back.changed:
        said.append(f"Suggested, never confirmed, and suggested otherwise today: {'; '.join(back.changed)}.")
    if alone:
        lines = "A comment on a line of its own is" if alone == 1 else f"{alone} comments on lines of their own are"
        said.append(f"{lines} not kept when you save; write what you need into the notes.")
    return " ".join(said)
