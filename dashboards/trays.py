"""Files that were dropped in: each lies in a folder of its own tray until it is checked, saved or forgotten."""

import os
import re
import secrets
import shutil
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Literal

from benchlog.core.errors import BenchlogError
from benchlog.core.files import unreserved
from benchlog.core.toml_text import tables_of
from benchlog.log.foreign.choices import Choices

#: Most trays at a time, and most files in one; the oldest tray is emptied for a new one.
MOST_TRAYS, MOST_FILES = 6, 24
#: Plans and logger files are small; nothing larger is parsed to find out what it is.
MOST_TOML_BYTES = 256 << 10
_CHUNK = 1 << 20
_STRANGE = re.compile(r"[^\w.+ -]+")

Kind = Literal["plan", "logger", "log", "readings", "answers", "unknown"]


@dataclass(frozen=True, slots=True)
class Dropped:
    """One file. ``name``: as shown and as it lies in the tray; ``bytes``: its size."""

    id: str
    name: str
    path: Path
    bytes: int
    kind: Kind


@dataclass(slots=True)
class Tray:
    """Files of one check, in one folder so that a log finds its logger file beside it."""

    id: str
    folder: Path
    files: dict[str, Dropped] = field(default_factory=dict)
    holds: int = 0  # checks that still need its files
    # of foreign logs, by id: what was chosen in their forms, and what was seen with which choices
    chosen: dict[str, Choices] = field(default_factory=dict)
    seen: dict[str, tuple[Choices | None, Any]] = field(default_factory=dict)

    def of_kind(self, kind: Kind) -> list[Dropped]:
        """The files of one kind, first dropped first."""
        return [file for file in self.files.values() if file.kind == kind]

    def to_be_checked(self) -> list[Dropped]:
        """Logs, and a hand meter's readings."""
        return [*self.of_kind("log"), *self.of_kind("readings")]

    def listing(self) -> dict[str, object]:
        """What a page needs to know."""
        return {
            "tray": self.id,
            "files": [{"id": f.id, "name": f.name, "bytes": f.bytes, "kind": f.kind} for f in self.files.values()],
        }


class Trays:
    """All trays of one server; a browser names trays and files by ids only, which are looked up."""

    def __init__(self, most_bytes: int) -> None:
        """The folder is made for the first file: pages that take none leave none. ``most_bytes``: of one file."""
        self._root: Path | None = None
        self._trays: OrderedDict[str, Tray] = OrderedDict()
        self._most_bytes = most_bytes
        self._lock = threading.Lock()

    def get(self, tray_id: object) -> Tray | None:
        """The tray with this id."""
        with self._lock:
            return self._trays.get(tray_id) if isinstance(tray_id, str) else None

    def take(
        self, tray_id: str | None, name: str, content: IO[bytes], size: int, modified_s: float | None = None
    ) -> tuple[Tray, Dropped]:
        """Put a file into a tray while it comes in; never all of it in memory.

        Args:
            tray_id: of a tray that is there; else a new one is begun.
            name: as the user's machine has it. content: as it comes. size: told beforehand, bytes.
            modified_s: when the file was last changed, s since 1970; a log without a clock is dated by it.

        Raises:
            BenchlogError: too large, too many, cut short, or no room on the disk.
        """
        if size > self._most_bytes:
            raise BenchlogError(
                f"{shown_name(name)}: larger than {self._most_bytes >> 20} MB, the most that is taken here; start "
                "benchlog page with a larger --max-upload-mb"
            )
        with self._lock:
            root = self._folder()
        if shutil.disk_usage(root).free < size + (64 << 20):
            raise BenchlogError(f"{shown_name(name)}: the disk has no room for it; make room and drop it again")
        tray = self._tray(tray_id)
        path = self._free_path(tray, shown_name(name))
        taken = 0
        with path.open("xb") as file:
            while chunk := content.read(min(_CHUNK, size - taken)):
                taken += len(chunk)
                file.write(chunk)
        if taken != size:
            path.unlink()
            raise BenchlogError(f"{path.name}: only {taken} of {size} bytes arrived; drop it again")
        if modified_s is not None:
            os.utime(path, (modified_s, modified_s))
        dropped = Dropped(secrets.token_urlsafe(9), path.name, path, size, kind_of(path))
        with self._lock:
            tray.files[dropped.id] = dropped
        return tray, dropped

    def hold(self, tray_id: object) -> Callable[[], None]:
        """Keep a tray's files until what comes back is called: a check that may yet be filed needs them."""
        tray = self.get(tray_id)
        if tray is None:
            return lambda: None
        with self._lock:
            tray.holds += 1

        def let_go() -> None:
            with self._lock:
                tray.holds -= 1

        return let_go

    def forget(self, tray_id: object, file_id: object) -> Tray | None:
        """Take one file out again; gives its tray."""
        tray = self.get(tray_id)
        if tray is not None and isinstance(file_id, str) and (file := tray.files.pop(file_id, None)) is not None:
            file.path.unlink(missing_ok=True)
            tray.chosen.pop(file_id, None)
            tray.seen.pop(file_id, None)
        return tray

    def close(self) -> None:
        """Take all dropped files away."""
        with self._lock:
            if self._root is not None:
                shutil.rmtree(self._root, ignore_errors=True)

    def _folder(self) -> Path:
        if self._root is None:
            self._root = Path(tempfile.mkdtemp(prefix="benchlog-page-"))
        return self._root

    def _tray(self, tray_id: str | None) -> Tray:
        with self._lock:
            if tray_id is not None and (known := self._trays.get(tray_id)) is not None:
                if len(known.files) >= MOST_FILES:
                    raise BenchlogError(
                        f"{MOST_FILES} files are already in this tray; check these first, or remove some"
                    )
                return known
            new = Tray(secrets.token_urlsafe(12), Path(tempfile.mkdtemp(dir=self._folder())))
            self._trays[new.id] = new
            free = [tray for tray in self._trays.values() if not tray.holds and tray is not new]
            for oldest in free[: max(len(self._trays) - MOST_TRAYS, 0)]:
                del self._trays[oldest.id]
                shutil.rmtree(oldest.folder, ignore_errors=True)
            return new

    def _free_path(self, tray: Tray, name: str) -> Path:
        stem, dot, ends = name.partition(".")
        path, n = tray.folder / name, 2
        while path.exists():
            path, n = tray.folder / f"{stem}-{n}{dot}{ends}", n + 1
        return path


def shown_name(name: str) -> str:
    """A file's name as a single plain name: no folders, nothing that hides or steers, 100 letters at most."""
    last = re.split(r"[/\\]", name)[-1]
    tidy = _STRANGE.sub("_", last).strip(" .")
    while len(tidy) > 100:
        stem, dot, ends = tidy.partition(".")
        tidy = stem[: max(100 - len(dot) - len(ends), 1)] + dot + ends if len(ends) < 90 else tidy[:100]
    return unreserved(tidy) if tidy else "log"


def kind_of(path: Path) -> Kind:
    """What a file is: TOML files by what stands in them, all others are logs."""
    if path.suffix.lower() != ".toml":
        return "log"
    try:
        if path.stat().st_size > MOST_TOML_BYTES:
            return "unknown"
        content = tables_of(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        # what is wrong with it is said by the check, which knows better
        return "logger" if path.name.lower().endswith(".logger.toml") else "plan"
    if "channel" in content or "logger" in content:
        return "logger"
    if "answer" in content:
        return "answers"
    if "reading" in content:
        return "readings"
    return "plan" if {"install", "battery", "circuit", "relay", "limits"} & set(content) else "unknown"
