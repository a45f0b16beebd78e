"""The fuse-pull walk is kept with a record: terminal, page and sheet show its table, with or without the log's copy."""

import json
from pathlib import Path

import pytest
from page_server import NASTY, SAMPLES
from test_fuse_walk import AROUND, _walked
from test_pages import texts
from truth_table import canonical_logger

import benchlog
from benchlog.report.html import render_html
from benchlog.report.words import walks_of
from benchlog.store import Record, open_store
from benchlog.store.engine import reading
from benchlog.store.listing import record_json, record_text
from benchlog.store.reading import entry_at
from dashboards.context import Context
from dashboards.looked import Behind
from dashboards.one_result import result_page
from dashboards.settings import Settings
from dashboards.sheet import sheet_page
from dashboards.trays import Trays
from dashboards.words.times import zone_of


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, benchlog.Result]:
    """A store with one walk kept by its hash alone, of a plan whose device tries to be HTML, and one plain record."""
    folder = tmp_path_factory.mktemp("walk")
    sim = _walked(AROUND)
    plan, log = folder / "walk.plan.toml", folder / "walk.csv"
    plan.write_text(sim.plan_toml.replace('"auxiliary lamp"', f"'{NASTY}'"), encoding="utf-8")
    sim.frame.to_csv(log, index=False)
    logger = canonical_logger(sim.spec)
    with open_store(str(folder / "records.sqlite")) as store:
        result = benchlog.check(log, plan=plan, logger=logger)
        store.save(result, plan=plan, loggers=logger, logs=[log], keep_logs=False)
        late = SAMPLES / "fault_slow_drop_out.csv"
        larch = SAMPLES / "larch.plan.toml"
        store.save(benchlog.check(late, plan=larch), plan=larch, logs=[late], keep_logs=False)
    return folder / "records.sqlite", result


def _record(made: tuple[Path, benchlog.Result], number: int) -> Record:
    with open_store(str(made[0])) as store:
        return store.record(number)


def test_a_record_keeps_the_walk_without_the_log(made):
    """Draws, uncertainties, shares and the drain come back as they were found, though only the log's hash is kept."""
    kept, fresh = _record(made, 1), made[1].evidence.logs[0]

    assert kept.logs[0].kept is None
    assert kept.logs[0].key_off_draws == fresh.key_off_draws
    assert kept.logs[0].key_off_drain_ma == fresh.key_off_drain_ma
    assert kept.walks == walks_of(made[1])
    assert len(kept.walks[0][1]) == 5


def test_a_record_without_a_walk_says_nothing_of_it(made):
    """No fuse pulled: the body of the record is as before, and nothing is shown."""
    record = _record(made, 2)
    with open_store(str(made[0])) as store, reading(store.engine, store.where) as connection:
        entry = entry_at(connection, 2)

    assert record.walks == []
    assert "key_off" not in json.loads(entry.body)["logs"][0]
    assert "What each circuit draws" not in record_text(record, record.hash)


def test_the_ledger_stays_whole(made):
    """The walk is part of what is hashed, and verifies."""
    with open_store(str(made[0])) as store:
        assert store.verify() == []


def test_records_show_has_the_table(made):
    """The terminal shows each circuit with current and share; as JSON the figures are whole."""
    record = _record(made, 1)
    text, plain = record_text(record, record.hash), json.loads(record_json(record))

    assert "What each circuit draws with the key off" in text
    assert "97 % of the drain" in text
    assert [draw["slot"] for draw in plain["logs"][0]["key_off"]["draws"]] == [1, 2, 3, 4]


@pytest.mark.parametrize("page", ["record", "checked", "sheet"])
def test_page_and_sheet_show_the_reports_table(made, page):
    """Every cell of the report's table stands on the page of a record, of a fresh check and on the sheet, as text."""
    context = Context(Settings(), open_store(str(made[0])), Trays(1 << 20))
    record = context.store.record(1)
    if page == "sheet":
        content = sheet_page(context, 1, zone_of("UTC"))[1]
    else:
        whose = Behind("record 1", record.result, (), record=record) if page == "record" else Behind("x", made[1], ())
        content = result_page(context, whose, [], [])
    context.close()
    shown = texts(content)

    ((log, rows),) = walks_of(made[1])
    assert "What each circuit draws with the key off" in shown
    assert f"in {log}." in shown
    assert all(cell in shown for row in rows for cell in row if cell)
    assert NASTY in shown
    assert NASTY not in render_html(made[1])
