"""Writes the sample logs: one table in every form that a reader takes. Run it from the project's top folder."""

import binascii
import gzip
from collections.abc import Callable
from functools import reduce
from pathlib import Path

import polars as pl
import zstandard

HERE = Path(__file__).parent
ROWS = 12
MARKS = {2: "key on", 7: "slot 2 on"}


def table() -> pl.DataFrame:
    """Twelve samples, 10 a second: a load comes on at the eighth; one voltage is missing."""
    return pl.DataFrame(
        {
            "time_s": [round(n * 0.1, 1) for n in range(ROWS)],
            "battery_v": [None if n == 4 else round(12.75 - 0.05 * (n >= 7) - 0.001 * n, 3) for n in range(ROWS)],
            "battery_a": [round(0.25 + 3.5 * (n >= 7), 2) for n in range(ROWS)],
            "mark": [MARKS.get(n, "") for n in range(ROWS)],
        }
    )


def text(
    separator: str = ",",
    decimal: str = ".",
    missing: str = "",
    quote: Callable[[str], str] = str,
    header: bool = True,
    eol: str = "\n",
) -> str:
    """The table as text."""
    frame = table()
    lines = [[quote(name) for name in frame.columns]] if header else []
    for row in frame.iter_rows():
        cells = [missing if cell is None else str(cell).replace(".", decimal) for cell in row[:3]]
        lines.append([quote(cell) for cell in [*cells, row[3]]])
    return "".join(separator.join(line) + eol for line in lines)


def spaced() -> str:
    """Columns lined up with spaces, as some serial terminals show them."""
    lines = [row.split("\t") for row in text("\t", missing="---", quote=lambda cell: cell or "-").splitlines()]
    quoted = [[f'"{cell}"' if " " in cell else cell for cell in line] for line in lines]
    return "".join("  ".join(cell.rjust(9) for cell in line) + "\n" for line in quoted)


def xored(line: str) -> str:
    """A line with the checksum of NMEA 0183."""
    return f"{line}*{reduce(lambda a, b: a ^ b, line.encode()):02X}"


def crc(line: str) -> str:
    """A line with a CRC-16/CCITT-FALSE."""
    return f"{line}*{binascii.crc_hqx(line.encode(), 0xFFFF):04x}"


def summed(sum_of: Callable[[str], str], eol: str = "\n") -> bytes:
    """The table as a logger sends it."""
    return "".join(sum_of(line) + eol for line in text().splitlines()).encode()


def main() -> None:
    """Write all samples."""
    comma = text()
    preamble = "Two-range shunt logger\nserial;0042\nstarted at,12:00\n\n"
    commented = comma.replace("0.5,", "# supply touched here\n0.5,", 1)
    forms = {
        "comma.csv": comma.encode(),
        "bom.csv": comma.encode("utf-8-sig"),
        "crlf.csv": text(eol="\r\n").encode(),
        "semicolon.csv": text(";").encode(),
        "decimal_comma.csv": text(";", ",").encode(),
        "decimal_comma_tab.tsv": text("\t", ",").encode(),
        "tab.tsv": text("\t").encode(),
        "space.txt": spaced().encode(),
        "quoted.csv": text(quote=lambda cell: f'"{cell}"').encode(),
        "nan.csv": text(missing="nan").encode(),
        "big_nan.csv": text(missing="NaN").encode(),
        "dashes.csv": text(missing="---").encode(),
        "dash.csv": text(missing="-").encode(),
        "preamble.csv": (preamble + comma).encode(),
        "comments.csv": ("# by hand\n" + commented).encode(),
        "utf16le.csv": b"\xff\xfe" + comma.encode("utf-16-le"),
        "utf16be.csv": b"\xfe\xff" + comma.encode("utf-16-be"),
        "plain.csv.gz": gzip.compress(comma.encode(), mtime=0),
        "plain.csv.zst": zstandard.compress(comma.encode()),
        "units_row.csv": comma.replace("\n", "\ns,V,A,\n", 1).encode(),
        "no_last_newline.csv": comma.rstrip("\n").encode(),
        "carriage_returns.csv": text(eol="\r").encode(),
    }
    for name, data in forms.items():
        (HERE / "delimited" / name).write_bytes(data)
    bare, *lines = summed(xored).decode().splitlines(keepends=True)
    card = {
        "xor.csv": summed(xored),
        "xor_crlf.txt": b"\r\n" + summed(xored, "\r\n"),
        "crc.log": summed(crc),
        "bare_header.csv": "".join([bare.rpartition("*")[0] + "\n", *lines]).encode(),
        "dollar.txt": b"".join(b"$" + line for line in summed(xored).splitlines(keepends=True)),
        "packed.csv.gz": gzip.compress(summed(xored), mtime=0),
        "no_last_newline.csv": summed(xored).rstrip(b"\n"),
    }
    for name, data in card.items():
        (HERE / "stream" / name).write_bytes(data)
    table().write_parquet(HERE / "parquet" / "plain.parquet", compression="uncompressed")
    table().write_parquet(HERE / "parquet" / "packed.parquet", row_group_size=5)


if __name__ == "__main__":
    main()
