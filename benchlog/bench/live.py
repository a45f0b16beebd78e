"""The state of a running recording, kept in a small file that the pages read meanwhile."""

import contextlib
import json
import os
import time
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path

from benchlog.core.errors import BenchlogError, reason_of
from benchlog.core.files import write_whole
from benchlog.core.places import data_folder

STALE_S = 5.0  # a recording that has said nothing for this long is not shown
GONE_S = 86400.0  # and after this long its file is taken away
#: What a step waits for while its caution stands alone.
READ_FIRST = "Enter when you have read the caution"


@dataclass(frozen=True, slots=True)
class LiveStep:
    """Where the guided test stands.

    Attributes:
        number, of: this step and how many there are, from 1.
        id: "key_on" and the like.
        title, say, caution: what the tester reads; ``caution`` "" where none is needed.
        waiting_for: what the stream must show before it moves on; "" once it has.
        hint: where to look, where it has not come for a while; "" before.
        ask: a question that is answered with yes or no; "" for none.
        paused: nothing is asked for.
    """

    number: int
    of: int
    id: str
    title: str
    say: str
    caution: str = ""
    waiting_for: str = ""
    hint: str = ""
    ask: str = ""
    paused: bool = False


@dataclass(frozen=True, slots=True)
class LiveState:
    """One running recording.

    Attributes:
        log, port: the file that grows; where the lines come from.
        bike: "" where no plan is known.
        started_at, updated_at: s since 1970-01-01 UTC.
        rate_hz: samples a second over the last seconds.
        kept, refused: lines so far.
        told: what happened on the way (gaps, rubbish), newest last.
        last: role (or the column's own name) -> newest value, canonical unit and sign.
        time_s, recent: the last minute, at most 600 points; role -> values, None where missing.
        step: of the guided test; None in a plain recording.
        ended: the recording was closed. pid: the process that records; 0 where it is not told.
    """

    log: str
    port: str
    started_at: float
    updated_at: float
    bike: str = ""
    rate_hz: float | None = None
    kept: int = 0
    refused: int = 0
    told: tuple[str, ...] = ()
    last: dict[str, float | None] = field(default_factory=dict)
    time_s: tuple[float, ...] = ()
    recent: dict[str, list[float | None]] = field(default_factory=dict)
    step: LiveStep | None = None
    ended: bool = False
    pid: int = 0


def live_folder() -> Path:
    """The folder with the state of running recordings."""
    return data_folder() / "live"


def write_live(state: LiveState) -> None:
    """Save the state of this process's recording for the pages; whole or not at all.

    Raises:
        BenchlogError: the data folder cannot be written to.
    """
    folder = live_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        why = reason_of(problem)
        raise BenchlogError(
            f"{folder}: the folder cannot be created ({why}); make sure that there is room and that you can "
            "write there, or name another data folder in BENCHLOG_DATA"
        ) from problem
    # field by field: ``asdict`` copies every point of the last minute, five times a second
    plain = {one.name: getattr(state, one.name) for one in fields(state)}
    plain["step"] = None if state.step is None else asdict(state.step)
    write_whole(folder / f"{os.getpid()}.json", json.dumps(plain), what="the recording's state")


def forget_live() -> None:
    """Remove this process's state."""
    (live_folder() / f"{os.getpid()}.json").unlink(missing_ok=True)


def running(now: float | None = None) -> list[LiveState]:
    """The recordings that said something in the last seconds, newest first; a file that cannot be read is none."""
    at = time.time() if now is None else now
    found = []
    for path in sorted(live_folder().glob("*.json")):
        try:
            plain = json.loads(path.read_text(encoding="utf-8"))
            step = plain.pop("step", None)
            state = LiveState(
                **{**plain, "told": tuple(plain.get("told", ())), "time_s": tuple(plain.get("time_s", ()))},
                step=None if step is None else LiveStep(**step),
            )
        except (OSError, ValueError, TypeError, AttributeError):
            continue  # half a file of another version, or one that is just being replaced
        silent_s = abs(at - state.updated_at)  # below 0 where the computer's clock was set back
        if silent_s <= STALE_S:
            found.append(state)
        elif silent_s > GONE_S:
            with contextlib.suppress(OSError):
                path.unlink()
    return sorted(found, key=lambda state: state.started_at, reverse=True)
