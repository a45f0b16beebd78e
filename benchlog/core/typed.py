"""What people type, in the terminal or into a form: read, or refused with what is needed."""


class Unusable(Exception):
    """An answer that cannot be taken; the text says what is needed."""


def yes_or_no(said: str) -> bool:
    """Yes or no as typed."""
    if said.casefold() in ("y", "yes"):
        return True
    if said.casefold() in ("n", "no"):
        return False
    raise Unusable('"y" or "n" is needed')


def number(said: str, least: float | None = None) -> float:
    """A number, decimal point or comma.

    Args:
        said: as typed.
        least: the least that is taken; None for anything above 0.
    """
    try:
        found = float(said.replace(",", ".").replace("−", "-"))
    except ValueError:
        found = float("nan")
    if least is None and not 0 < found < float("inf"):
        raise Unusable(f'a number above 0 is needed, got "{said}"')
    if least is not None and not least <= found < float("inf"):
        above = f" of {least:g} or more" if least > -1e9 else ""
        raise Unusable(f'a number{above} is needed, got "{said}"')
    return found
