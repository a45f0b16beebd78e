"""Lines of a stream: checksums against published values, forms found by themselves, bad lines counted, never fatal."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchlog.core.errors import BadLog
from benchlog.log.readers.lines import LineParser, Parsed
from benchlog.log.readers.lines.block import Block
from benchlog.log.readers.lines.checksum import DIGITS, body_of, checksum_of, kind_of, right
from benchlog.logger.model import Logger, logger_from_mapping

COLUMNS = ("t_us", "battery_v", "battery_a")
NAMED = logger_from_mapping(
    {
        "time": {"column": "t_us", "unit": "us"},
        "channel": [
            {"column": "battery_v", "role": "battery_v"},
            {"column": "battery_a", "role": "battery_a", "over_range": ["OL"]},
        ],
    }
)
NUMBERED = logger_from_mapping(
    {
        "time": {"column": 1, "unit": "us"},
        "channel": [{"column": 2, "role": "battery_v"}, {"column": 3, "role": "battery_a"}],
    }
)


def signed(line: str, checksum: str) -> str:
    """A line with its checksum."""
    if not checksum:
        return line
    return f"{line}*{checksum_of(checksum, line.removeprefix('$').encode()):0{DIGITS[checksum]}X}"


def cells_of(n: int) -> tuple[str, str, str]:
    """The sample with this number."""
    return str(1_000_000 + 1000 * n), f"{12.5 + n / 1000:.3f}", f"{-0.5 + n / 100:.2f}"


def sample(form: str, n: int) -> str:
    """One line of a form."""
    cells = cells_of(n)
    pairs = [f"{name}={cell}" for name, cell in zip(COLUMNS, cells, strict=True)]
    return {
        "csv": ",".join(cells),
        "semicolon": ";".join(cell.replace(".", ",") for cell in cells),
        "tab": "\t".join(cells),
        "space": "  ".join(cells),
        "pairs": ",".join(pairs),
        "pairs;": "; ".join(pairs),
        "pairs space": " ".join(pairs),
        "json": json.dumps({name: float(cell) for name, cell in zip(COLUMNS, cells, strict=True)}),
    }[form]


HEADERS = {
    "csv": ",".join(COLUMNS),
    "semicolon": ";".join(COLUMNS),
    "tab": "\t".join(COLUMNS),
    "space": " ".join(COLUMNS),
}
FORMS = ("csv", "semicolon", "tab", "space", "pairs", "pairs;", "pairs space", "json")


def fed(parser: LineParser, data: bytes, size: int = 1 << 20) -> list[Parsed]:
    """All that a stream gives, in pieces of ``size`` bytes."""
    parts = [parser.feed(data[at : at + size]) for at in range(0, len(data), size)]
    return [part for part in [*parts, parser.feed(b"", last=True)] if part is not None]


def times(parts: list[Parsed]) -> list[float]:
    """The time column of what was kept."""
    return [float(value) for part in parts if part.raw.time is not None for value in part.raw.time]


def refused(parts: list[Parsed]) -> dict[str, int]:
    """Reason -> lines."""
    whole: dict[str, int] = {}
    for part in parts:
        for reason, count in part.refused.items():
            whole[reason] = whole.get(reason, 0) + count
    return whole


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # NMEA 0183, the sentences as printed in a library's documentation and worked out again
        ("GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000", 0x6D),
        ("GPGLL,4916.45,N,12311.12,W,225444,A,", 0x1D),
        ("GPGLL,4916.45,N,12311.12,W,225444,A", 0x31),
        ("HEHDT,178.3,T", 0x22),
        ("", 0x00),
    ],
)
def test_exclusive_or_is_that_of_nmea_0183(text: str, value: int):
    """The 8-bit checksum gives the values of published sentences."""
    assert checksum_of("xor", text.encode()) == value


@pytest.mark.parametrize(("text", "value"), [("123456789", 0x29B1), ("", 0xFFFF), ("A", 0xB915)])
def test_crc_is_ccitt_false(text: str, value: int):
    """The 16-bit checksum gives the check value of CRC-16/CCITT-FALSE (IBM-3740), and neither of its look-alikes."""
    assert checksum_of("crc", text.encode()) == value
    assert value not in (0x31C3, 0xE5CC)


def test_message_followed_by_its_crc_gives_nothing():
    """A CRC over a message and its own CRC is zero, as for every CRC without a final exclusive or."""
    assert checksum_of("crc", b"123456789" + bytes([0x29, 0xB1])) == 0


def test_sentence_printed_with_a_wrong_checksum_is_refused():
    """``$HEHDT,178.3,T*1E``, found in print, is wrong: *22 is right."""
    block = Block.of(b"$HEHDT,178.3,T*1E\n$HEHDT,178.3,T*22\n")

    there, good = right("xor", block.octets, block.starts, block.ends)

    assert there.tolist() == [True, True]
    assert good.tolist() == [False, True]
    assert body_of(b"$HEHDT,178.3,T*1E", "xor") == (b"HEHDT,178.3,T", False)


@settings(deadline=None)  # the first call loads what a loaded machine takes long for
@given(
    lines=st.lists(st.binary(max_size=60).map(lambda line: line.replace(b"\n", b"")), min_size=1, max_size=20),
    kind=st.sampled_from(["xor", "crc"]),
    spoiled=st.sets(st.integers(0, 19)),
)
def test_checksums_of_a_block_are_those_of_its_lines(lines: list[bytes], kind: str, spoiled: set[int]):
    """Worked out for a whole block at once or line by line, checksums are the same."""
    written = []
    for n, line in enumerate(lines):
        value = checksum_of(kind, line.removeprefix(b"$")) ^ (n in spoiled)
        written.append(line + f"*{value:0{DIGITS[kind]}X}".encode())
    block = Block.of(b"\n".join(written) + b"\n")

    there, good = right(kind, block.octets, block.starts, block.ends)

    assert there.all()
    assert good.tolist() == [n not in spoiled for n in range(len(lines))]


def test_long_lines_have_checksums_too():
    """A line longer than the CRC's table is worked out all the same."""
    line = b"1" * 3000
    block = Block.of(line + f"*{checksum_of('crc', line):04X}\n".encode())

    assert right("crc", block.octets, block.starts, block.ends)[1].tolist() == [True]


@pytest.mark.parametrize("checksum", ["", "xor", "crc"])
@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("size", [7, 1 << 20])
def test_every_form_is_found_by_itself(form: str, checksum: str, size: int):
    """Each form, plain and with either checksum, gives the same samples however the bytes are cut."""
    lines = [HEADERS[form]] if form in HEADERS else []
    lines += [sample(form, n) for n in range(30)]
    data = ("\r\n".join(signed(line, checksum) for line in lines) + "\r\n").encode()
    parser = LineParser(NAMED)

    parts = fed(parser, data, size)

    assert parser.form is not None
    assert parser.form.checksum == checksum
    assert times(parts) == [1e6 + 1000 * n for n in range(30)]
    volts = np.concatenate([part.raw.values["battery_v"] for part in parts])
    assert volts == pytest.approx([12.5 + n / 1000 for n in range(30)])
    assert refused(parts) == {}


def test_rows_are_those_that_came_with_room_for_a_mark():
    """CSV passes through as it came, with an empty cell for the mark at the end; named values become such rows."""
    for form in ("csv", "pairs"):
        lines = ([HEADERS[form]] if form in HEADERS else []) + [sample(form, n) for n in range(6)]
        parts = fed(LineParser(NAMED), ("\n".join(lines) + "\n").encode())

        assert b"".join(part.rows for part in parts).decode() == "".join(f"{sample('csv', n)},\n" for n in range(6))


def test_leading_dollar_is_no_part_of_a_line():
    """Lines in the manner of NMEA 0183 begin with ``$``, which neither the checksum nor the first cell has."""
    data = "".join(signed(f"${sample('csv', n)}", "xor") + "\n" for n in range(10)).encode()
    parts = fed(LineParser(NUMBERED), data)

    assert times(parts) == [1e6 + 1000 * n for n in range(10)]


def test_columns_by_number_need_no_header():
    """A stream without a header is read by a logger file that numbers its columns."""
    parser = LineParser(NUMBERED)

    parts = fed(parser, "".join(sample("csv", n) + "\n" for n in range(8)).encode())

    assert parser.columns == ("column_1", "column_2", "column_3")
    assert len(times(parts)) == 8


def test_header_that_comes_again_is_no_sample():
    """A header that is sent again for those who come late is neither a sample nor refused."""
    lines = [line for n in range(20) for line in ([HEADERS["csv"]] if n % 5 == 0 else []) + [sample("csv", n)]]
    parts = fed(LineParser(NAMED), ("\n".join(lines) + "\n").encode(), 64)

    assert times(parts) == [1e6 + 1000 * n for n in range(20)]
    assert refused(parts) == {}


def test_listener_who_comes_late_learns_the_header():
    """Joined in the middle of a line, the half line is dropped, and the header that follows names what came before."""
    lines = [*(sample("csv", n) for n in range(5)), HEADERS["csv"], *(sample("csv", n) for n in range(5, 10))]
    data = ("\n".join(lines) + "\n").encode()[4:]
    parts = fed(LineParser(NAMED), data)

    assert times(parts) == [1e6 + 1000 * n for n in range(1, 10)]
    assert refused(parts) == {"cut": 1}


def test_first_line_that_is_whole_is_kept():
    """Without a header and a checksum the first line counts where it goes on like those below it."""
    data = "".join(f"{t},12.5,0.1\n" for t in (9_998, 9_999, 10_000, 10_001, 10_002)).encode()
    parts = fed(LineParser(NUMBERED), data)

    assert times(parts) == [9998, 9999, 10000, 10001, 10002]


def test_header_that_comes_late_to_nobody_who_knows():
    """Taken for a stream without a header, it still tells its names when they come."""
    parser = LineParser(None)
    parser.feed("".join(sample("csv", n) + "\n" for n in range(5)).encode(), last=True)

    parser.feed((HEADERS["csv"] + "\n" + sample("csv", 6) + "\n").encode())

    assert parser.late_header == COLUMNS


def test_bad_lines_are_counted_by_reason():
    """A wrong checksum, half a line, rubbish, a wrong number of cells and an unreadable number are told apart."""
    good = [sample("csv", n) for n in range(12)]
    bad = {3: "1003000,12.5", 5: "\x00\xff\x80rub", 7: "1,2,3,4,5", 9: "1008500,12.x,0.1"}
    lines = [HEADERS["csv"]]
    for n, line in enumerate(good):
        lines += [bad[n]] if n in bad else []
        lines.append(line)
    parts = fed(LineParser(NAMED), "\n".join([*lines, ""]).encode("latin-1"))

    assert times(parts) == [1e6 + 1000 * n for n in range(12)]
    assert refused(parts) == {"cut": 1, "rubbish": 2, "unreadable": 1}


def test_flipped_bit_is_found_by_the_checksum():
    """One flipped bit in a line that reads well without its checksum refuses that line alone."""
    lines = [signed(sample("csv", n), "xor") for n in range(10)]
    lines[4] = lines[4].replace("12.", "13.", 1)
    lines[6] = lines[6][:-2]
    parts = fed(LineParser(NAMED), "\n".join([HEADERS["csv"], *lines, ""]).encode())

    assert len(times(parts)) == 8
    assert refused(parts) == {"checksum": 1, "cut": 1}


def test_cut_pairs_and_objects_are_refused():
    """A line that lost its end is refused, whichever form it has; a number that was cut is never taken for a whole."""
    for form in ("pairs", "json"):
        lines = [sample(form, n) for n in range(10)]
        lines[5] = lines[5][: lines[5].rindex("battery_a") - 2]
        parts = fed(LineParser(NAMED), "\n".join([*lines, ""]).encode())

        assert len(times(parts)) == 9
        assert sum(refused(parts).values()) == 1


def test_object_may_lack_a_value():
    """A key that is not there, or null, is a missing sample; keys in another order do no harm."""
    lines = [json.dumps({"t_us": 1000 * n, "battery_v": 12.5, "battery_a": 1.5}) for n in range(6)]
    lines.insert(3, '{"battery_v":12.5,"t_us":2500}')
    lines.insert(5, '{"t_us":3500,"battery_v":12.5,"battery_a":null}')
    parts = fed(LineParser(NAMED), "\n".join([*lines, ""]).encode())

    current = np.concatenate([part.raw.values["battery_a"] for part in parts])
    assert times(parts) == [0, 1000, 2000, 2500, 3000, 3500, 4000, 5000]
    assert np.isnan(current).tolist() == [False] * 3 + [True, False, True, False, False]


@pytest.mark.parametrize("form", ["pairs", "json"])
def test_names_in_another_order_keep_their_values(form: str):
    """A line that names its values in another order than the others is read by its names, in the middle of a batch."""
    lines = [sample(form, n) for n in range(20)]
    lines[12] = "t_us=1012000,battery_a=-0.38,battery_v=12.512"
    if form == "json":
        lines[12] = '{"t_us": 1012000.0, "battery_a": -0.38, "battery_v": 12.512}'
    parser = LineParser(NAMED)
    parser.feed(("\n".join(lines[:5]) + "\n").encode())
    parser.feed(("\n".join(lines[5:10]) + "\n").encode())
    parts = fed(parser, ("\n".join(lines[10:]) + "\n").encode())

    volts = np.concatenate([part.raw.values["battery_v"] for part in parts])
    assert volts == pytest.approx([12.5 + n / 1000 for n in range(10, 20)])


def test_over_range_is_no_fault():
    """A cell with a text that means over range is flagged, not refused."""
    lines = [sample("csv", n) for n in range(6)]
    lines[3] = lines[3].rpartition(",")[0] + ",OL"
    parts = fed(LineParser(NAMED), "\n".join([HEADERS["csv"], *lines, ""]).encode())

    flagged = [part.raw.over["battery_a"].tolist() for part in parts if "battery_a" in part.raw.over]
    assert flagged == [[False, False, False, True, False, False]]
    assert refused(parts) == {}


def test_notes_of_the_logger_are_handed_on():
    """``# note:`` lines of the stream are kept as notes, other comments are dropped."""
    lines = ["# started", HEADERS["csv"], sample("csv", 0), sample("csv", 1), "# note: shunt changed", sample("csv", 2)]
    parts = fed(LineParser(NAMED), "\n".join([*lines, ""]).encode())

    assert [note for part in parts for note in part.notes] == ["shunt changed"]
    assert len(times(parts)) == 3


def test_logger_file_that_does_not_suit_is_refused():
    """Names that the stream does not have are told with those it has."""
    parser = LineParser(NAMED, "port")

    with pytest.raises(BadLog, match="port: the logger file names columns that the log lacks: 't_us'"):
        fed(parser, b"time,volts,amps\n1,2,3\n2,2,3\n3,2,3\n")


def test_stream_that_ends_in_a_long_line_is_no_burden():
    """Bytes without a line end are dropped after a while, and counted."""
    parser = LineParser(NAMED)
    fed(parser, "\n".join([HEADERS["csv"], *(sample("csv", n) for n in range(5)), ""]).encode())

    for _ in range(40):
        parser.feed(b"\x55" * 4096)

    assert parser.holds < 40_000


@settings(max_examples=150, deadline=None)
@given(data=st.lists(st.binary(max_size=80), max_size=12), known=st.booleans())
def test_any_bytes_are_survived(data: list[bytes], known: bool):
    """Whatever comes, before the form is known or after, nothing is raised but that the logger file does not suit."""
    parser = LineParser(NAMED if known else None)
    if known:
        parser.feed("\n".join([HEADERS["csv"], sample("csv", 0), sample("csv", 1), ""]).encode())
        assert parser.form is not None

    for piece in data:
        parser.feed(piece, few=True)
    parser.interrupted()
    parts = fed(parser, b"\n" + ("\n".join(sample("csv", n) for n in (7, 8, 9)) + "\n").encode())

    if known:
        assert times(parts)[-2:] == [1_008_000, 1_009_000]


def rubbish(checksum: str) -> st.SearchStrategy[bytes]:
    """Lines that are no samples: any bytes where a checksum tells, letters and odd bytes where not."""
    if not checksum:
        return st.binary(min_size=1, max_size=40).map(
            lambda line: b"?\x01" + line.replace(b"\n", b"").replace(b"\r", b"")
        )
    lines = st.binary(max_size=50).map(lambda line: line.replace(b"\n", b"").replace(b"\r", b""))
    return lines.filter(lambda line: kind_of(line) != checksum or not body_of(line, checksum)[1])


@settings(max_examples=100, deadline=None)
@given(data=st.data(), form=st.sampled_from(FORMS), checksum=st.sampled_from(["", "xor", "crc"]))
def test_good_lines_among_rubbish_are_kept_once_in_order(data: st.DataObject, form: str, checksum: str):
    """Every good line is kept once and in order, whatever stands between and however the bytes are cut."""
    lines = [signed(HEADERS[form], checksum).encode()] if form in HEADERS else []
    for n in range(12):
        lines += data.draw(st.lists(rubbish(checksum), max_size=1))
        lines.append(signed(sample(form, n), checksum).encode())
    stream = b"\n".join(lines) + b"\n"

    parts = fed(LineParser(NAMED), stream, data.draw(st.integers(1, len(stream))))

    assert times(parts) == [1e6 + 1000 * n for n in range(12)]


def test_logger_alone_names_what_is_read():
    """Without a logger file the stream's own names are roles."""
    lines = ["time_s,battery_v,battery_a [mA]", "0,12.5,100", "1,12.5,200", "2,12.5,300", ""]
    parser = LineParser(None)
    parts = fed(parser, "\n".join(lines).encode())

    assert parser.meaning is not None
    assert isinstance(parser.meaning.logger, Logger)
    assert parts[0].raw.values["battery_a"].tolist() == pytest.approx([0.1, 0.2, 0.3])
