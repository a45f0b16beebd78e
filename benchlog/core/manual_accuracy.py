"""Accuracy as a meter's manual prints it: ± per cent of the reading + digits of the last place."""

import re

_PRINTED = re.compile(r"(?:±|\+/?-)?\s*(\d+[.,]?\d*)\s*%?(?:\s*\+\s*(\d+)\s*\w*)?")


def printed_accuracy(said: str) -> tuple[float, float] | None:
    """Per cent of the reading and digits of the last place; None where it is neither."""
    found = _PRINTED.fullmatch(said.strip())
    return None if found is None else (float(found[1].replace(",", ".")), float(found[2] or 0))
