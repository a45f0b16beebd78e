"""HTML attributes whose names Python cannot write."""

from typing import Any


def attributes(**named: str) -> dict[str, Any]:
    """``aria_label="x"`` as ``{"aria-label": "x"}``, to be passed on with ``**``."""
    return {name.replace("_", "-"): text for name, text in named.items()}
