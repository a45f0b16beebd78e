"""Exports: safe in a spreadsheet, whole for another program."""

import csv
import io
import json
import os
from pathlib import Path

import pytest
from store_cases import save_small

from benchlog.core.errors import BenchlogError
from benchlog.store import Store
from benchlog.store.entry import canonical, hash_of
from benchlog.store.exporting import COLUMNS, cell, csv_lines, json_lines, write_pieces

pytest_plugins = ("store_fixtures",)


def table(store: Store, bike: str | None = None) -> list[dict[str, str]]:
    """The CSV export, read again."""
    return list(csv.DictReader(io.StringIO("".join(csv_lines(store, bike)), newline="")))


def test_there_is_a_row_for_each_check_of_each_record(store: Store, tmp_path: Path):
    """Facts of the record and of the check side by side; numbers come back as they were."""
    save_small(store, tmp_path, resting_v=12.600000000000001, temperature_c=-5.5)
    save_small(store, tmp_path, "Rowan", corrects=1)
    store.sign(1, "bench two")

    rows = table(store)

    assert [(row["record"], row["check"]) for row in rows] == [
        *(("1", "resting_voltage"), ("1", "off_state_drain")),
        *(("2", "resting_voltage"), ("2", "off_state_drain")),
    ]
    first = rows[0]
    assert tuple(first) == COLUMNS
    assert float(first["measured"]) == 12.600000000000001
    assert (first["temperature_c"], first["corrected_by"], first["signed_by"]) == ("-5.5", "2", "bench two")
    assert (first["recorded_at"], first["limit_min"]) == ("2025-05-01T12:00:00.000000Z", "12.6")
    assert rows[1]["measured"] == ""
    assert [row["bike"] for row in table(store, "Rowan")] == ["Rowan", "Rowan"]


@pytest.mark.parametrize("lead", ["=", "+", "-", "@", "\t", "\r"])
def test_a_text_is_never_a_formula(store: Store, tmp_path: Path, lead: str):
    """Whatever a spreadsheet takes for a formula gets an apostrophe before it (OWASP, CSV Injection)."""
    evil = f'{lead}HYPERLINK("http://x","y")'
    number = save_small(store, tmp_path, notes=evil)
    if lead.isprintable():
        store.sign(number, evil)

    row = table(store)[0]

    assert row["notes"] == f"'{evil}"
    if lead.isprintable():
        assert row["signed_by"] == f"'{evil}"


def test_numbers_stay_numbers():
    """A negative number begins with a sign that is no formula."""
    assert [cell(-1.5), cell(0), cell(None)] == [-1.5, 0, None]
    assert [cell("-1.5"), cell("plain"), cell("a=b")] == ["'-1.5", "plain", "a=b"]


def test_json_holds_every_entry_and_its_hash(store: Store, tmp_path: Path):
    """The chain can be proven from the export alone."""
    save_small(store, tmp_path, notes='Ω \u2028 "quoted"')
    store.sign(1, "bench two")

    entries = json.loads("".join(json_lines(store)))["entries"]

    assert [entry["kind"] for entry in entries] == ["record", "signature"]
    for entry in entries:
        body = canonical(entry["body"])
        assert entry["hash"] == hash_of(entry["number"], entry["kind"], entry["made_at"], entry["previous"], body)
    assert entries[1]["previous"] == entries[0]["hash"]


def test_an_empty_store_exports_an_empty_table(store: Store):
    """A header alone, and an empty list."""
    assert table(store) == []
    assert "".join(csv_lines(store)).startswith("record,bike,")
    assert json.loads("".join(json_lines(store)))["entries"] == []


def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path: Path):
    """What is no file is not put aside for one: that would take a device from everyone."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_pieces(pipe, ["one\n", "two\n"])
        got = os.read(reader, 100)
    finally:
        os.close(reader)

    assert got == b"one\ntwo\n"
    assert pipe.is_fifo()
    assert [path.name for path in tmp_path.iterdir()] == ["pipe"]


def test_an_export_is_written_whole_or_not_at_all(tmp_path: Path):
    """An export that fails midway leaves the file that was there."""
    target = tmp_path / "out.csv"
    target.write_text("before", encoding="utf-8")

    def breaking():
        yield "half"
        raise BenchlogError("the server went away")

    with pytest.raises(BenchlogError, match="the server went away"):
        write_pieces(target, breaking())
    with pytest.raises(BenchlogError, match="the export cannot be written"):
        write_pieces(tmp_path / "nowhere" / "out.csv", ["x"])
    with pytest.raises(BenchlogError, match="this is a folder, a file name is needed"):
        write_pieces(tmp_path, ["x"])

    assert target.read_text(encoding="utf-8") == "before"
    assert [path.name for path in tmp_path.iterdir()] == ["out.csv"]
