"""Logs of a tray that no logger file explains: looked at apart, remembered, and given a logger file for the check."""

from collections.abc import Callable, Iterable
from pathlib import Path

from benchlog.core.errors import BenchlogError
from benchlog.core.files import write_whole
from benchlog.logger.sidecar import sidecar_of
from dashboards.apart import run_apart
from dashboards.foreign.sight import Sighted, SightErrand
from dashboards.trays import Dropped, Tray

Begun = Callable[[Callable[[], None]], None]


def unexplained(tray: Tray) -> list[Dropped]:
    """The logs that neither a logger file of their own name nor a loose one speaks for."""
    given = {file.name for file in tray.of_kind("logger")}
    logs = tray.of_kind("log")
    own = {log.id for log in logs if any(name in given for name in _names(log.name))}
    stems = {log.name.partition(".")[0] for log in logs}
    if any(name.partition(".")[0] not in stems for name in given):
        return []
    return [log for log in logs if log.id not in own]


def sight_of(tray: Tray, log: Dropped, begun: Begun = lambda _: None) -> Sighted:
    """What is seen of a log with what was chosen for it so far.

    Args:
        begun: takes what ends the look.

    Raises:
        BenchlogError: looking took more than it may.
    """
    choices = tray.chosen.get(log.id)
    known = tray.seen.get(log.id)
    if known is not None and known[0] == choices:
        seen: Sighted = known[1]
        return seen
    errand = SightErrand(log.path) if choices is None else SightErrand(log.path, choices)
    found = run_apart(errand, lambda *_: None, begun)
    tray.seen[log.id] = choices, found
    return found


def lay_loggers(tray: Tray, logs: Iterable[Dropped], begun: Begun) -> None:
    """Lay a logger file beside each log of a check that needs one, as its form says; older ones of ours go.

    Raises:
        BenchlogError: a form does not make a logger file yet.
    """
    dropped = {file.path for file in tray.files.values()}
    for path in tray.folder.glob("*.logger.toml"):
        if path not in dropped:
            path.unlink()
    open_ones = {log.id for log in unexplained(tray)}
    for log in logs:
        if log.id not in open_ones:
            continue
        sight = sight_of(tray, log, begun)
        if sight.toml:
            write_whole(sidecar_of(log.path), sight.toml, what="the logger file")
        elif sight.foreign:
            raise BenchlogError(f"{log.name}: {sight.fault}")


def _names(log: str) -> list[str]:
    """Names of a logger file that would be found beside a log of this name."""
    stems = [log]
    while (shorter := stems[-1].rpartition(".")[0]) != "":
        stems.append(shorter)
    return [f"{stem}.logger.toml" for stem in stems]


def logger_name(log: Dropped) -> str:
    """The name of the logger file that belongs beside a log."""
    return Path(sidecar_of(Path(log.name))).name
