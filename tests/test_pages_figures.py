"""The figures beside the log: lines have the checks' slopes, limits stand where they are, milliamperes are seen."""

import numpy as np
import pytest
from page_server import SAMPLES

import benchlog
from benchlog.report.figures import circuits_figure, load_figure, minute_figure, off_state_figure, stretch
from benchlog.report.figures.minute import MOST_TRACES


@pytest.fixture(scope="module")
def result() -> benchlog.Result:
    """The sample install, by a fast log and a slow one."""
    logs = [SAMPLES / "acceptance.csv", SAMPLES / "overnight.csv"]
    return benchlog.check(list(logs), plan=SAMPLES / "larch.plan.toml")


def _slope(figure, name: str) -> float:
    (line,) = [trace for trace in figure.data if trace.name.startswith(name)]
    return (line.y[1] - line.y[0]) / (line.x[1] - line.x[0])


@pytest.mark.parametrize(
    ("where", "check_id", "sign"),
    [("battery", "source_resistance", -1), ("feed", "feed_drop", 1), ("return", "ground_lift", 1)],
)
def test_lines_have_the_slopes_of_check_and_limit(result, where, check_id, sign):
    """The fitted line falls or rises as the check measured, the limit as the plan allows, and points lie on the fit."""
    evidence, check = result.evidence.logs[0], result.check(check_id)
    figure = load_figure(evidence, result, where)
    per = 1000 if where == "battery" else sum(c.planned for c in result.checks if c.id.endswith("_current"))
    (points,) = [trace for trace in figure.data if trace.name == "steady load"]
    fitted = np.polyfit(points.x, points.y, 1)[0]

    assert _slope(figure, "fitted") == pytest.approx(sign * check.measured / per)
    assert _slope(figure, "limit") == pytest.approx(sign * check.limit.max / per)
    assert fitted == pytest.approx(sign * check.measured / per, rel=0.05)


def test_a_log_without_load_has_no_load_figure(result):
    """The overnight log shows no load step, so nothing is drawn for it."""
    assert load_figure(result.evidence.logs[1], result, "battery") is None


def test_off_state_shows_limit_and_settling(result):
    """The limit of 1 mA stands at its place on the stretched scale, and settling is marked in seconds."""
    figure = off_state_figure(result.evidence.logs[1], result)
    texts = [note.text for note in figure.layout.annotations]
    limit = [shape.y0 for shape in figure.layout.shapes if shape.y0 == shape.y1]

    assert "limit 1 mA" in texts
    assert any(text.startswith("settled after ") for text in texts)
    assert limit == pytest.approx(stretch(np.array([1e-3])))


def test_circuits_are_named_by_slot_alone(result):
    """Every planned circuit has its window, plan and value; no device's name is in the figure."""
    figure = circuits_figure(result)
    window, planned, measured = figure.data

    assert list(planned.y) == ["slot 1", "slot 2", "slot 3", "slot 4"]
    assert list(planned.x) == [3.5, 3.0, 1.8, 1.0]
    assert measured.x == pytest.approx([3.42, 3.05, 1.84, 0.96], abs=0.05)
    assert all(low < x < low + wide for low, wide, x in zip(window.base, window.x, measured.x, strict=True))
    assert "vaccine" not in figure.to_json()


def test_minute_leaves_out_what_is_no_role():
    """Names that come over the wire are drawn only where they are roles, and never more than a screen holds."""
    recent = {f"slot{n}_a": [0.1, None] for n in range(1, 13)} | {"<b>x</b>": [1.0, 2.0], "battery_v": [12.0, 12.1]}
    figure = minute_figure((0.0, 0.1), recent)

    assert len(figure["data"]) == 1 + MOST_TRACES
    assert "<b>" not in str(figure)
    assert figure["data"][0]["x"] == [-0.1, 0.0]
    assert figure["data"][1]["y"][1] is None
