"""A season as JSON, letter by letter: what is no number is null, dates are ISO 8601, letters stay what they are."""

import math
from datetime import UTC, date, datetime

from benchlog import __version__
from benchlog.season.as_json import bikes_json, season_json
from benchlog.season.bikes import Glance
from benchlog.season.charge import Charge
from benchlog.season.forecast import LimitCrossing, TooFew
from benchlog.season.model import Part, Season, SeasonAdvice
from benchlog.season.standing import Standing
from benchlog.store.readings import Reading


def test_bikes_in_letters():
    """Two blanks a level, umlauts as they are, nothing where nothing is known."""
    glance = Glance("Lärche", SeasonAdvice("fine", "fine now", "Battery", "b"), 0, "", date(2026, 9, 1), None)

    assert (
        bikes_json([glance])
        == f"""{{
  "benchlog_version": "{__version__}",
  "bikes": [
    {{
      "bike": "Lärche",
      "advice": {{
        "urgency": "fine",
        "words": "fine now",
        "about": "Battery",
        "because": "b",
        "how": ""
      }},
      "more": 0,
      "charge": "",
      "stand_until": "2026-09-01",
      "last": null
    }}
  ]
}}"""
    )


def test_what_is_no_number_is_null():
    """A temperature that is none, and days without end; moments keep their zone."""
    at = datetime(2026, 9, 1, 12, tzinfo=UTC)
    reading = Reading(at, "crank_minimum", math.nan, None, None)
    part = Part("crank_minimum", "t", "V", (reading,), (None, 1.0), None, None, TooFew("few", 1), (),
                LimitCrossing("open"))  # fmt: skip
    charge = Charge(at, 12.6, 60.0, 70.0, 80.0, "b")
    standing = Standing(at.date(), 10.0, math.inf, math.inf, None, 20.0, "b")
    text = season_json(Season("Larch", "agm", 11.2, at.date(), (part,), (), charge, standing, ()))

    for said in ('"value": null', '"at": "2026-09-01T12:00:00+00:00"', '"mid_days": null', '"low_days": 10.0'):
        assert said in text
    for said in ('"until": "2026-09-11"', '"words": "60 to 80 %"', '"words": "10 to very many days"'):
        assert said in text
    assert '"crank_minimum": {' in text


def test_what_is_not_known_is_null_as_a_whole():
    """No charge, no days."""
    text = season_json(Season("Larch", "agm", 11.2, date(2026, 9, 1), (), (), None, None, ()))

    assert '"charge": null' in text
    assert '"standing": null' in text
