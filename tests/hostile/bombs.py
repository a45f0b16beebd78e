"""Small files that would exhaust a machine, by kind: each is written into a folder and named with a command."""

import gzip
import io
import json
import struct
import sys
from collections.abc import Callable
from pathlib import Path

from backports import zstd

PLAN = '[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n'
LOG = "time_s,battery_v\n" + "".join(f"{n / 10},12.7\n" for n in range(100))
ROWS = "".join(f"{n / 10},12.7\n" for n in range(100))
MANY = 1_000_000  # bytes: the largest that the promise is about

Bomb = Callable[[Path], list[str]]


def a_plan(text: str | bytes) -> Bomb:
    """A plan, for ``benchlog plan``."""

    def put(folder: Path) -> list[str]:
        _put(folder / "x.plan.toml", text)
        return ["plan", "x.plan.toml"]

    return put


def a_logger(text: str | bytes) -> Bomb:
    """A logger file, beside a good log."""

    def put(folder: Path) -> list[str]:
        _put(folder / "x.logger.toml", text)
        return [*a_log(LOG)(folder), "--logger", "x.logger.toml"]

    return put


def a_log(content: str | bytes, name: str = "x.csv") -> Bomb:
    """A log, checked by a good plan."""

    def put(folder: Path) -> list[str]:
        _put(folder / name, content)
        _put(folder / "p.toml", PLAN)
        return ["check", name, "--plan", "p.toml"]

    return put


def made(make: Callable[[], bytes], name: str) -> Bomb:
    """A log whose bytes are worth making only when it is their turn."""

    def put(folder: Path) -> list[str]:
        return a_log(make(), name)(folder)

    return put


def _put(path: Path, content: str | bytes) -> None:
    path.write_bytes(content if isinstance(content, bytes) else content.encode())


def zstd_bomb(unpacked: int, level: int = 19) -> bytes:
    """Zeros after a log's first lines, some 30,000 for one byte."""
    packer = zstd.ZstdCompressor(level=level)
    parts = [packer.compress(LOG.encode())]
    piece = (b"9.9,12.7\n" * 120_000)[: 1 << 20]
    parts += [packer.compress(piece) for _ in range(unpacked >> 20)]
    return b"".join([*parts, packer.flush()])


def zstd_frames(unpacked: int) -> bytes:
    """One frame whose blocks say "this byte, so often": four bytes for 128 kB (RFC 8878, 3.1.1.2)."""
    head = struct.pack("<I", 0xFD2FB528) + bytes([0x00, 0x70])  # no size told, a window of 16 MB
    block = (1 << 1 | (128 << 10) << 3).to_bytes(3, "little") + b"\n"
    last = (1 | 1 << 1 | 1 << 3).to_bytes(3, "little") + b"\n"
    packed_log = zstd.compress(LOG.encode())
    return packed_log + head + block * (unpacked >> 17) + last


def gzip_bomb(unpacked: int) -> bytes:
    """The same line without end, about 1,000 for one byte; packed twice over by repeating members."""
    piece = gzip.compress(b"9.9,12.7\n" * 1_000_000, 9)
    return gzip.compress(LOG.encode()) + piece * (unpacked // 9_000_000)


def parquet_bomb(rows: int) -> bytes:
    """A table of one value, said once and repeated."""
    import polars as pl

    out = io.BytesIO()
    frame = pl.select(time_s=pl.int_range(rows, dtype=pl.Int64) * 0, battery_v=pl.repeat(12.7, rows, dtype=pl.Float64))
    frame.write_parquet(out, compression="zstd", compression_level=19, row_group_size=rows)
    return out.getvalue()


def parquet_texts(rows: int) -> bytes:
    """A long text, said once in the dictionary and meant by every row."""
    import polars as pl

    out = io.BytesIO()
    frame = pl.DataFrame({"time_s": range(rows), "battery_v": [12.7] * rows, "mark": ["x" * 100_000] * rows})
    frame.write_parquet(out, compression="zstd", row_group_size=rows)
    return out.getvalue()


def parquet_lie() -> bytes:
    """A table of 40 rows whose last page says that it unpacks to 2 GB."""
    import polars as pl

    out = io.BytesIO()
    frame = pl.DataFrame({name: [n + 0.1 for n in range(40)] for name in ("time_s", "battery_v")})
    frame.write_parquet(out, compression="zstd", statistics=False)
    told = out.getvalue()
    # a page's header: field 1, a data page; field 2, its size; field 3, its packed size (Thrift's compact form)
    at = told.rindex(b"\x00\x15\x00\x15", 0, len(told) - 8 - int.from_bytes(told[-8:-4], "little")) + 4
    end = at + 2 if told[at] & 0x80 else at + 1
    longer = 5 - (end - at)
    body = told[:at] + b"\xfe\xff\xff\xff\x0f" + told[end:]  # 2**31 - 1, zigzag
    # the column's packed size, in the table of contents, grows with it
    begin, data = at - 3, told.index(b"\x28\xb5\x2f\xfd", at)
    packed = told[end + 1 : told.index(b"\x2c", end)]
    size = data - begin + sum((byte & 127) << 7 * n for n, byte in enumerate(packed)) // 2
    old, new = b"\x16" + _zigzag(size), b"\x16" + _zigzag(size + longer)
    place = body.rindex(old)
    return body[:place] + new + body[place + len(old) :]


def _zigzag(number: int) -> bytes:
    left, out = 2 * number, bytearray()
    while left > 127:
        out.append(left & 127 | 128)
        left >>= 7
    return bytes([*out, left])


BOMBS: dict[str, Bomb] = {
    # ---- plans
    "a dotted key of 16,000 parts": a_plan(PLAN + ".".join("a" * 16_000) + " = 1\n"),
    "a dotted key of 100,000 parts": a_plan(PLAN + ".".join("a" * 100_000) + " = 1\n"),
    "a dotted table of 100,000 parts": a_plan(PLAN + "[" + ".".join("a" * 100_000) + "]\n"),
    "a dotted list of tables": a_plan(PLAN + "[[" + ".".join("a" * 100_000) + "]]\n"),
    "a dotted key with spaces and quotes": a_plan(PLAN + " . ".join(['"a"'] * 60_000) + " = 1\n"),
    "dotted keys of 400 parts, many": a_plan(PLAN + "".join(f"{'.'.join('a' * 400)}.b{n} = 1\n" for n in range(1000))),
    "arrays nested 100,000 deep": a_plan(PLAN + "x = " + "[" * 100_000),
    "inline tables nested": a_plan(PLAN + "x = " + "{a = " * 50_000),
    "a megabyte of newlines": a_plan("\n" * 999_000),
    "63 kB of newlines": a_plan("\n" * 63_000),
    "blank lines before brackets": a_plan((" " * 900 + "[\n") * 1000),
    "a line of spaces": a_plan(" " * 999_000),
    "a line of digits": a_plan("1" * 999_000),
    "lines of digits and signs": a_plan(("1-" * 450 + "\n") * 1000),
    "a number of 5,000 digits": a_plan(PLAN.replace("11.2", "9" * 5000)),
    "a capacity of 1e308": a_plan(PLAN.replace("11.2", "1e308")),
    "a capacity of 1e-300": a_plan(PLAN.replace("11.2", "1e-300")),
    "limits of 1e308": a_plan(PLAN + "[limits]\noff_state_drain_ma = 1e308\nresting_min_v = 1e308\n"),
    "currents of 1e308": a_plan(PLAN + '[[circuit]]\nslot = 1\ndevice = "x"\nplanned_a = 1e308\n' * 1),
    "currents of 1e308, twice": a_plan(
        PLAN + "".join(f'[[circuit]]\nslot = {n}\ndevice = "x"\nplanned_a = 1e308\n' for n in (1, 2))
    ),
    "fuses of 1e308 and 1e-300": a_plan(
        PLAN
        + '[feed]\nfuse_a = 1e308\nconductor = "4 mm2"\nlength_m = 1e-300\n'
        + '[[circuit]]\nslot = 1\ndevice = "x"\nplanned_a = 1e-300\nfuse_a = 1e-300\n'
    ),
    "60,000 unknown keys": a_plan(PLAN + "".join(f"k{n} = 1\n" for n in range(60_000))),
    "a key of a megabyte": a_plan(PLAN + "a" * 990_000 + " = 1\n"),
    "40,000 circuits": a_plan(PLAN + "[[circuit]]\nslot=1\n" * 40_000),
    "a wire size of a megabyte": a_plan(PLAN + '[feed]\nconductor = "' + "4" * 900_000 + '"\n'),
    "a word of a megabyte": a_plan(PLAN.replace("agm", "x" * 990_000)),
    "a name of a megabyte": a_plan(PLAN.replace("Larch", "x" * 990_000)),
    # ---- logger files
    "40,000 channels": a_logger('[[channel]]\ncolumn = "a"\n' * 30_000),
    "a column named by a megabyte": a_logger('[[channel]]\ncolumn = "' + "a" * 990_000 + '"\nrole = "battery_v"\n'),
    "a dotted key in a logger file": a_logger("[[channel]]\n" + ".".join("a" * 100_000) + " = 1\n"),
    "resolution of 1e-300": a_logger(
        '[time]\ncolumn = "time_s"\n[[channel]]\ncolumn = "battery_v"\nrole = "battery_v"\nresolution = 1e-300\n'
    ),
    "offset of 1e308": a_logger(
        '[time]\ncolumn = "time_s"\n[[channel]]\ncolumn = "battery_v"\nrole = "battery_v"\n'
        "offset_error = 1e308\ngain_error_pct = 1e308\nscale = 1e308\n"
    ),
    "scale of 1e308": a_logger(
        '[time]\ncolumn = "time_s"\n[[channel]]\ncolumn = "battery_v"\nrole = "battery_v"\nscale = 1e308\n'
    ),
    "900,000 texts for over range": a_logger(
        '[time]\ncolumn = "time_s"\n[[channel]]\ncolumn = "battery_v"\nrole = "battery_v"\n'
        "over_range = [" + '"a",' * 200_000 + "]\n"
    ),
    # ---- logs as text
    "a megabyte of newlines as a log": a_log("\n" * MANY),
    "63 kB of newlines as a log": a_log("\n" * 63_000),
    "a log of spaces": a_log(" " * MANY),
    "a log of commas": a_log("," * MANY),
    "a log of quotes": a_log('"' * MANY),
    "a log of quotes in lines": a_log('time_s,battery_v\n"\n' + '"' * 1000 + ("\n" + '"' * 1001) * 900),
    "a log of comments": a_log("time_s,battery_v\n" + "#\n" * 490_000 + ROWS),
    "a log of notes": a_log("time_s,battery_v\n" + "# note: x\n" * 98_000 + ROWS),
    "a header of 300,000 columns": a_log("time_s,battery_v" + ",a" * 300_000 + "\n" + ROWS),
    "rows of 2,000 columns": a_log("time_s,battery_v" + ",a" * 2000 + "\n" + ("1,12" + "," * 2000 + "\n") * 480),
    "a header of a megabyte": a_log("time_s,battery_v," + "a" * 990_000 + "\n" + ROWS),
    "headers that are nearly roles": a_log("time_s,battery_v" + ",batery_w" * 7000 + "\n" + ROWS),
    "values of 1e308": a_log("time_s,battery_v,battery_a\n" + "".join(f"{n},1e308,-1e308\n" for n in range(5000))),
    "values of 1e308 either way": a_log(
        "time_s,battery_v,battery_a,feed_v,trigger_v,ground_v,drain_a,feed_a\n"
        + "".join(
            f"{n / 10},{'1e308,' * 3}{'-1e308,' * 3}1e308\n" if n % 7 else f"{n / 10},{'-1e308,' * 6}1\n"
            for n in range(9000)
        )
    ),
    "values of 1e-300": a_log("time_s,battery_v,battery_a\n" + "".join(f"{n},1e-300,1e-300\n" for n in range(5000))),
    "steps of 1e-300": a_log("time_s,battery_v\n" + "".join(f"{n}e-300,12.7\n" for n in range(5000))),
    "times of 1e308": a_log("time_s,battery_v\n" + "".join(f"{n}e305,12.7\n" for n in range(900))),
    "one step of 1e300": a_log("time_s,battery_v\n" + ROWS + "1e300,12.7\n"),
    "times of 1e15": a_log("time_s,battery_v,battery_a\n" + "".join(f"{n}e12,12.7,0.1\n" for n in range(900))),
    "a mark of 5,000 digits": a_log("time_s,battery_v,mark\n0,12.7,slot " + "9" * 5000 + " on\n1,12.7,\n2,12.7,\n"),
    "a mark of a megabyte": a_log("time_s,battery_v,mark\n0,12.7," + "key on " * 130_000 + "\n1,12.7,\n2,12.7,\n"),
    "80,000 marks": a_log("time_s,battery_v,mark\n" + "".join(f"{n},12,k{n}\n" for n in range(60_000))),
    "60,000 key marks": a_log(
        "time_s,battery_v,mark\n" + "".join(f"{n},12,key {('on', 'off')[n % 2]}\n" for n in range(50_000))
    ),
    "50,000 slot marks": a_log(
        "time_s,battery_v,mark\n" + "".join(f"{n},12,slot {n % 12} {('on', 'off')[n % 2]}\n" for n in range(50_000))
    ),
    "50,000 zeros": a_log(
        "time_s,drain_a,mark\n" + "".join(f"{n},1,{('zero', 'zero end')[n % 2]}\n" for n in range(50_000))
    ),
    "50,000 bridges": a_log(
        "time_s,drain_a,mark\n" + "".join(f"{n},1,{('shunt bridged', 'shunt free')[n % 2]}\n" for n in range(40_000))
    ),
    "a trigger that never rests": a_log(
        "time_s,battery_v,battery_a,trigger_v,feed_v,drain_a\n"
        + "".join(f"{n / 100},12,{n % 3},{12 * (n % 2)},{12 * (n % 2)},1\n" for n in range(40_000))
    ),
    "cells of 5,000 digits": a_log("time_s,battery_v\n" + "".join(f"{n},{'9' * 5000}\n" for n in range(190))),
    "dates out of the calendar": a_log(
        "time,battery_v\n" + "".join(f"{9999 - n}-01-01T00:00:00,12\n" for n in range(2000))
    ),
    "a log of zero bytes": a_log(LOG.encode() + b"\0" * 900_000),
    "a log of carriage returns": a_log("time_s,battery_v\r" + "\r" * 990_000),
    "text in UTF-16": a_log(("time_s,battery_v\n" + "\n" * 400_000).encode("utf-16")),
    # ---- packed logs
    "zstd, 32 GB in a megabyte": made(lambda: zstd_frames(32 << 30), "x.csv.zst"),
    "zstd, 8 GB in 260 kB": made(lambda: zstd_frames(8 << 30), "x.csv.zst"),
    "zstd, a log without end": made(lambda: zstd_bomb(3 << 30, 3), "x.csv.zst"),
    "gzip, 500 MB in a megabyte": made(lambda: gzip_bomb(500_000_000), "x.csv.gz"),
    "parquet, 100 million rows": made(lambda: parquet_bomb(100_000_000), "x.parquet"),
    "parquet, pages that say 2 GB": made(parquet_lie, "x.parquet"),
    "parquet, long marks": made(lambda: parquet_texts(30_000), "x.parquet"),
}


if __name__ == "__main__":  # a process of its own, that the trial itself stays small
    print(json.dumps(BOMBS[sys.argv[1]](Path(sys.argv[2])) if len(sys.argv) > 1 else list(BOMBS)))
