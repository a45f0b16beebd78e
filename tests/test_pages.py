"""The pages' parts as functions: what a stretch is, what is drawn of it, what is kept, said and asked for."""

import io
import shutil
import threading
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from page_server import SAMPLES, fill, texts, until

import benchlog
from benchlog.bench.live import LiveState, LiveStep
from benchlog.core.errors import BenchlogError
from benchlog.core.trace import Trace
from benchlog.log.log import Log
from benchlog.logger.model import Channel, Logger, LogTime
from benchlog.report.figures.view import drawn_overview, drawn_samples, needs_samples, view_figure
from benchlog.store import open_store
from dashboards import checked_page, log_view, results, sheet
from dashboards.app import page_at
from dashboards.checking import Checked, wish_of
from dashboards.context import Context
from dashboards.drawn_file import read_drawn, write_drawn
from dashboards.drop_form import start_check, tray_list
from dashboards.kept_samples import KeptSamples
from dashboards.live_page import looked_at, value_words
from dashboards.looked import at_hand, behind, reading
from dashboards.measuring_page import measuring_page
from dashboards.parts.bar import bar
from dashboards.settings import Settings
from dashboards.shelf import LookedAt, drawn_path
from dashboards.stretches import around, dragged, stepped, typed, within
from dashboards.trays import Trays
from dashboards.words.times import spoken, zone_of
from dashboards.work import BROKEN, Works

WHOLE = (0.0, 100.0)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with three sheets; tests work on copies."""
    folder = tmp_path_factory.mktemp("filled")
    with open_store(str(folder / "records.sqlite")) as store:
        fill(store, folder)
    return folder


@pytest.fixture
def context(filled: Path, tmp_path: Path):
    """The pages' context over a copy of the filled store."""
    shutil.copytree(filled, tmp_path / "data")
    made = Context(Settings(), open_store(str(tmp_path / "data" / "records.sqlite")), Trays(64 << 20))
    yield made
    made.close()


@pytest.fixture(scope="module")
def checked() -> benchlog.Result:
    """The sample install's result, with its evidence."""
    return benchlog.check(SAMPLES / "acceptance.csv", plan=SAMPLES / "larch.plan.toml")


# which stretch comes next


def test_a_drag_asks_for_its_stretch():
    """Both forms in which plotly tells a drag count; a double click asks for the whole, a resize for nothing."""
    assert dragged({"xaxis.range[0]": 3, "xaxis.range[1]": 5.5}, WHOLE) == (3.0, 5.5)
    assert dragged({"xaxis.range": [1, 2]}, WHOLE) == (1.0, 2.0)
    assert dragged({"xaxis.autorange": True}, WHOLE) == WHOLE
    for nothing in (None, {}, {"autosize": True}, {"xaxis.range[0]": "a", "xaxis.range[1]": 2}):
        assert dragged(nothing, WHOLE) is None


def test_buttons_step_and_zoom():
    """In shows a quarter about the middle, out four times as much, earlier and later move by half."""
    assert stepped("in", (40, 80), WHOLE) == (55, 65)
    assert stepped("out", (55, 65), WHOLE) == (40, 80)
    assert stepped("earlier", (40, 80), WHOLE) == (20, 60)
    assert stepped("later", (40, 80), WHOLE) == (60, 100)
    assert stepped("whole", (40, 80), WHOLE) == WHOLE
    assert stepped("sideways", (40, 80), WHOLE) is None


def test_typed_times_take_point_or_comma():
    """Numbers in order are a stretch; anything else is none."""
    assert typed("1,5", " 2.25 ") == (1.5, 2.25)
    for wrong in (("2", "1"), ("1", "1"), ("", "1"), ("nan", "1"), ("0", "inf"), (None, None), ("1", "1e99")):
        assert typed(*wrong) is None


@pytest.mark.parametrize("wanted", [(-50, -10), (90, 400), (7, 3), (50, 50), (-1e9, 1e9), (99.9999, 100.0)])
def test_a_stretch_stays_in_the_log(wanted):
    """Whatever is asked for, the shown stretch lies in the log, is in order and holds a few samples."""
    first, last = within(wanted, WHOLE, step_s=0.01)

    assert 0 <= first < last <= 100 + 1e-9
    assert last - first >= 0.04 - 1e-12


def test_a_check_is_shown_with_room():
    """A relay's 6 ms get 20 samples on either side; a long span a quarter of itself."""
    assert around(10.0, 10.006, 0.001) == pytest.approx((9.98, 10.026))
    assert around(0, 100, 0.001) == (-25, 125)


# what is drawn


def test_no_peak_is_lost_in_a_band():
    """One sample of 17.25 V and one of 6.5 V among a million stay the ends of the band."""
    time_s = np.arange(1_000_000) * 1e-3
    volts = np.full(len(time_s), 12.0)
    volts[123_456], volts[777_777] = 17.25, 6.5

    drawn = drawn_samples(Trace(time_s, {"battery_v": volts}, {}))["battery_v"]

    assert np.nanmax(drawn.edge) == 17.25
    assert np.nanmin(drawn.edge) == 6.5
    assert len(drawn.time_s) <= 2000


def test_few_samples_are_drawn_one_by_one():
    """Up to 2000 samples are all there, gaps included, without a band."""
    volts = np.array([12.0, np.nan, 11.0])

    drawn = drawn_samples(Trace(np.array([0.0, 0.1, 0.2]), {"battery_v": volts}, {}))["battery_v"]

    assert drawn.value == pytest.approx(volts, nan_ok=True)
    assert len(drawn.edge) == 0


def _long_log(seconds: float, rate_hz: int) -> pl.DataFrame:
    rng = np.random.default_rng(4)
    time_s = np.arange(int(seconds * rate_hz)) / rate_hz
    return pl.DataFrame({"time_s": time_s, "battery_v": rng.normal(12.5, 0.01, len(time_s)),
                         "battery_a": rng.normal(0.01, 0.001, len(time_s))})  # fmt: skip


def test_buckets_serve_wide_stretches_and_samples_narrow_ones(tmp_path):
    """The overview draws the whole log; a stretch with too few buckets is read from the kept copy at full rate."""
    frame = _long_log(200, 1000)
    frame.write_parquet(tmp_path / "kept.parquet")
    with Log.from_frame(frame, max_buckets=4096) as log:
        overview = log.overview
    samples = KeptSamples(tmp_path / "kept.parquet", overview)
    near = drawn_samples(samples.trace(50.0, 50.1))["battery_v"]
    straight = frame.filter((pl.col("time_s") >= 50.0) & (pl.col("time_s") <= 50.1))

    assert not needs_samples(overview, 0, 200)
    assert needs_samples(overview, 50.0, 50.1)
    assert near.value == pytest.approx(straight["battery_v"].to_numpy())
    assert np.nanmax(drawn_overview(overview, 0, 200)["battery_v"].edge) == frame["battery_v"].max()


@pytest.mark.parametrize("left_out", [0, 3])
def test_kept_samples_are_those_of_the_stretch(tmp_path, left_out):
    """Any stretch holds the samples that a plain filter gives, also where the overview counts other rows."""
    frame = _long_log(20, 500)
    frame.write_parquet(tmp_path / "kept.parquet", row_group_size=700)
    with Log.from_frame(frame.head(len(frame) - left_out), max_buckets=64) as log:
        samples = KeptSamples(tmp_path / "kept.parquet", log.overview)
    rng = np.random.default_rng(9)
    for first, wide in zip(rng.uniform(-2, 21, 40), rng.uniform(0, 3, 40), strict=True):
        part = frame.filter((pl.col("time_s") >= first) & (pl.col("time_s") <= first + wide))
        trace = samples.trace(first, first + wide, ["battery_a"])

        assert trace.time_s == pytest.approx(part["time_s"].to_numpy())
        assert trace.values["battery_a"] == pytest.approx(part["battery_a"].to_numpy())


def test_over_range_in_a_kept_copy_is_missing(tmp_path):
    """The number that stands for over range in a kept copy is drawn as a gap, never as a value."""
    frame = pl.DataFrame({"time_s": [0.0, 1.0, 2.0], "battery_a": [1.0, 9.9e37, -1.0], "mark": [None, "key on", None]})
    frame.write_parquet(tmp_path / "kept.parquet")

    meant = Channel(column="battery_a", role="battery_a", unit="A", over_range=("9.9e37",))
    with Log.from_frame(frame.drop("mark"), Logger(time=LogTime(column="time_s"), channel=(meant,))) as log:
        trace = KeptSamples(tmp_path / "kept.parquet", log.overview).trace(0, 5)

    assert list(trace.values) == ["battery_a"]
    assert trace.values["battery_a"] == pytest.approx([1.0, np.nan, -1.0], nan_ok=True)


def test_view_marks_every_check_and_state(checked):
    """The figure has a bar for each check with a span in this log, with its verdict's shape, and one for each state."""
    (evidence,) = checked.evidence.logs
    marks = [(check, "●") for check in checked.checks]
    figure = view_figure(evidence, marks, drawn_overview(evidence.overview, 0, 80), 0.0, 80.0)
    bars = [row for trace in figure["data"] if trace["type"] == "bar" for row in trace["y"]]
    spans = [check for check in checked.checks if check.log == evidence.log and check.from_s is not None]

    assert {"key off", "key on", "cranking", "running"} <= set(bars)
    assert len([name for name in bars if name.endswith("●")]) == len(spans) > 10
    assert figure["layout"]["xaxis"]["range"] == [0.0, 80.0]


def test_long_stretches_are_told_in_hours():
    """Twelve hours are marked in hours and minutes, a relay's milliseconds in seconds."""
    from benchlog.report.figures.view import _time_axis

    assert _time_axis(0, 43_200)["ticktext"][:2] == ["0:00", "2:00"]
    assert _time_axis(10.0, 10.1)["ticktext"] is None
    assert _time_axis(10.0, 10.1)["title"]["text"] == "Time / s"


def test_drawn_file_gives_back_what_is_drawn(checked, tmp_path):
    """Overview, spans, relay events and load points come back from the disk as they went."""
    (evidence,) = checked.evidence.logs
    write_drawn(tmp_path / "x.drawn", evidence)

    back = read_drawn(tmp_path / "x.drawn")

    assert back is not None
    assert (back.log, back.roles, back.spans) == (evidence.log, evidence.roles, evidence.spans)
    assert (back.battery_points, back.feed_points) == (evidence.battery_points, evidence.feed_points)
    assert back.settlings == evidence.settlings
    assert back.pull_ins[0].values["feed_v"] == pytest.approx(evidence.pull_ins[0].values["feed_v"], nan_ok=True)
    for role, band in evidence.overview.bands.items():
        assert back.overview.bands[role].max == pytest.approx(band.max, nan_ok=True)


@pytest.mark.parametrize("content", [b"", b"rubbish", b"PK\x03\x04 cut"])
def test_broken_drawn_file_is_none(tmp_path, content):
    """A file that is cut short or something else is made anew, not trusted."""
    (tmp_path / "x.drawn").write_bytes(content)

    assert read_drawn(tmp_path / "x.drawn") is None
    assert read_drawn(tmp_path / "none.drawn") is None


def test_drawing_belongs_to_a_plan(context, tmp_path):
    """Another plan looks for other things, so its drawing is another file beside the same copy."""
    one, other = context.store.record(1).plan, context.store.record(3).plan

    assert drawn_path(tmp_path / "a.parquet", one) == drawn_path(tmp_path / "a.parquet", one)
    assert drawn_path(tmp_path / "a.parquet", one) != drawn_path(tmp_path / "a.parquet", other)


# one result


def test_record_is_read_once_then_at_hand(context):
    """A record's log is read in the background the first time; after that its drawing lies on the disk."""
    whose = behind(context, "record 2")
    before = at_hand(context, whose, 0)
    job = reading(context, whose, 0)
    until(lambda: job.state in ("done", "failed"))
    looked = at_hand(context, whose, 0)

    assert before is None
    assert job.state == "done", job.problem
    assert looked.evidence.log == "fault_slow_drop_out.csv"
    assert list(context.store.logs.rglob("*.drawn"))
    assert context.store.verify() == []


def test_moving_gives_the_visible_stretch_alone(context):
    """A click on a check's button answers with a patch of the figure that holds its milliseconds, and says so."""
    whose = behind(context, "record 2")
    job = reading(context, whose, 0)
    until(lambda: job.state == "done")
    moved = log_view.move(context, "record 2", 0, "show", {"check": "relay_drop_out"})
    patch, shown, _, _, said = moved
    check = whose.result.check("relay_drop_out")
    range_ = [op["params"]["value"] for op in patch.to_plotly_json()["operations"] if op["location"][-1] == "range"]

    assert shown[0] < check.from_s < check.to_s < shown[1]
    assert shown[1] - shown[0] < 1
    assert said.endswith("every sample.")
    assert shown in range_
    assert "two times in seconds" in log_view.move(context, "record 2", 0, "go", {"from": "x", "to": "1"})
    assert log_view.move(context, "record 2", 0, "show", {"check": "no_such"}) == ""


def test_buttons_come_before_the_figure():
    """A figure that was resized at the moment of a click does not take the click away."""
    graph, button = {"part": "graph", "log": 0}, {"part": "step", "log": 0, "by": "in"}
    ids = {"g": graph, "b": button}
    both = [{"prop_id": "g", "value": {"autosize": True}}, {"prop_id": "b", "value": 1}]

    assert log_view.asked_by(both, ids) == button
    assert log_view.asked_by(both[:1], ids) == graph
    assert log_view.asked_by([{"prop_id": "b", "value": None}], ids) is None


@pytest.mark.parametrize("source", ["record 99", "record x", "record -1", "checked none", "", None, "record 1 OR 1=1"])
def test_what_a_page_names_is_looked_up(context, source):
    """A source that is no record's number and no check's id gives a message, nothing else."""
    with pytest.raises(BenchlogError, match=r"no longer here|no record|there is none|99"):
        behind(context, source)


def test_signing_needs_a_name_and_a_record(context):
    """A name signs, and its notes stand beside it; no name, too much text or an unsaved check signs nothing."""
    nobody = sheet.sign(context, "record 1", "  ", "", UTC)
    long = sheet.sign(context, "record 1", "x" * 81, "", UTC)
    given, said = sheet.sign(context, "record 1", "bench one", "all well", UTC)

    assert nobody[0] is None
    assert long[0] is None
    assert said == "Signed by bench one."
    assert "bench one" in texts(given)
    assert "all well" in texts(given)
    assert [s.by for s in context.store.record(1).signatures] == ["bench one"]


# results


def test_results_list_the_last_filed_first(context):
    """The list starts with the newest sheet, and with a bike chosen holds that bike's alone."""
    _, everything = results.results_page(context, None, 0, UTC)
    title, alder = results.results_page(context, "Alder", 0, UTC)
    rows = context.store.rows()

    assert [row.number for row in rows] == [3, 2, 1]
    assert texts(everything).index("No. 3") < texts(everything).index("No. 2") < texts(everything).index("No. 1")
    assert title == "Results of Alder"
    assert "No. 3" in texts(alder)
    assert "No. 2" not in texts(alder)


@pytest.mark.parametrize(("path", "says"), [("/", "Drop a log and its plan"), ("/season", "Check a log and save it"),
                                            ("/live", "Live"), ("/x", "no such page")])  # fmt: skip
def test_empty_pages_say_what_to_do(tmp_path, path, says):
    """Without a record every page opens, and says what to do next."""
    made = Context(Settings(), open_store(str(tmp_path / "r.sqlite")), Trays(1 << 20))
    _, content = page_at(made, path, {}, UTC)
    made.close()

    assert says in texts(content)


@pytest.mark.parametrize("path", ["/record/99", "/record/99999999999/sheet"])
def test_record_that_is_not_there_is_told(context, path):
    """A number that no record has is a message, not a broken page."""
    with pytest.raises(BenchlogError, match="99"):
        page_at(context, path, {}, UTC)


def test_season_and_bikes_open(context):
    """The season shows what to do and its readings; all bikes stand at a glance."""
    title, one = page_at(context, "/season", {"bike": "Larch"}, UTC)
    _, by_record = page_at(context, "/season", {"record": "1"}, UTC)
    _, every = page_at(context, "/season", {}, UTC)

    assert title == "Season of Larch"
    assert "What to do, worst first" in texts(one)
    assert texts(by_record) == texts(one)
    assert "Alder" in texts(every)
    assert "Larch" in texts(every)


# the tray


def _drop(trays: Trays, tray: str | None, path: Path, name: str | None = None) -> str:
    kept, _ = trays.take(tray, name or path.name, io.BytesIO(path.read_bytes()), path.stat().st_size)
    return kept.id


def test_tray_tells_files_apart(context):
    """Plans, logger files and logs are told apart by what they hold; a log named before is taken as such."""
    tray = None
    for name in ("acceptance.csv", "acceptance.logger.toml", "larch.plan.toml", "before.csv"):
        tray = _drop(context.trays, tray, SAMPLES / name)
    held = context.trays.get(tray)
    shown = texts(tray_list(context, held))

    assert [len(held.of_kind(kind)) for kind in ("log", "logger", "plan", "unknown")] == [2, 1, 1, 0]
    assert "Recorded before the install" in shown
    assert "acceptance.csv" in shown


def test_same_name_twice_is_kept_twice(context):
    """Two files of one name lie side by side, the second under a number."""
    tray = _drop(context.trays, None, SAMPLES / "larch.plan.toml", "a.toml")
    _drop(context.trays, tray, SAMPLES / "larch.plan.toml", "a.toml")

    assert [file.name for file in context.trays.get(tray).files.values()] == ["a.toml", "a-2.toml"]


def test_what_is_missing_is_told(context):
    """Without files, log or plan a check says which is missing."""
    tray = _drop(context.trays, None, SAMPLES / "larch.plan.toml")
    held = context.trays.get(tray)

    with pytest.raises(BenchlogError, match="no file is here"):
        wish_of(None, "", "")
    with pytest.raises(BenchlogError, match="no log is here"):
        wish_of(held, next(iter(held.files)), "")
    _drop(context.trays, tray, SAMPLES / "acceptance.csv")
    with pytest.raises(BenchlogError, match="no plan is chosen"):
        wish_of(held, "record 1; drop", "")


def test_check_and_filing_by_a_plan_on_file(context):
    """A log alone is checked by the plan of a record, filed with its notes and drawn at once afterwards."""
    tray = _drop(context.trays, None, SAMPLES / "fault_slow_drop_out.csv")
    _drop(context.trays, tray, SAMPLES / "fault_slow_drop_out.logger.toml")
    job = context.works.get(start_check(context, tray, "record 2", ""))
    until(lambda: job.state in ("done", "failed"))
    source = f"checked {job.id}"
    looked = at_hand(context, behind(context, source), 0)
    with pytest.raises(BenchlogError, match="temperature"):
        checked_page.save(context, source, "", "hot", ["keep"])
    saving = checked_page.save(context, source, "by hand", "21,5", ["keep"])
    until(lambda: saving.state in ("done", "failed"))
    record = context.store.record(saving.result)

    assert job.state == "done", job.problem
    assert isinstance(job.result, Checked)
    assert isinstance(looked, LookedAt)
    assert saving.state == "done", saving.problem
    assert (record.notes, record.temperature_c, record.bike) == ("by hand", 21.5, "Larch")
    assert record.result.verdict == job.result.result.verdict == "fail"
    assert at_hand(context, behind(context, f"record {record.number}"), 0) is not None


def test_a_hand_meters_readings_are_checked_and_filed(context, tmp_path):
    """Readings that are dropped in count as a log without drawings: checked by a plan on file, and filed."""
    path = tmp_path / "readings.toml"
    path.write_text(
        '[meter]\nvoltage = { pct = 0.5, digits = 2 }\n[[reading]]\nrole = "battery_v"\nstate = "running"\n'
        'value = "14.21"\nunit = "V"\n',
        encoding="utf-8",
    )
    tray = _drop(context.trays, None, path)
    shown = texts(tray_list(context, context.trays.get(tray)))
    job = context.works.get(start_check(context, tray, "record 2", ""))
    until(lambda: job.state in ("done", "failed"))
    saving = checked_page.save(context, f"checked {job.id}", "", "", ["keep"])
    until(lambda: saving.state in ("done", "failed"))

    assert "readings of a hand meter" in shown
    assert job.state == "done", job.problem
    assert job.result.result.check("charging_voltage").verdict == "pass"
    assert saving.state == "done", saving.problem
    assert behind(context, f"record {saving.result}").logs == ()
    assert context.store.record(saving.result).logs[0].readings == path.read_text(encoding="utf-8")


def test_the_measuring_sheet_is_there_for_plans_on_file_and_kept(context, monkeypatch, tmp_path):
    """The page says what the printed file says, of a record's plan or of a kept one; without either it says so."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    (tmp_path / "data" / "plans").mkdir(parents=True)
    (tmp_path / "data" / "plans" / "larch.plan.toml").write_bytes((SAMPLES / "larch.plan.toml").read_bytes())
    filed, kept = (measuring_page(context, asked) for asked in ({"record": "2"}, {"plan": "larch.plan.toml"}))

    assert texts(filed[1]) == texts(kept[1])
    assert kept[0] == "Larch, measuring sheet"
    assert "Drop of the feed" in texts(kept[1])
    with pytest.raises(BenchlogError, match="no plan was named for the measuring sheet"):
        measuring_page(context, {"plan": "../larch.plan.toml"})


def test_same_work_is_done_once():
    """Two browsers that ask for the same join one job; a failed one is tried again; a fault inside is not shown."""
    works, gate = Works(), threading.Event()
    one = works.start("waiting", lambda _: gate.wait(10), key="k")
    other = works.start("waiting", lambda _: gate.wait(10), key="k")
    gate.set()
    until(lambda: one.state == "done")

    def broken(_: object) -> None:
        raise BenchlogError("the log is bad")

    failed = works.start("broken", broken, key="f")
    until(lambda: failed.state == "failed")
    again = works.start("broken", broken, key="f")
    inside = works.start("crash", lambda _: 1 / 0)
    until(lambda: inside.state == "failed")
    works.close()

    assert one is other
    assert failed.problem == "the log is bad"
    assert again is not failed
    assert inside.problem == BROKEN


# small parts


def test_bar_stands_where_the_numbers_say(checked):
    """Every box of a bar lies inside it, and its label says value and limit."""
    for check in checked.checks:
        drawn = bar(check)
        if drawn is None:
            assert check.measured is None or check.limit is None
            continue
        places = [float(part.style["left"].rstrip("%")) for part in drawn.children if getattr(part, "style", None)]
        assert all(0 <= at <= 100 for at in places)
        assert "limit" in drawn.to_plotly_json()["props"]["aria-label"]


def test_times_are_spoken_in_the_readers_zone():
    """An hour in UTC is another by the reader's clock; a zone nobody knows is UTC, a path is none."""
    at = datetime(2026, 7, 1, 22, 30, tzinfo=UTC)

    assert spoken(at, zone_of("Europe/Berlin")) == "2 Jul 2026, 00:30 CEST"
    for unknown in ("Nowhere/Land", "../../etc/passwd", "", None, 3, "x" * 99):
        assert zone_of(unknown) is UTC


def test_live_page_shows_caution_and_silence():
    """The step's caution stands before what to do; a recording that went quiet says for how long."""
    step = LiveStep(1, 4, "crank", "Start the engine", "Press the starter.", "Open air only.", "the starter's current")
    state = LiveState("a.csv", "/dev/x", 0.0, 100.0, last={"battery_a": -0.0042, "drain_a": None}, step=step)
    parts = looked_at([state], 104.0)
    said = texts(parts["live-step"]["children"])

    assert said.index("Open air only.") < said.index("Press the starter.")
    assert "silent for 4 s" in texts(parts["live-now"]["children"])
    assert "no reading" in texts(parts["live-now"]["children"])
    assert "Nothing is being recorded" in texts(looked_at([], 0.0)["live-now"]["children"])
    assert [value_words(x) for x in (-0.0042, 0.5, 12.345)] == ["-0.0042", "0.500", "12.35"]


def test_dates_are_days_alone():
    """A date has no zone and stays the same day."""
    from dashboards.words.times import day

    assert day(date(2026, 3, 1), zone_of("Pacific/Auckland")) == "1 Mar 2026"
