"""A bike that no record is of: more often than not a slip of the pen."""

from collections.abc import Sequence

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
