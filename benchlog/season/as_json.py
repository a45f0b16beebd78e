"""The season as JSON, for other programs; dates and times are ISO 8601, what is infinite or unknown is null."""

import json
import math
from dataclasses import asdict
from datetime import date
from typing import Any

from benchlog import __version__
from benchlog.season.bikes import Glance
from benchlog.season.model import Season


def season_json(season: Season) -> str:
    """Everything a season holds, and the words of its intervals."""
    data = asdict(season)
    data["parts"] = {part.pop("quantity"): part for part in data["parts"]}
    for name, thing in (("charge", season.charge), ("standing", season.standing)):
        if thing is not None:
            data[name]["words"] = thing.words
    if season.standing is not None:
        data["standing"]["until"] = season.standing.until
    return _text({"benchlog_version": __version__, **data})


def bikes_json(glances: list[Glance]) -> str:
    """Several bikes, worst first."""
    return _text({"benchlog_version": __version__, "bikes": [asdict(glance) for glance in glances]})


def _text(data: dict[str, Any]) -> str:
    return json.dumps(_plain(data), indent=2, ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
