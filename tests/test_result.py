"""The result object: what it refuses, and its three forms: JSON, frame and attributes."""

import json
import math

import pandas as pd
import pytest
from jsonschema import Draft202012Validator
from pydantic import ValidationError
from report_samples import healthy, nasty, troubled

from benchlog.verdict.result import VERDICTS, Check, Limit, Result, Score
from benchlog.verdict.schemas import schema_of

SAMPLES = {"healthy": healthy, "troubled": troubled, "nasty": nasty}
#: What other programs rely on.
FIELDS = {
    "": ["benchlog_version", "bike", "verdict", "score", "key_events", "checks", "causes", "notes"],
    "score": ["pass", "fail", "not_proven", "not_seen", "not_planned", "percent", "closest"],
    "key_events": ["log", "time_s", "half_width_s", "to"],
    "checks": [
        *("id", "title", "verdict", "measured", "unit", "uncertainty", "planned", "limit", "margin_pct"),
        *("log", "from_s", "to_s", "because"),
    ],
    "causes": ["id", "text", "explains", "evidence", "next_test", "fit"],
    "notes": ["log", "line", "text"],
}


def a_check(**changes: object) -> Check:
    """A whole check, some fields changed."""
    fields: dict[str, object] = {
        "id": "feed_drop",
        "title": "Feed drop",
        "verdict": "pass",
        "measured": 0.15,
        "unit": "V",
        "limit": {"max": 0.3},
        "because": "It is within its limit.",
    }
    return Check.model_validate({**fields, **changes})


@pytest.mark.parametrize("name", SAMPLES)
def test_json_has_the_promised_fields(name: str):
    """Every field stands in the JSON under its name, in order, also where it is null."""
    data = json.loads(SAMPLES[name]().to_json())

    assert list(data) == FIELDS[""]
    assert list(data["score"]) == FIELDS["score"]
    for part in ("key_events", "checks", "causes", "notes"):
        assert [list(entry) for entry in data[part]] == [FIELDS[part]] * len(data[part])


@pytest.mark.parametrize("name", SAMPLES)
def test_json_fits_its_schema(name: str):
    """The JSON is valid by the schema that ``benchlog schema result`` prints."""
    validator = Draft202012Validator(schema_of("result"))

    assert list(validator.iter_errors(json.loads(SAMPLES[name]().to_json()))) == []


def test_schema_refuses_another_verdict():
    """The schema knows the five words; a sixth does not pass."""
    data = json.loads(healthy().to_json())
    data["checks"][0]["verdict"] = "maybe"

    errors = list(Draft202012Validator(schema_of("result")).iter_errors(data))

    assert len(errors) == 1
    assert "'maybe' is not one of" in errors[0].message


@pytest.mark.parametrize("name", SAMPLES)
def test_json_makes_the_same_result_again(name: str):
    """A result read back from its JSON equals the one it was written from."""
    result = SAMPLES[name]()

    assert Result.model_validate_json(result.to_json()).to_json() == result.to_json()


@pytest.mark.parametrize("name", SAMPLES)
def test_frame_has_one_row_a_check(name: str):
    """The frame holds the checks in order; numbers are floats, also where all are missing."""
    result = SAMPLES[name]()

    frame = result.to_frame()

    assert frame["id"].tolist() == [check.id for check in result.checks]
    assert "limit" not in frame
    for column in ("measured", "uncertainty", "planned", "margin_pct", "from_s", "to_s", "limit_min", "limit_max"):
        assert frame[column].dtype == "float64"


def test_frame_of_no_checks_keeps_its_numbers():
    """A check without any figure gives missing values, not words."""
    result = healthy().model_copy(update={"checks": [a_check(measured=None, limit=None, verdict="not seen")]})

    row = result.to_frame().iloc[0]

    assert math.isnan(row["measured"])
    assert math.isnan(row["limit_max"])


def test_frame_splits_the_limit():
    """A limit with one side has the other missing."""
    result = healthy().model_copy(update={"checks": [a_check()]})

    row = result.to_frame().iloc[0]

    assert row["limit_max"] == 0.3
    assert pd.isna(row["limit_min"])


def test_check_by_its_id():
    """A check is found by its id; another id is a KeyError."""
    result = healthy()

    assert result.check("feed_drop").id == "feed_drop"
    with pytest.raises(KeyError, match="feed_dorp"):
        result.check("feed_dorp")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", ["measured", "uncertainty", "margin_pct"])
def test_no_figure_is_nan_or_infinite(name: str, value: float):
    """JSON has no such numbers, so the result refuses them."""
    with pytest.raises(ValidationError, match="finite number"):
        a_check(**{name: value})


@pytest.mark.parametrize(
    ("changes", "said"),
    [({"verdict": "ok"}, "Input should be"), ({"colour": "red"}, "Extra inputs"), ({"because": None}, "valid string")],
)
def test_check_refuses_what_it_does_not_know(changes: dict[str, object], said: str):
    """Another verdict, another field, no reason."""
    with pytest.raises(ValidationError, match=said):
        a_check(**changes)


def test_result_cannot_be_changed():
    """A result is what was found; it does not change afterwards."""
    with pytest.raises(ValidationError, match="frozen"):
        healthy().verdict = "fail"
    with pytest.raises(ValidationError, match="frozen"):
        Limit(max=1.0).max = 2.0


def test_score_is_written_with_plain_words():
    """``pass`` is a word of Python, so the score calls it ``passed`` there and ``pass`` in JSON."""
    score = Score.model_validate(
        {"passed": 3, "fail": 0, "not_proven": 1, "not_seen": 0, "not_planned": 2, "percent": 75.0, "closest": None}
    )

    assert json.loads(score.model_dump_json(by_alias=True))["pass"] == 3
    assert Score.model_validate({**score.model_dump(), "passed": 3}) == score


def test_verdicts_have_five_words():
    """No word stands twice, and each can be used."""
    assert len(set(VERDICTS)) == 5
    assert [a_check(verdict=word).verdict for word in VERDICTS] == list(VERDICTS)
