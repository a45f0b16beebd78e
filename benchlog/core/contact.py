"""Whom the rider calls: the installer's name and number, entered once and kept in the data folder."""

from contextlib import suppress
from pathlib import Path

from benchlog.core.errors import BenchlogError
from benchlog.core.files import write_whole
from benchlog.core.places import data_folder
from benchlog.core.printable import one_line

#: As much as one line of the rider's page holds.
MOST_CONTACT = 120


def kept_contact() -> str:
    """Name and number as kept; "" where nobody entered them."""
    try:
        return one_line(_place().read_text(encoding="utf-8"))[:MOST_CONTACT]
    except (OSError, UnicodeDecodeError):
        return ""


def keep_contact(text: str) -> str:
    """Keep name and number; gives them as they will be printed.

    Raises:
        BenchlogError: there is nothing to keep, too much of it, or no room.
    """
    contact = one_line(text)
    if not contact:
        raise BenchlogError('the contact is empty; give a name and a number, such as "R. Fitter, 0555 0123"')
    if len(contact) > MOST_CONTACT:
        raise BenchlogError(
            f"the contact has {len(contact)} characters; at most {MOST_CONTACT} fit on the rider's page"
        )
    place = _place()
    with suppress(OSError):  # told where the file is written
        place.parent.mkdir(parents=True, exist_ok=True)
    write_whole(place, contact + "\n", what="the contact")
    return contact


def _place() -> Path:
    return data_folder() / "installer.txt"
