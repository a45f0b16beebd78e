"""Figures show what the log holds: spikes survive, events lie over each other, limits stand where they are."""

import dataclasses
import subprocess
import sys

import numpy as np
import pytest
from report_samples import log_evidence

from benchlog.core.thinning import MOST_POINTS, outline, thin
from benchlog.core.trace import Band, Overview
from benchlog.report.figures import log_figure, look, relay_figure, stretch


def _overview(mean: np.ndarray, low: np.ndarray | None = None, high: np.ndarray | None = None) -> Overview:
    size = len(mean)
    count = np.zeros(size, dtype=np.int64)
    band = Band(min=mean if low is None else low, mean=mean, max=mean if high is None else high, area=mean,
                weight_s=np.ones(size), over=count)  # fmt: skip
    at = np.arange(size, dtype=float)
    return Overview(start_s=at, end_s=at + 0.9, rows=count + 10, bands={"battery_v": band}, gap_s=at * 0 + 0.1,
                    step_s=0.1)  # fmt: skip


def test_no_trace_has_more_points_than_a_screen_needs():
    """Every trace of every figure stays within the limit, however long the log."""
    evidence = log_evidence("a.csv", buckets=50_000)
    drawn = [log_figure(evidence), relay_figure(evidence, "pull in", 30.0), relay_figure(evidence, "drop out", 60.0)]

    longest = max(len(trace.x) for figure in drawn for trace in figure.data)

    assert 1000 < longest <= MOST_POINTS


def test_a_log_of_gaps_stays_within_the_limit():
    """Alternating valid and missing buckets make the most outlines, and still fit."""
    mean = np.where(np.arange(MOST_POINTS // 3) % 2, 12.0, np.nan)

    shape = outline(_overview(mean), "battery_v")

    assert len(shape.edge) <= MOST_POINTS


def test_one_spike_survives_thinning():
    """The least and greatest value of one bucket in 100 000 are drawn exactly."""
    mean = np.full(100_000, 12.0)
    low, high = mean.copy(), mean.copy()
    low[54_321], high[77_777] = 6.5, 17.25

    shape = outline(_overview(mean, low, high), "battery_v")

    assert np.nanmin(shape.edge) == 6.5
    assert np.nanmax(shape.edge) == 17.25
    assert shape.time_s[0] >= 0
    assert shape.time_s[-1] <= 100_000


def test_merged_mean_is_the_mean_of_valid_samples():
    """Merged buckets weigh by their samples; a missing bucket counts for nothing."""
    rng = np.random.default_rng(3)
    mean = rng.normal(12, 1, 2000)
    mean[::3] = np.nan

    shape = outline(_overview(mean), "battery_v")
    firsts = [mean[k : k + 4] for k in range(0, 2000, 4)]

    assert shape.mean == pytest.approx(np.array([np.nanmean(part) for part in firsts]), nan_ok=True)


def test_a_missing_stretch_stays_missing():
    """Where a role has no valid sample, neither line nor band is drawn."""
    mean = np.r_[np.full(10, 1.0), np.full(10, np.nan), np.full(10, 3.0)]

    shape = outline(_overview(mean), "battery_v")

    assert np.isnan(shape.mean[10:20]).all()
    assert not ((shape.edge_s > 9.9) & (shape.edge_s < 20)).any()


@pytest.mark.parametrize("mean", [np.empty(0), np.full(5, np.nan)])
def test_nothing_valid_gives_an_empty_outline(mean):
    """A log without a valid sample has no outline."""
    shape = outline(_overview(mean), "battery_v")

    assert len(shape.edge) == 0
    assert len(shape.mean) == len(mean)


def test_thinned_samples_are_samples():
    """Thinning picks samples: none is invented, order holds, least and greatest stay."""
    t = np.arange(30_000) * 1e-4
    value = np.random.default_rng(5).normal(0, 1, 30_000)
    value[100:140] = np.nan

    time_s, kept = thin(t, value)

    assert len(kept) <= MOST_POINTS
    assert (np.diff(time_s) > 0).all()
    assert set(zip(time_s, kept, strict=True)) <= set(zip(t, value, strict=True))
    assert (kept.min(), kept.max()) == (np.nanmin(value), np.nanmax(value))


@pytest.mark.parametrize(
    ("current_a", "place"), [(0.0, 0.0), (0.001, 0.30103), (0.999, 3.0), (-9.999, -4.0), (99.999, 5.0)]
)
def test_stretched_scale(current_a, place):
    """sign(I) log10(1 + |I| / 1 mA): closed form, odd, 0 at 0."""
    got = stretch(np.array([current_a]))[0]

    assert got == pytest.approx(place, abs=1e-5)


def test_log_figure_has_panels_with_units():
    """Voltages, the ground bus and currents each have an axis, and share the time axis."""
    figure = log_figure(log_evidence("a.csv"))

    titles = {axis.title.text for axis in figure.select_yaxes()}
    labels = [text for axis in figure.select_yaxes() for text in axis.ticktext or ()]

    assert {"Voltage / V", "Ground / V", "Current, stretched"} <= titles
    assert {"10 mA", "1 A", "100 A", "−10 A", "0"} <= set(labels)
    assert "Time / s" in {axis.title.text for axis in figure.select_xaxes()}


def test_twelve_slots_can_be_told_apart():
    """No two slots share both colour and dash."""
    looks = {(look.colour(f"slot{n}_a"), look.dash(f"slot{n}_a")) for n in range(1, 13)}

    assert len(looks) == 12


def test_currents_on_the_stretched_scale_tell_their_value():
    """A current's hover text carries amperes, not places on the scale."""
    figure = log_figure(log_evidence("a.csv"))
    trace = next(t for t in figure.data if t.name == "battery current")

    assert stretch(np.asarray(trace.customdata, dtype=float)) == pytest.approx(np.asarray(trace.y), abs=1e-3)
    assert max(trace.customdata) > 50


def test_states_are_shaded_and_labelled():
    """Every span but key off is shaded where it lies, and each state has its own labelled row."""
    evidence = log_evidence("a.csv")
    figure = log_figure(evidence)

    shaded = [(shape.x0, shape.x1) for shape in figure.layout.shapes]
    bars = {bar.y[0]: list(bar.base) for bar in figure.data if bar.type == "bar"}

    assert shaded == [(span.from_s, span.to_s) for span in evidence.spans if span.kind != "key off"]
    assert bars == {"key off": [0, 100, 320], "key on": [20, 160], "cranking": [200], "running": [201.5]}


def test_a_log_with_one_role_and_no_spans_is_drawn():
    """A parked log with a current alone still makes a figure."""
    full = log_evidence("a.csv")
    bands = {"drain_a": full.overview.bands["drain_a"]}
    parked = dataclasses.replace(full, overview=dataclasses.replace(full.overview, bands=bands), spans=())

    figure = log_figure(parked)

    assert [trace.name for trace in figure.data if trace.showlegend is not False] == ["drain current"]


def test_a_log_without_voltage_or_current_is_an_empty_figure():
    """A log with nothing to draw ends in a figure without traces, not in an error."""
    full = log_evidence("a.csv")
    bare = dataclasses.replace(full, overview=dataclasses.replace(full.overview, bands={}), spans=())

    assert len(log_figure(bare).data) == 0


@pytest.mark.parametrize(("kind", "limit_ms"), [("pull in", 30.0), ("drop out", 60.0)])
def test_relay_events_lie_over_each_other_at_zero(kind, limit_ms):
    """In every event the trigger passes its half level at 0 ms, and the limit stands at its time."""
    figure = relay_figure(log_evidence("a.csv"), kind, limit_ms)
    triggers = [trace for trace in figure.data if trace.legendgroup == "trigger_v"]

    assert len(triggers) == 2
    for trace in triggers:
        x, y = np.asarray(trace.x, dtype=float), np.asarray(trace.y, dtype=float)
        # the samples are 0.2 ms apart
        assert abs(x[np.abs(y - 6.25).argmin()]) <= 0.2
    assert limit_ms in [shape.x0 for shape in figure.layout.shapes]
    assert f"limit {limit_ms:g} ms" in [note.text for note in figure.layout.annotations]


def test_relay_figure_without_a_limit_draws_none():
    """No planned time, no limit line."""
    figure = relay_figure(log_evidence("a.csv"), "pull in", None)

    assert len(figure.layout.annotations) == 0


def test_relay_figure_without_events_is_none():
    """A log in which the relay never moved has no relay figure."""
    still = dataclasses.replace(log_evidence("a.csv"), pull_ins=(), pull_in_at_s=())

    assert relay_figure(still, "pull in", 30.0) is None


def test_no_name_from_the_log_is_in_a_figure():
    """Plotly reads markup in its texts, so a figure holds none of the user's."""
    evidence = log_evidence("<b>name</b>")

    assert "name</b>" not in str(log_figure(evidence).to_json())
    assert "name</b>" not in str(relay_figure(evidence, "pull in", 30.0).to_json())


@pytest.mark.parametrize("page", ["#ffffff", "#1e2325"])
def test_lines_stand_out_on_light_and_dark(page):
    """Every line colour has a contrast of 3:1 at least with both page colours (WCAG 2.1, 1.4.11)."""
    colours = {*look.COLOURS.values(), *look.SLOT_COLOURS, *look.SPAN_LINES.values()}

    weak = {c: round(_contrast(c, page), 2) for c in colours if _contrast(c, page) < 3}

    assert weak == {}


def test_importing_reports_leaves_plotly_alone():
    """The reports import without plotly or pandas, which only figures and frames need."""
    code = "import sys, benchlog.report.written, benchlog.report.figures\n"
    code += "print({'plotly', 'pandas', 'polars'} & set(sys.modules))"

    got = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert got.stdout.strip() == "set()"


def _contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.1, relative luminance)."""
    lums = []
    for colour in (one, other):
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        red, green, blue = (x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts)
        lums.append(0.2126 * red + 0.7152 * green + 0.0722 * blue)
    return (max(lums) + 0.05) / (min(lums) + 0.05)
