"""The logger file beside a log: where it is looked for, where it is laid, and when it is used."""

from pathlib import Path

from benchlog.logger.model import Logger, load_logger


def find_sidecar(log: Path) -> Path | None:
    """The logger file that lies beside a log: ``ride.logger.toml`` for ``ride.csv`` and ``ride.csv.gz``.

    A longer name comes first: ``ride.csv.logger.toml`` before ``ride.logger.toml``.
    """
    stem = log.name
    while True:
        candidate = log.with_name(f"{stem}.logger.toml")
        if candidate.is_file():
            return candidate
        shorter = stem.rpartition(".")[0]
        if not shorter:
            return None
        stem = shorter


def sidecar_of(log: Path) -> Path:
    """The one that lies there, else where one is laid: ``ride.logger.toml`` for ``ride.csv``."""
    return find_sidecar(log) or log.with_name(f"{log.name.rpartition('.')[0] or log.name}.logger.toml")


def logger_for(log: Path, default: Logger | None) -> Logger | None:
    """What a log's channels mean: its own file beside it, else the one that was named.

    Raises:
        BenchlogError: the file beside it cannot be used.
    """
    own = find_sidecar(log)
    return default if own is None else load_logger(own)
