"""A logger's own lines in a file, as on a memory card: checksums are looked at, and the rest is a table."""

from functools import reduce
from pathlib import Path

import numpy as np
import pytest

from benchlog.core.errors import BadLog
from benchlog.log.foreign.look import look
from benchlog.log.log import Log
from benchlog.log.readers.summed import summed_kind


def summed(line: str) -> str:
    """With its XOR checksum."""
    return f"{line}*{reduce(lambda a, b: a ^ b, line.encode()):02X}"


def lines(count: int, first: int = 0) -> list[str]:
    """Samples 10 ms apart: the number, and twice the number."""
    return [summed(f"{n / 100:.2f},{12 + n % 2},{2 * n}") for n in range(first, first + count)]


HEADER = "time_s,battery_v,battery_a"


def written(folder: Path, rows: list[str], end: str = "\n") -> Path:
    """A file of these lines."""
    path = folder / "CARD.TXT"
    path.write_bytes("".join(row + end for row in rows).encode())
    return path


def read(path: Path, block_bytes: int = 8 << 20) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Times, currents and notes."""
    with Log.open(path, block_bytes=block_bytes) as log:
        trace = log.trace(-1e9, 1e9)
        return trace.time_s, trace.values["battery_a"], [note.text for note in log.notes]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("block_bytes", [50, 8 << 20])
def test_right_lines_are_read_and_headers_between_are_skipped(tmp_path: Path, end: str, block_bytes: int):
    """Every sample is there, whatever the blocks; headers that come again, with or without a sum, are no rows."""
    rows = [summed(HEADER), *lines(30), summed(HEADER), *lines(30, 30), "# note: by hand", *lines(40, 60)]
    time_s, amps, notes = read(written(tmp_path, rows, end), block_bytes)

    assert np.array_equal(amps, 2.0 * np.arange(100))
    assert time_s == pytest.approx(np.arange(100) / 100)
    assert any("by hand" in note for note in notes)


def test_header_without_a_sum_may_come_again(tmp_path: Path):
    """Only a header may lack its checksum; it is known again further on."""
    _, amps, notes = read(written(tmp_path, [HEADER, *lines(20), HEADER, *lines(20, 20)]))

    assert np.array_equal(amps, 2.0 * np.arange(40))
    assert not any("too few" in note for note in notes)


def test_wrong_and_missing_sums_are_left_out_and_counted(tmp_path: Path):
    """A flipped bit, and a sample that lost its sum, are no samples; the note counts them and shows the first."""
    rows = lines(400)
    rows[100] = rows[100].replace(",200*", ",201*")
    rows[200] = rows[200].partition("*")[0]
    time_s, amps, notes = read(written(tmp_path, [summed(HEADER), *rows]))

    assert len(amps) == 398
    assert 201.0 not in amps
    assert 2.0 not in np.round(time_s, 2)
    assert "2 lines with wrong or missing checksums were left out" in notes


def test_many_wrong_sums_refuse_the_file(tmp_path: Path):
    """More than one row in a hundred that cannot be trusted is no log to judge from."""
    rows = lines(400)
    for n in range(100, 120):
        rows[n] = rows[n].replace(",", ";", 1)

    with pytest.raises(BadLog, match=r"20 lines with wrong or missing checksums; .* a shorter cable"):
        read(written(tmp_path, [summed(HEADER), *rows]))


def test_plain_tables_are_not_taken_for_lines_with_sums():
    """A star and two digits by chance, in a note or a product, is no checksum: three right ones and half of all are."""
    assert summed_kind(b"time_s,mark\n1,a*3F\n2,b*00\n3,c*11\n") is None
    assert summed_kind("\n".join([*lines(3), "x", "y", "z", "w", ""]).encode()) is None
    assert summed_kind("\n".join([*lines(3), ""]).encode()) == "xor"


def test_columns_are_asked_for_without_their_sums(tmp_path: Path):
    """``benchlog logger`` sees the columns of such a file as they are, not the last one with a checksum behind it."""
    table = look(written(tmp_path, [summed(HEADER), *lines(50)]))

    assert [column.header for column in table.columns] == HEADER.split(",")
