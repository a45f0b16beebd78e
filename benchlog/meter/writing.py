"""Write a file of readings: whole, as a person would have written it."""

from pathlib import Path
from typing import Any

from benchlog.core.files import write_whole
from benchlog.meter.model import ReadingsFile


def write_readings(path: Path, file: ReadingsFile) -> None:
    """Write all readings; the old file stays whole until the new one is.

    Raises:
        CannotWrite: there is no room, or no right to write.
    """
    write_whole(path, readings_text(file), what="the readings")


def readings_text(file: ReadingsFile) -> str:
    """The file's TOML; keys that say nothing are left out."""
    import tomli_w

    meter = file.meter.model_dump(exclude_none=True)
    precise = [
        f"{key} = {{ pct = {given['pct']:g}, digits = {given['digits']:g} }}\n"
        for key in ("voltage", "current")
        if (given := meter.pop(key, None)) is not None
    ]
    tables = ["[meter]\n" + tomli_w.dumps(meter) + "".join(precise)]
    tables += ["[[reading]]\n" + tomli_w.dumps(_plain(table.model_dump(by_alias=True))) for table in file.reading]
    return "\n".join(tables)


def _plain(table: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if value not in (None, False, 0.0)}
