"""HTML attributes whose names Python cannot write."""

import json
from collections.abc import Mapping
from typing import Any


def attributes(**named: str) -> dict[str, Any]:
    """``aria_label="x"`` as ``{"aria-label": "x"}``, to be passed on with ``**``."""
    return {name.replace("_", "-"): text for name, text in named.items()}


def dom_id(named: Mapping[str, object] | str) -> str:
    """A component's id as JSON; of one that is a table, as Dash writes it into the document."""
    return json.dumps(named, sort_keys=True, separators=(",", ":"))
