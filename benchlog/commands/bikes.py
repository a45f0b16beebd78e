"""A bike that no record is of: more often than not a slip of the pen."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.store import Store

_MOST_NAMED = 20


def unknown_bike(bike: str, known: Sequence[str]) -> str:
    """What to say of it.

    Args:
        bike: as it was named.
        known: the bikes that the store has records of.
    """
    from benchlog.core.toml_faults import near

    text = f'there is no record of "{bike}"'
    if not known:
        return f"{text}: the store has no records yet; the first benchlog check LOG --plan PLAN --save makes one"
    meant = near(bike, known)
    more = f" and {len(known) - _MOST_NAMED} more" if len(known) > _MOST_NAMED else ""
    return f"{text}; the bikes there are: {', '.join(known[:_MOST_NAMED])}{more}" + (
        f'; did you mean "{meant}"?' if meant else ""
    )


def opened_store(store: str | None) -> "Store":
    """The store that is named, which must be there.

    Raises:
        BenchlogError: it is not, or cannot be used.
    """
    from benchlog.store import open_store

    return open_store(store, create=False)


def refuse_unknown_bike(store: "Store", bike: str) -> None:
    """Find out whether there is a record of this bike.

    Raises:
        BenchlogError: the store has none of it; names those that it has.
    """
    bikes = [row.bike for row in store.bikes()]
    if bike not in bikes:
        raise BenchlogError(f"{store.where}: {unknown_bike(bike, bikes)}")
