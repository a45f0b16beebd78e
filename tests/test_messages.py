"""Every message that a rider can meet from the readers, the files of settings and the check: how it comes, its text.

``PROVOKED`` is the table. A second test reads the sources and fails where a message stands that no entry brings up,
so a new message needs an entry here.
"""

# ruff: noqa: E501 a message is searched for in one piece

import errno
import gzip
import os
import shutil
from collections.abc import Callable
from functools import reduce
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from messages import FOLDER, Entry, command, done, fails, while_it
from messages import test_every_message_is_heard as test_every_message_is_heard
from messages import test_message_reads_like_this as test_message_reads_like_this

from benchlog import check
from benchlog.commands.demo import REPORT, run_demo
from benchlog.core.files import refuse_unwritable, write_whole
from benchlog.find.answers import read_answers
from benchlog.find.questions import Question
from benchlog.log.log import Log
from benchlog.log.readers.hints import relay_time_hint
from benchlog.log.readers.source import Source
from benchlog.logger.model import Channel, Logger, LogTime, load_logger
from benchlog.plan.model import Limits, load_plan

ROOT = Path(__file__).parent.parent / "benchlog"

PLAN = '[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n'
CHANNEL = '[[channel]]\ncolumn = "I"\nrole = "battery_a"\n'
AMPS = Channel(column="I", role="battery_a", unit="A")


def logger(*channels: Channel, unit: str = "s", wraps_at: float | None = None) -> Logger:
    """A logger whose time column is headed t."""
    time = LogTime.model_validate({"column": "t", "unit": unit, "wraps_at": wraps_at})
    return Logger(time=time, channel=channels or (AMPS,))


def rows(count: int, row: str = "{n},12.5", header: str = "time_s,battery_v") -> str:
    """A log of so many rows; ``{n}`` is the row's number."""
    return header + "\n" + "".join(row.replace("{n}", str(n)) + "\n" for n in range(count))


def log(content: str | bytes, text: str, known: Logger | None = None, name: str = "log.csv") -> Entry:
    """A log with this content."""

    def bring(folder: Path) -> list[str]:
        path = folder / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        with Log.open(path, known) as opened:
            return [note.text for note in opened.notes]

    return Entry(bring, text)


def summed(count: int, wrong: int) -> str:
    """A logger's own lines with checksums, the last so many of them damaged on their way."""
    lines = rows(count).splitlines()
    right = [f"{line}*{reduce(lambda a, b: a ^ b, line.encode()):02X}" for line in lines]
    damaged = [line.replace(",", ";") for line in right[count + 1 - wrong :]]
    return "\n".join([*right[: count + 1 - wrong], *damaged, ""])


def plan(content: str | bytes, text: str) -> Entry:
    """A plan file with this content; the text is that of its one fault."""

    def bring(folder: Path) -> None:
        path = folder / "plan.toml"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        load_plan(path)

    return Entry(bring, f"{FOLDER}/plan.toml: the plan cannot be used\n  {text}")


def mine(content: str, text: str) -> Entry:
    """A logger file with this content."""

    def bring(folder: Path) -> list[str]:
        path = folder / "mine.toml"
        path.write_text(content, encoding="utf-8")
        return list(load_logger(path).notes)

    noted = text.startswith("note: ")
    return Entry(
        bring, text.removeprefix("note: ") if noted else f"{FOLDER}/mine.toml: the logger file cannot be used\n  {text}"
    )


def answers(content: str, text: str) -> Entry:
    """A file of answers with this content."""

    def bring(folder: Path) -> None:
        path = folder / "answers.toml"
        path.write_text(content, encoding="utf-8")
        questions = (
            Question("voltage 30 to 87, all on", "voltage", "all on", 1.5, start="30", end="87"),
            Question("feed fuse intact", "look", "power off", 1.0, of="feed fuse intact"),
        )
        read_answers(path, {question.name: question for question in questions})

    return Entry(bring, f"{FOLDER}/answers.toml: the answers cannot be used\n  {text}")


def at_end_of_stick(folder: Path) -> None:
    """A drive that is pulled out while the log is read."""
    path = folder / "log.csv"
    path.write_text(rows(9), encoding="utf-8")
    source = Source(path)
    while_it(os, "pread", errno.EIO, lambda _: source.at(0, 9))(folder)


def shortened(folder: Path) -> None:
    """A log that is cut while it is read."""
    path = folder / "log.csv"
    path.write_text(rows(99), encoding="utf-8")
    with Log.open(path, block_bytes=100) as opened:
        os.truncate(path, 150)
        opened.trace(0, 99)


def packed_without_room(folder: Path) -> None:
    """A packed log on a computer whose disk is full."""
    path = folder / "log.csv.gz"
    path.write_bytes(gzip.compress(rows(9).encode()))

    class Full:
        """A file on a full disk."""

        write = staticmethod(fails(errno.ENOSPC))
        close = staticmethod(lambda: None)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("benchlog.log.readers.source.tempfile.TemporaryFile", Full)
        patch.setattr("benchlog.log.readers.source.tempfile.gettempdir", lambda: "/tmp")
        Source(path)


def disk_nearly_full(folder: Path) -> None:
    """Reads a packed log while the disk has a megabyte left."""
    path = folder / "log.csv.gz"
    path.write_bytes(gzip.compress(rows(9).encode() + b"\n" * (100 << 20)))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=1 << 20))
        Log.open(path)


def packed_table_elsewhere(folder: Path) -> None:
    """A packed table where open files have no path."""
    path = folder / "log.parquet.gz"
    path.write_bytes(gzip.compress(rows(9).encode()))
    source = Source(path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "exists", lambda _: False)
        source.whole()


def a_plan(folder: Path) -> Path:
    """A plan that can be used."""
    path = folder / "plan.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def a_log(folder: Path, content: str = "") -> Path:
    """A log that can be used."""
    path = folder / "log.csv"
    path.write_text(content or rows(99), encoding="utf-8")
    return path


def a_table(folder: Path) -> bytes:
    """A Parquet log."""
    pl.DataFrame({"time_s": [0.0, 1.0], "battery_v": [12.0, 12.0]}).write_parquet(folder / "t.parquet")
    return (folder / "t.parquet").read_bytes()


def damaged_table(folder: Path) -> None:
    """A table whose contents are damaged."""
    data = a_table(folder)
    path = folder / "log.parquet"
    path.write_bytes(data[:8] + b"\xff" * (len(data) - 16) + data[-8:])
    Log.open(path)


def cut_table(folder: Path) -> None:
    """A table without its end."""
    path = folder / "log.parquet"
    path.write_bytes(a_table(folder)[:-20])
    Log.open(path)


def reversed_shunt(folder: Path) -> None:
    """A shunt with its sense wires swapped."""
    import scenarios

    path, planned = scenarios.write_files(scenarios.reversed_shunt(), folder)
    check(path, plan=planned)


def senseless(**columns: float | list[float]) -> Callable[[Path], object]:
    """The check of 30 s of such readings."""
    frame = pl.DataFrame({"time_s": [float(n) for n in range(30)]})
    frame = frame.with_columns(**{name: pl.Series(name, np.resize(read, 30)) for name, read in columns.items()})
    return lambda folder: check(frame, plan=a_plan(folder))


BAD = "rows cannot be used, more than 1 %:"
FIRST = "the first is line"
COMPARE = "compare these lines with the header, and the columns and units in the logger file"

PROVOKED: dict[str, Entry] = {
    # ---- the log as a file
    "no such log": done(
        lambda f: Log.open(f / "a.csv"), f"{FOLDER}/a.csv: there is no such file; check the name and the folder"
    ),
    "a folder": done(Log.open, f"{FOLDER}: this is a folder; name one log file in it"),
    "not permitted": done(
        lambda f: while_it(Path, "open", errno.EACCES, Source)(a_log(f)),
        f"{FOLDER}/log.csv: reading this file is not permitted; change its permissions or copy it",
    ),
    "not to be opened": done(
        lambda f: while_it(Path, "open", errno.EIO, lambda _: Log.open(f / "log.csv"))(f),
        f"{FOLDER}/log.csv: the file cannot be opened (input/output error); check its name and its drive",
    ),
    "drive pulled out": done(
        at_end_of_stick,
        "log.csv: reading it stopped (input/output error); copy it to this computer's own disk and check again",
    ),
    "cut while it is read": done(
        shortened, "log.csv: it became shorter while it was read; wait until nothing writes to it, then check again"
    ),
    "empty": log("", "log.csv: the file is empty; record a log first"),
    "empty, packed": log(
        gzip.compress(b""), "log.csv.gz: the compressed file holds nothing; record a log first", name="log.csv.gz"
    ),
    "packed, cut": log(
        gzip.compress(rows(99).encode())[:-9],
        "log.csv.gz: the compressed file is damaged or cut short (it ends too early); copy it again from the logger",
        name="log.csv.gz",
    ),
    "packed, no room": done(
        packed_without_room,
        "log.csv.gz: there is no room to unpack it in /tmp (no space left on device); "
        "make room there, or unpack it elsewhere and name the unpacked log",
    ),
    "packed, endless": log(
        gzip.compress(rows(9).encode() + b"\n" * (129 << 20)),
        "log.csv.gz: it unpacks to more than 128 MB, which no log of its size does; if it is sound, name what it may take: "
        "benchlog --max-unpacked-mb N, before the command",
        name="log.csv.gz",
    ),
    "packed, disk nearly full": done(
        disk_nearly_full,
        "log.csv.gz: there is no room to unpack it in /tmp (hardly any is left); "
        "make room there, or unpack it elsewhere and name the unpacked log",
    ),
    "no logger's times": log(
        rows(9, "{n}e-300,12.5"),
        "log.csv: its samples lie 1e-300 s apart over 8e-300 s, as no logger's do; set `unit` in [time] of the logger file "
        "to what the column counts",
    ),
    "thousands of marks": log(
        rows(2001, "{n},12.5,key on", "time_s,battery_v,mark"),
        "log.csv: it has 2001 marks such as key on or slot 2 off, at most 2000 are understood; set a mark once where "
        "something was switched, not in every row",
    ),
    "thousands of columns": log(
        rows(9, "{n},12.5" + ",1" * 999, "time_s,battery_v" + ",x" * 999),
        "log.csv: it has 1001 columns, at most 1000 are read; export those alone that the logger measured",
    ),
    "packed table on another system": done(
        packed_table_elsewhere, "log.parquet.gz: a compressed table cannot be read here; unpack it first"
    ),
    "UTF-16, damaged": log(
        b"\xff\xfe" + rows(9).encode("utf-16-le") + b"\x00\xd8\x0a\x00",
        "log.csv: its text (UTF-16) is damaged (illegal UTF-16 surrogate); copy it again from the logger, or save it as UTF-8",
    ),
    "neither text nor table": log(
        bytes(range(256)) * 9,
        "log.csv: this is neither text nor any other known log; needed is a table as text (CSV, also packed as .gz or .zst) or as Parquet: export it so",
    ),
    "table, cut": done(
        cut_table, "log.parquet: the Parquet file is damaged or cut short (its end is missing); copy it again"
    ),
    "table, damaged": done(damaged_table, "log.parquet: the Parquet file is damaged or cut short (…); copy it again"),
    "plan given as a log": log(
        PLAN, "log.csv: this is a plan, not a log; name it with --plan, and the log before the options"
    ),
    "answers given as a plan": plan(
        '[[answer]]\ntest = "drain"\nskipped = true\n',
        "this is a file of answers, not a plan; name it with --answers and the plan with --plan",
    ),
    "readings given as a plan": plan(
        '[meter]\nname = "hand meter"\n',
        "this is a file of meter readings, not a plan; name it in place of a log and the plan with --plan",
    ),
    "readings under another name": log(
        '[meter]\nname = "hand meter"\n',
        "log.csv: this is a file of meter readings; rename it so that its name ends in .toml",
    ),
    "an empty contact": command(
        lambda _: ["records", "contact", " "],
        'the contact is empty; give a name and a number, such as "R. Fitter, 0555 0123"',
    ),
    "a long contact": command(
        lambda _: ["records", "contact", "x" * 121],
        "the contact has 121 characters; at most 120 fit on the rider's page",
    ),
    "answer to no test": answers(
        '[[answer]]\ntest = "voltage 30 to 86"\nvalue = 1.0\n',
        'answer[1]: this plan has no test "voltage 30 to 86"; copy its name from what find prints',
    ),
    "answer that says nothing": answers(
        '[[answer]]\ntest = "feed fuse intact"\n',
        "answer[1]: needs one of value, seen and skipped = true, got none (line 1)",
    ),
    "answer that says two things": answers(
        '[[answer]]\ntest = "feed fuse intact"\nseen = "yes"\nskipped = true\n',
        "answer[1]: needs one of value, seen and skipped = true, got seen and skipped (line 1)",
    ),
    "value for a look": answers(
        '[[answer]]\ntest = "feed fuse intact"\nvalue = 1.0\n',
        'answer[1]: this test is a look; give seen = "yes" or "no", not value',
    ),
    "look for a value": answers(
        '[[answer]]\ntest = "voltage 30 to 87, all on"\nseen = "no"\n',
        "answer[1]: this test is measured; give value, in V, not seen",
    ),
    "answer in another unit": answers(
        '[[answer]]\ntest = "voltage 30 to 87, all on"\nvalue = 410.0\nunit = "mV"\n',
        'answer[1]: unit must be "V", got "mV"; write the value in V',
    ),
    "logger file given as a log": log(
        CHANNEL, "log.csv: this is a logger file, not a log; name it with --logger, and the log before the options"
    ),
    # ---- the layout and the columns
    "blank": log(
        "\n\n",
        "log.csv: no line of numbers was found; a log is a table of numbers, one sample a line: export it as CSV",
    ),
    "no table": log(
        "no log\n",
        "log.csv: this does not look like a log: no line of numbers was found, and it begins with 'no log'; needed is a table "
        "with one sample a line, under a header line such as time_s,battery_v,battery_a: name the file that the logger wrote, "
        "or export one as CSV",
    ),
    "a letter": log(
        "\tDear workshop, as agreed on the phone we send you the whole diary\nof the week.\n",
        "log.csv: this does not look like a log: no line of numbers was found, and it begins with 'Dear workshop, as agreed on "
        "the phone …'; needed is a table with one sample a line, under a header line such as time_s,battery_v,battery_a: name "
        "the file that the logger wrote, or export one as CSV",
    ),
    "unknown headers alone": log(
        "Time;Battery V\n",
        "log.csv, line 1: no column is known: its headers are 'Time', 'Battery V' ('Time' looks like time_s, 'Battery V' looks like "
        "battery_v); run benchlog logger log.csv, which asks what the columns mean, use role "
        "names such as time_s, battery_v, battery_a as headers, or name a logger file (--logger)",
    ),
    "time alone": log(
        rows(9, "{n}", "time_s"),
        "log.csv, line 1: no column other than the time is known: its headers are 'time_s'; run benchlog logger log.csv, which asks what the columns mean, use role "
        "names such as time_s, battery_v, battery_a as headers, or name a logger file (--logger)",
    ),
    "header alone": log(
        "time_s,battery_v\n", "log.csv: there is a header line but no sample below it; record a log first"
    ),
    "one sample": log(
        "time_s,battery_v\n0,12\n", "log.csv: there is only one sample; at least two are needed: record a longer log"
    ),
    "no date": log(
        rows(9, "175000000000{n},12.5", "time_s [epoch_s],battery_v"),
        "log.csv: read in epoch_s, its first time lies outside the years 1 to 9999; set `unit` in [time] of the logger file "
        "to what the column counts, such as epoch_ms",
    ),
    "no number at all": log(
        rows(3, "{n},nan"),
        "log.csv: there is no number in any of its 3 rows; check the header line and the logger file",
    ),
    "no row": done(
        lambda _: Log.from_frame(pl.DataFrame({"time_s": [], "battery_v": []})),
        "frame: there is no row of numbers; record a log first",
    ),
    "endless line": log(
        rows(2) + "1" * (1 << 22),
        "log.csv: a line is over a million characters long; needed is one sample a line: export it as CSV",
    ),
    "unknown headers": log(
        rows(9, header="Time,Battery V"),
        "log.csv, line 1: no column is known: its headers are 'Time', 'Battery V' ('Time' looks like time_s, 'Battery V' looks "
        "like battery_v); run benchlog logger log.csv, which asks what the columns mean, use role "
        "names such as time_s, battery_v, battery_a as headers, or name a logger file (--logger)",
    ),
    "no headers": log(
        "0,12\n1,12\n",
        "log.csv: no column is known: it has no header line; run benchlog logger log.csv, which asks what the columns mean, use role "
        "names such as time_s, battery_v, battery_a as headers, or name a logger file (--logger)",
    ),
    "no time": log(
        rows(9, header="Zeit,battery_v"),
        "log.csv: nothing gives the time: there is no column time_s and no rate; run benchlog logger log.csv, which asks for "
        "it, add a time_s column, or [time] or rate_hz in a logger file",
    ),
    "unit of another role": log(
        rows(9, header="time_s,battery_v [A]"),
        'log.csv: the header line cannot be used: column "battery_v [A]": A does not suit battery_v, which needs uV, mV, V; correct the header',
    ),
    "role twice in the header": log(
        rows(9, "{n},1,2", "time_s,battery_v,battery_v [mV]"),
        'log.csv: the header line cannot be used: column "battery_v [mV]": battery_v is already in column "battery_v"; '
        "rename one of them",
    ),
    "only marks": log(
        rows(9, "{n},x", "t,note"),
        "log.csv: no column holds a voltage, current or temperature; give at least one column such a role, such as battery_v",
        logger(Channel(column="note", role="mark")),
    ),
    "columns lacking": log(
        rows(9, header="t,U"),
        "log.csv: the logger file names columns that the log lacks: 'I', column 7 (the log has 2); the log has 't', 'U'; "
        "correct `column` in the logger file, or the header line",
        logger(AMPS, Channel(column=7, role="battery_v")),
    ),
    "columns lacking, no header": log(
        "0,1\n1,1\n",
        "log.csv: the logger file names columns that the log lacks: column 7 (the log has 2); the log has 2 columns and "
        "no header; correct `column` in the logger file, or the header line",
        Logger(rate_hz=1.0, channel=(Channel(column=7, role="battery_v"),)),
    ),
    "two columns of one name": log(
        rows(9, "{n},1,2", "t,I,I"),
        "log.csv: columns 2 and 3 are both headed 'I'; give the right one's number in the logger file instead, as column = 2",
        logger(),
    ),
    "two columns of one role": log(
        rows(9, "{n},1,2", "t,I,J"),
        "log.csv: columns 'I' and 'J' are both battery_a; keep one, a role has one column",
        logger(AMPS, Channel(column="J", role="battery_a")),
    ),
    # ---- rows
    "unreadable numbers": log(
        rows(9, "{n},x1"), f"log.csv: 9 of 9 {BAD} 9 rows with unreadable numbers; {FIRST} 2, found 'x1'; {COMPARE}"
    ),
    "dates under time_s": log(
        rows(9, "2025-05-01 12:00:0{n},12"),
        f"log.csv: 9 of 9 {BAD} 9 rows with unreadable numbers; {FIRST} 2, found '2025-05-01 12:00:00,12'; the time looks "
        'like a date: head its column time_s [iso8601], or set unit = "iso8601" in [time] of the logger file',
    ),
    "clock times": log(
        rows(9, "12:00:0{n},12"),
        f"log.csv: 9 of 9 {BAD} 9 rows with unreadable numbers; {FIRST} 2, found '12:00:00,12'; the time looks like a "
        "clock's: count it in seconds, or write dates like 2025-05-01T12:00:00.250 and head their column time_s [iso8601]",
    ),
    "dates of another form": log(
        rows(9, "1.5.2025 12:00:0{n},12", "time_s [iso8601],battery_v"),
        f"log.csv: 9 of 9 {BAD} 9 rows with unreadable numbers; {FIRST} 2, found '1.5.2025 12:00:00'; write dates like "
        "2025-05-01T12:00:00.250 (+02:00 or Z may follow), or count the time in seconds",
    ),
    "joined logs": log(
        rows(9) + rows(9).partition("\n")[2],
        f"log.csv: 9 of 18 {BAD} 9 rows whose time does not increase; {FIRST} 11, found '0 s after 8 s'; the logger restarted there, or several logs were joined together: save each part as a log of its own, and check them "
        "together",
    ),
    "rows twice": log(
        rows(9, "{n},12\n{n},12"),
        f"log.csv: 9 of 18 {BAD} 9 rows whose time does not increase; {FIRST} 3, found '0 s after 0 s'; several rows have the "
        "same time: let the logger write finer times, as in ms, and leave out rows that are there twice; or give the samples "
        "a second as rate_hz in a logger file without [time]",
    ),
    "newest first": log(
        "time_s,battery_v\n" + "".join(f"{n},12\n" for n in range(9, 0, -1)),
        f"log.csv: 8 of 9 {BAD} 8 rows whose time does not increase; {FIRST} 3, found '8 s after 9 s'; the newest row comes "
        "first: sort the rows by time, the oldest first",
    ),
    "thousands": log(
        rows(9, "{n}.5;12,847;0.1", "time_s;battery_v [mV];feed_v"),
        f"log.csv: 9 of 9 {BAD} 9 rows with unreadable numbers; {FIRST} 2, found '12,847'; write numbers with a decimal "
        "point and nothing between the thousands, or export with semicolons between the cells and decimal commas",
    ),
    "units of another kind in the cells": log(
        rows(9, "{n},12.5 A"),
        f"log.csv: 9 of 9 {BAD} 9 rows with unreadable numbers; {FIRST} 2, found '12.5 A'; its unit does not suit the "
        "column; give the column the role that it measures, or write the number alone",
    ),
    "another word for over range": log(
        rows(9) + rows(9, "1{n},OVL").partition("\n")[2],
        f"log.csv: 9 of 18 {BAD} 9 rows with unreadable numbers; {FIRST} 11, found 'OVL'; if OVL means over range, say so in "
        'a logger file: over_range = ["OVL"] for its column',
    ),
    "decimal commas between commas": log(
        rows(9, "{n},12,6"),
        "log.csv: its lines have 3 cells, but its header has 2 names: a decimal comma cannot be distinguished from the commas between the cells; export with decimal points, or with semicolons between the cells, and name every column",
    ),
    "a counter that wraps": log(
        "t,I\n" + "".join(f"{(64000 + 500 * n) % 65536},1\n" for n in range(9)),
        f"log.csv: 5 of 9 {BAD} 5 rows whose time does not increase; {FIRST} 6, found '464 ms after 65500 ms'; this looks like "
        "a counter that wraps: set wraps_at = 65536 in [time] of the logger file",
        logger(unit="ms"),
    ),
    # ---- what is told of a log that can be used
    "note: a counter": log(
        "t,I\n" + "".join(f"{n},1\n" for n in range(65000, 65536)) + "3,1\n",
        "1 row whose time does not increase was left out; if the counter wraps, set wraps_at = 65536 in [time] of the logger file",
        logger(unit="ms"),
    ),
    "note: one row": log(
        rows(400) + "400\n401,1,1\n,12\n402,x\n",
        "1 row with too few fields was left out|1 row with too many fields was left out|1 row without a time was left out|"
        "1 row with an unreadable number was left out",
    ),
    "note: one checksum": log(summed(400, 1), "1 line with a wrong or missing checksum was left out"),
    "note: two checksums": log(summed(400, 2), "2 lines with wrong or missing checksums were left out"),
    "many checksums": log(
        summed(400, 20),
        f"log.csv: 20 of 400 {BAD} 20 lines with wrong or missing checksums; {FIRST} 382; the lines were damaged on their "
        "way; record again, over a shorter cable or at a lower line speed",
    ),
    "note: two rows": log(
        rows(990) + "990\n990\n991,1,1\n991,1,1\n,12\n,12\n992,x\n992,x\n989,1\n",
        "2 rows with too few fields were left out|2 rows with too many fields were left out|2 rows without a time were left "
        "out|2 rows with unreadable numbers were left out|1 row whose time does not increase was left out",
    ),
    "note: header again": log(rows(400) + "time_s,battery_v\n400,12\n", "1 repeated header line was skipped"),
    "note: headers again": log(
        rows(9) + "time_s,battery_v\n9,12\ntime_s,battery_v\n10,12\n",
        "2 repeated header lines were skipped",
    ),
    "note: over range": log(
        rows(400) + "400,OVL\n401,12\n",
        "1 row with an unreadable number was left out (OVL in the first); if OVL means over range, say so in a logger file: "
        'over_range = ["OVL"] for its column',
    ),
    "note: ms since 1970": log(
        rows(9, "174610080000{n},12"),
        "read in s, this log begins at 1746100800000 s; if that is ms since 1970, head its time column time_s [epoch_ms], or "
        "set `unit` in [time] of the logger file",
    ),
    "note: two rows back": log(rows(990) + "9,1\n9,1\n", "2 rows whose time does not increase were left out"),
    "note: cut": log(rows(9) + "9", "the last line is cut short and was left out"),
    "note: relay in ms": Entry(
        lambda _: [str(relay_time_hint("s", 6.0))],
        "read in s, this log has a relay that takes 6 s to close; if that is not so, head its time column time_s [ms] or "
        "time_s [us], or set `unit` in [time] of the logger file",
    ),
    "note: misspelt": log(
        rows(9, "{n},1,2,3,4", "time_s,battery_v,Battery-A,slot13_a,rpm"),
        "column Battery-A was not used; did you mean battery_a?|column slot13_a was not used; slots are 1 to 12|"
        "column not used: rpm",
    ),
    "note: days": log(
        rows(9, "{n}000000,1"),
        "read in s, this log lasts 92.59 days; if that is not so, head its time column time_s [ms] or time_s [us], or set "
        "`unit` in [time] of the logger file",
    ),
    "note: hours": log(
        rows(9, "{n}0000,1"),
        "read in s, this log has a sample every 10000 s; if that is not so, head its time column time_s [ms] or time_s [us], "
        "or set `unit` in [time] of the logger file",
    ),
    "note: dense": log(
        rows(9, header="time_s [us],battery_v"),
        "read in us, this log has more than half a million samples a second; if that is not so, head its time column "
        "time_s [ms] or time_s [s], or set `unit` in [time] of the logger file",
    ),
    "note: many": log(
        rows(53, "# note: x\n{n},1"), "|".join(["x"] * 51 + ["2 more notes follow in the log from here on"])
    ),
    # ---- files of settings
    "no such plan": done(
        lambda f: load_plan(f / "a.toml"),
        f"{FOLDER}/a.toml: the plan cannot be used\n  no such file; check the name and the folder",
    ),
    "folder as a plan": done(
        load_plan, f"{FOLDER}: the plan cannot be used\n  is a folder, not a file; name the .toml file in it"
    ),
    "device as a plan": done(
        lambda _: load_plan("/dev/null"),
        "/dev/null: the plan cannot be used\n  is not an ordinary file; name a .toml file",
    ),
    "huge plan": plan(b"#" * 2_500_000, "holds 2.5 MB, at most 1 MB is expected; this may be a log: name a .toml file"),
    "plan not permitted": done(
        lambda f: while_it(Path, "read_bytes", errno.EACCES, lambda _: load_plan(f / "plan.toml"))(a_plan(f).parent),
        f"{FOLDER}/plan.toml: the plan cannot be used\n  cannot be read (permission denied); check its permissions",
    ),
    "plan in Latin-1": plan(b"\nx = '\xe4'\n", "line 2: is not UTF-8 text; save it as UTF-8"),
    "no TOML": plan(
        "[install\n",
        "line 1, column 9: is not valid TOML: expected ']' at the end of a table declaration; texts need quotes, decimals a point",
    ),
    "no TOML, at its end": plan("bike =", "is not valid TOML: invalid value; texts need quotes, decimals a point"),
    "thousands of digits": plan(
        "x = " + "1" * 9999, "is not valid TOML: a number has thousands of digits; texts need quotes, decimals a point"
    ),
    "a key of many parts": plan(
        ".".join("a" * 99) + " = 1",
        "a key has more than 16 parts between its dots; write each table under a [name] of its own",
    ),
    "a number of no bike": plan(
        PLAN + "[limits]\nresting_min_v = 1e300\n",
        "limits.resting_min_v: must be 0 or between 1e-20 and 1e+20, got 1e+300 (line 7)",
    ),
    "a number of too many digits": plan(
        PLAN + "[limits]\nresting_min_v = 1" + "0" * 99 + "\n",
        "limits.resting_min_v: must be 0 or between 1e-20 and 1e+20, got a number of more than 30 digits (line 7)",
    ),
    "many faults": plan(
        PLAN + "[limits]\n" + "".join(f"x{n:02} = 1\n" for n in range(60)),
        "\n  ".join(
            [
                *(
                    f"limits.x{n:02}: unknown key; known are {', '.join(Limits.model_fields)} (line {n + 7})"
                    for n in range(50)
                ),
                "and 10 more faults",
            ]
        ),
    ),
    "nested": plan(
        "x = " + "[" * 9999, "is nested too deeply for a file of settings; write each table under a [name] of its own"
    ),
    "log given as a plan": plan(
        rows(9), "this is a log, not a file of settings; the log comes first, then --plan or --logger FILE.toml"
    ),
    "logger file given as a plan": plan(
        CHANNEL, "this is a logger file, not a plan; name it with --logger and the plan with --plan"
    ),
    "plan given as a logger file": mine(
        PLAN, "this is a plan, not a logger file; name it with --plan and the logger file with --logger"
    ),
    "nothing in the plan": plan(
        "",
        "install: missing; add [install] with bike\n  battery: missing; add [battery] with chemistry and capacity_ah",
    ),
    "key missing": plan(PLAN.replace('bike = "Larch"', ""), 'install.bike: missing; for example bike = "Larch"'),
    "number missing": plan(
        PLAN.replace("capacity_ah = 11.2", ""), "battery.capacity_ah: missing; for example capacity_ah = 11.2"
    ),
    "misspelt key": plan(PLAN + "[relay]\ncoil = 1\n", "relay.coil: unknown key; did you mean coil_a? (line 7)"),
    "key elsewhere": plan(
        PLAN + "[relay]\ncrank_min_v = 1\n", "relay.crank_min_v: unknown key here; it belongs in [limits] (line 7)"
    ),
    "unknown key": plan(
        PLAN + "[zzz]\n",
        "zzz: unknown key; known are install, battery, relay, feed, ground, alternator, circuit, limits (line 6)",
    ),
    "too small": plan(PLAN.replace("11.2", "-3"), "battery.capacity_ah: must be > 0, got -3 (line 5)"),
    "negative": plan(PLAN + "[limits]\nsettle_max_s = -1\n", "limits.settle_max_s: must be >= 0, got -1 (line 7)"),
    "too large": plan(PLAN + "[feed]\nlength_m = 101\n", "feed.length_m: must be <= 100, got 101 (line 7)"),
    "infinite": plan(PLAN.replace("11.2", "inf"), "battery.capacity_ah: must be a finite number, got inf (line 5)"),
    "number in quotes": plan(
        PLAN.replace("11.2", '"11.2"'), 'battery.capacity_ah: must be a number, without quotes, got "11.2" (line 5)'
    ),
    "slot with a fraction": plan(
        PLAN + '[[circuit]]\nslot = 1.5\ndevice = "x"\nplanned_a = 1\n',
        "circuit[1].slot: must be a whole number, got 1.5 (line 7)",
    ),
    "text without quotes": plan(PLAN.replace('"Larch"', "3"), "install.bike: must be text in quotes, got 3 (line 2)"),
    "empty text": plan(
        PLAN.replace('"Larch"', '" "'), 'install.bike: must not be empty; for example bike = "Larch" (line 2)'
    ),
    "two lines": plan(
        PLAN.replace('"Larch"', '"a\\nb"'), 'install.bike: must be one line of plain text, got "a b" (line 2)'
    ),
    "unknown word": plan(
        PLAN.replace('"agm"', '"agn"'),
        'battery.chemistry: must be one of flooded, agm, gel, lifepo4, got "agn"; did you mean agm? (line 4)',
    ),
    "value for a table": plan(
        "relay = 3\n" + PLAN, "relay: must be a table, got 3; write [relay] and its keys below it (line 1)"
    ),
    "list for a table": plan(
        PLAN + "[[relay]]\ncoil_a = 1\n", "relay: must be one table, got a list; write [relay] in single brackets"
    ),
    "table for a list": plan(
        PLAN + "[circuit]\nslot = 1\n",
        "circuit: must be a list of tables, got a table; write [[circuit]] in double brackets (line 6)",
    ),
    "thirteen circuits": plan(
        PLAN
        + "".join(f'[[circuit]]\nslot = {n}\ndevice = "x"\nplanned_a = 1\n' for n in range(1, 13))
        + '[[circuit]]\nslot = 12\ndevice = "x"\nplanned_a = 1\n',
        "circuit: at most 12 are possible, got 13; take some out\n  "
        "circuit[13].slot: slot 12 is already taken by circuit[12]; give each circuit its own (line 55)",
    ),
    "two lengths": plan(
        PLAN + "[feed]\nlength_m = 1\nlength_ft = 3\n", "feed.length_ft: give length_m or length_ft, not both (line 8)"
    ),
    "window the wrong way": plan(
        PLAN + "[limits]\ncharging_min_v = 15\ncharging_max_v = 13\n",
        "limits.charging_max_v: must be at least charging_min_v (15), got 13 (line 8)",
    ),
    "unknown wire": plan(
        PLAN + '[feed]\nconductor = "4"\n',
        'feed.conductor: must be a wire size such as "4 mm2" or "12 AWG", got "4" (line 7)',
    ),
    "huge wire": plan(
        PLAN + '[feed]\nconductor = "400 mm2"\n',
        'feed.conductor: must be a wire of 0.05 to 150 mm2, got "400 mm2" (line 7)',
    ),
    "unknown gauge": plan(
        PLAN + '[feed]\nconductor = "99 AWG"\n',
        'feed.conductor: must be a gauge from 36 AWG to 4/0 AWG, got "99 AWG" (line 7)',
    ),
    "no channel": mine("", "channel: missing; add [[channel]] with column and role"),
    "empty list of channels": mine("channel = []", "channel: is empty; add [[channel]] with column and role (line 1)"),
    "empty column": mine(
        '[[channel]]\ncolumn = 0\nrole = "battery_v"\n',
        "channel[1].column: must be a header in quotes or a column number from 1, got 0 (line 2)",
    ),
    "time as a channel": mine(
        '[[channel]]\ncolumn = "I"\nrole = "time_s"\n',
        'channel[1].role: time_s is not a channel; describe the time column in [time], as column = "time_s" (line 3)',
    ),
    "misspelt role": mine(
        CHANNEL.replace("battery_a", "batery_a"),
        'channel[1].role: unknown role "batery_a"; did you mean battery_a? (line 3)',
    ),
    "unknown role": mine(
        CHANNEL.replace("battery_a", "zzz"),
        'channel[1].role: unknown role "zzz"; known are battery_v, battery_a, drain_a, key_v, trigger_v, feed_v, ground_v, '
        "feed_a, battery_c, mark, slot1_a to slot12_a, slot1_v to slot12_v (line 3)",
    ),
    "unit in the wrong case": mine(
        CHANNEL + 'unit = "MA"\n', 'channel[1].unit: unknown unit "MA"; did you mean mA? (line 4)'
    ),
    "unknown unit": mine(
        CHANNEL + 'unit = "W"\n',
        'channel[1].unit: unknown unit "W"; known are uV, mV, V, uA, mA, A, degC (line 4)',
    ),
    "volts without a shunt": mine(
        CHANNEL + 'unit = "mV"\n',
        "channel[1].unit: mV does not suit battery_a, which needs uA, mA, A; for a shunt voltage give shunt_mohm (line 4)",
    ),
    "amperes of a voltage": mine(
        CHANNEL.replace("battery_a", "battery_v") + 'unit = "A"\n',
        "channel[1].unit: A does not suit battery_v, which needs uV, mV, V; correct the unit or the role (line 4)",
    ),
    "mark with a unit": mine(
        CHANNEL.replace("battery_a", "mark") + 'unit = "V"\n' + CHANNEL.replace('"I"', '"J"'),
        "channel[1].unit: mark is text and has no unit, got V; leave it out (line 4)",
    ),
    "shunt of a voltage": mine(
        CHANNEL.replace("battery_a", "battery_v") + "shunt_mohm = 1\n",
        "channel[1].shunt_mohm: applies to currents only, and battery_v is not one; leave it out (line 4)",
    ),
    "sign of a voltage": mine(
        CHANNEL.replace("battery_a", "battery_v") + 'positive = "charge"\n',
        "channel[1].positive: applies to currents only, and battery_v is not one; leave it out (line 4)",
    ),
    "scale of nothing": mine(
        CHANNEL + "scale = 0\n",
        "channel[1].scale: must not be 0: every value would be the same; leave it out, or give the right factor (line 4)",
    ),
    "over range as a text": mine(
        CHANNEL + 'over_range = "OL"\n',
        'channel[1].over_range: must be a list in brackets, got "OL"; write ["OL"] (line 4)',
    ),
    "date that wraps": mine(
        '[time]\ncolumn = "t"\nunit = "iso8601"\nwraps_at = 9\n' + CHANNEL,
        "time.wraps_at: a counter in s, ms or us wraps, iso8601 does not; leave it out (line 4)",
    ),
    "typographic quotes": plan(
        PLAN.replace('"', "\u201d", 2),
        'line 2: has typographic quotes (\u201d), which a word processor sets; type straight ones (") in a plain text editor',
    ),
    "single brackets twice": plan(
        PLAN + "[circuit]\nslot = 1\n[circuit]\nslot = 2\n",
        "line 8: [circuit] stands twice; write [[circuit]] in double brackets, once for each",
    ),
    "document": plan(
        b"PK\x03\x04", "is a word processor's document, not plain text; save it there as plain text (.txt) in UTF-8"
    ),
    "inches": plan(
        PLAN + "[feed]\nlength_in = 18\n",
        "feed.length_in: inches are not known; 18 in are 0.46 m: length_m = 0.46 (line 7)",
    ),
    "unfused in both": plan(
        PLAN + "[feed]\nunfused_m = 1\nunfused_ft = 1\n",
        "feed.unfused_ft: give unfused_m or unfused_ft, not both (line 8)",
    ),
    "amperes and watts": plan(
        PLAN + '[[circuit]]\nslot = 1\ndevice = "a"\nplanned_a = 1\nplanned_w = 40\n',
        "circuit[1].planned_w: give planned_a or planned_w, not both (line 10)",
    ),
    "dates as numbers": mine(
        '[time]\ncolumn = "t"\nunit = "s"\nformat = "%d.%m.%Y %H:%M"\n' + CHANNEL,
        "time.unit: format says how dates are written, s that the time is a number; leave one out (line 3)",
    ),
    "two columns of a number": mine(
        '[time]\ncolumn = ["d", "t"]\nunit = "ms"\n' + CHANNEL,
        "time.unit: two columns are a date and a time, ms is a number's; leave it out (line 3)",
    ),
    "three columns of the time": mine(
        '[time]\ncolumn = ["d", "t", "z"]\n' + CHANNEL,
        "time.column: must be a header in quotes or a column number from 1, got a list; a list names two: date and time "
        "(line 2)",
    ),
    "format of no date": mine(
        '[time]\ncolumn = "t"\nformat = "%d.%m %H:%M"\n' + CHANNEL,
        'time.format: day, month and year, or hours and minutes, are not all in it, got "%d.%m %H:%M"; for example '
        '"%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", or "%H:%M:%S" alone (line 3)',
    ),
    "format with another letter": mine(
        '[time]\ncolumn = "t"\nformat = "%Q"\n' + CHANNEL,
        'time.format: %Q is not known, got "%Q"; for example "%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", or "%H:%M:%S" '
        "alone (line 3)",
    ),
    "role twice": mine(
        CHANNEL * 2, "channel[2].role: battery_a is already the role of channel[1]; each role once (line 6)"
    ),
    "time column as a channel": mine(
        '[time]\ncolumn = "I"\n' + CHANNEL, "channel[1].column: is the time column already; name another (line 4)"
    ),
    "note: rate beside a time": mine(
        '[logger]\nrate_hz = 9\n[time]\ncolumn = "t"\n' + CHANNEL,
        'note: time is taken from column "t", so rate_hz is not used',
    ),
    "note: shunt beside amperes": mine(
        CHANNEL + "shunt_mohm = 1\n", "note: battery_a: unit A is a current already, so shunt_mohm is not used"
    ),
    # ---- the check, from Python too
    "no log": done(
        lambda _: check([], plan={}),
        "plan: the plan cannot be used\n  install: missing; add [install] with bike\n"
        "  battery: missing; add [battery] with chemistry and capacity_ah",
    ),
    "no log, but a plan": done(lambda f: check([], plan=a_plan(f)), "no log was given; name at least one log file"),
    "a number as the plan": done(
        lambda f: check(a_log(f), plan=3),  # type: ignore[arg-type] # the point of it
        "3 is not a plan; give the path of a plan file, or its content as a mapping",
    ),
    "a number as the logger": done(
        lambda f: check(a_log(f), plan=a_plan(f), logger=3),  # type: ignore[arg-type] # the point of it
        "3 is not a logger; give the path of a logger file, or its content as a mapping",
    ),
    "a number as the log": done(
        lambda f: check(3, plan=a_plan(f)),  # type: ignore[arg-type] # the point of it
        "3 is not a log; name a log file, or give a pandas or polars frame",
    ),
    "a folder as the log": done(
        lambda f: check(f, plan=a_plan(f)),
        f"{FOLDER}: there is no log in this folder; name a log file, its name ends in .csv, .tsv, .txt, .log, .dat, .asc, "
        ".parquet",
    ),
    "a folder as the log before": done(
        lambda f: check(a_log(f), plan=a_plan(f), before=f), f"{FOLDER}: this is a folder; name one log file in it"
    ),
    "before and after the same": done(
        lambda f: check(a_log(f), plan=a_plan(f), before=a_log(f)),
        f"{FOLDER}/log.csv: this log is also checked; the one from before the install must be another, recorded before "
        "anything was added",
    ),
    "reversed shunt": done(
        reversed_shunt,
        "a.csv: battery_a and battery_v rise together over … load step(s), so the current channel is reversed; out of the "
        'battery must be positive: turn `positive` of battery_a in the logger file to the other of "discharge" and '
        '"charge", or swap the shunt\'s sense wires, and check again',
    ),
    "battery leads turned": done(
        senseless(battery_v=-12.5),
        "log: battery_v reads −12.5 V, so its leads are the wrong way round; swap them, or set scale = -1 for it in the "
        "logger file, and check again",
    ),
    "millivolts": done(
        senseless(battery_v=12500.0),
        "log: battery_v reads 12500 V, which no bike has, so the column is in a smaller unit: head it battery_v [mV], or set "
        "its unit in the logger file, and check again",
    ),
    "above the battery": done(
        senseless(battery_v=12.5, ground_v=45.0),
        "log: ground_v reads 45 V where battery_v reads 12.5 V, and nothing on a bike stands above its battery: the two "
        "columns are swapped, or ground_v is in mV: then head it ground_v [mV]; with the engine running, the battery's "
        "own lead may be loose: stop the engine and look at it first; correct the header or the logger file, and check again",
    ),
    "columns changed over": done(
        senseless(battery_v=0.02, feed_v=12.5),
        "log: feed_v reads 12.5 V where battery_v reads 0.02 V, and nothing on a bike stands above its battery: the two "
        "columns are swapped, or battery_v has another unit or a lead off; correct the header or the logger file, and "
        "check again",
    ),
    "zeros for what is missing": done(
        senseless(battery_v=[12.5, 12.5, 0.0] * 10, feed_v=12.4),
        "log: feed_v reads 12.4 V where battery_v reads 0 V, and nothing on a bike stands above its battery: battery_v had a "
        "lead off for a while, or missing samples are written as 0: leave such cells empty; correct the header or the logger "
        "file, and check again",
    ),
    "feed shunt turned": done(
        senseless(battery_v=12.5, feed_a=-9.3),
        "log: feed_a reads down to −9.3 A and never above 0 A, so it is reversed; into the load must be positive: turn "
        '`positive` of feed_a in the logger file to the other of "discharge" and "charge", or swap the shunt\'s sense wires, '
        "and check again",
    ),
    "foreign table of another kind": command(
        lambda f: ["logger", (f / "log.csv").write_bytes(b"PAR1") and f / "log.csv"],
        "log.csv: a Parquet file names its columns itself; use --logger with a file you write",
    ),
    "foreign text": command(
        lambda f: ["logger", (f / "log.csv").write_text("no log\n") and f / "log.csv"],
        "log.csv: no line of numbers was found; a log is a table of numbers, one sample a line",
    ),
    "logger file that is there": command(
        lambda f: ["logger", a_log(f), "--out", a_plan(f)],
        f"{FOLDER}/plan.toml: there is a logger file already; move it away, or name another with --out",
    ),
    "plan that is there": command(
        lambda f: ["plan", a_plan(f), "--new"],
        f"{FOLDER}/plan.toml: there is a file already; name a new one, or edit this one and run benchlog plan",
    ),
    "answers that end": command(
        lambda f: ["logger", a_log(f)],
        "the answers ended before the last question; nothing was written",
    ),
    "what only a saved result has": command(
        lambda f: ["check", a_log(f), "--plan", a_plan(f), "--corrects", "1"],
        "--corrects: nothing is saved without --save; add --save, or leave it out",
    ),
    "pipe that would be kept": command(
        lambda f: ["check", os.mkfifo(f / "log.csv") or f / "log.csv", "--plan", a_plan(f), "--save"],
        f"{FOLDER}/log.csv: this is a pipe or a device, not a file, and --save has to read it twice; save it to a "
        "file first, and check that",
    ),
    "report to standard output": command(
        lambda f: ["check", a_log(f), "--plan", a_plan(f), "--report", "-"],
        "--report -: the report is a page, not text; name a file for it",
    ),
    "report into a folder": done(
        lambda f: write_whole(f, "x", what="the report"),
        f"{FOLDER}: this is a folder, a file name is needed for the report; add one",
    ),
    "report over the log": done(
        lambda f: refuse_unwritable(a_log(f), "the report", [f / "log.csv"]),
        f"{FOLDER}/log.csv: the report would replace this file, which is read; name another for the report",
    ),
    "demo where nothing is": done(
        lambda f: next(run_demo(f / "none")),
        f"{FOLDER}/none: the demo cannot write its two reports here (no such file or directory); run it in a folder that has room and that you can write to",
    ),
    "demo whose report cannot be read": done(
        lambda f: while_it(Path, "open", errno.EACCES, lambda _: next(run_demo(f)))((f / REPORT).write_bytes(b"") or f),
        f"{FOLDER}: the demo cannot write its two reports here (permission denied); run it in a folder that has room and that you can write to",
    ),
    "demo with something in its way": done(
        lambda f: next(run_demo((f / REPORT).mkdir() or f)),
        f"{FOLDER}/{REPORT}: this is in the way of the demo's report; move it away, or run the demo in another folder",
    ),
    "report where nothing is": done(
        lambda f: write_whole(f / "a" / "r.html", "x", what="the report"),
        f"{FOLDER}/a/r.html: the report cannot be written (no such file or directory); name a folder that exists, has room, and that you can write to",
    ),
}


# ---- no message without an entry

#: Files of which every text counts as a message (False), and those of which only what is raised does (True).
FILES = {
    **{
        f"benchlog/{name}.py": False
        for name in (
            *(
                f"log/readers/{reader}"
                for reader in (
                    *("__init__", "columns", "comments", "delimited", "hints", "layout", "leftout", "leftover"),
                    *("parquet", "raw", "sheets", "source", "unpacked"),
                )
            ),
            *("log/log", "core/toml_files", "core/toml_faults", "plan/model", "logger/channels", "logger/model"),
        )
    },
    **{
        f"benchlog/{name}.py": True
        for name in (
            *("run", "core/given", "cli", "commands/demo", "core/files", "core/contact", "plan/wiring"),
            *("examine/load_checks", "examine/sense", "find/answers"),
            *("commands/logger", "commands/asking", "commands/new_plan", "log/foreign/look"),
        )
    },
}
#: Texts that no entry can bring up, or that are no messages, and why.
NOT_HEARD = {
    **dict.fromkeys(
        (
            "To correct one, type its number and what it is, such as: 4 feed_a mA, or 4 charge (positive charges), 4 time, "
            "4 - (not used). Roles: battery_v battery_a drain_a key_v trigger_v feed_v ground_v feed_a slot1_a to slot12_a "
            "slot1_v to slot12_v battery_c mark.",
            "s, ms or us is needed",
            '" is no role, unit or direction; ',
            "a column's number (1 to ",
            ") and what it is are needed, such as: 2 battery_v",
            "the number of a limit (1 to ",
            ") and its value are needed",
            "one line of plain text is needed",
        ),
        "of an answer that is asked again: test_foreign, test_new_plan",
    ),
    "its folder is a link to another": "what verify tells of a kept log: test_store_forged",
    "a link to another file": "the same",
    "not a file, but a pipe, a device or a folder": "the same",
    "CSV malformed": "what polars says, to be kept quiet",
    " (at end of document)": "what Python says, cut off",
    "{path}: {text}": "of a plan made in Python, where pydantic says it",
    "ambient temperature / degc": "a column of the Battery Data Format",
    "test time / s": "a column of the Battery Data Format",
    "unix time / s": "a column of the Battery Data Format",
    "the log's own headers": "the name of such a logger",
    "common practice": "the name of a table of fuses, quoted in warnings and checks",
    "the log's header line": "replaced by the log's name",
    "it holds fewer than 2 samples, so nothing can be measured; record a longer log": "the log itself refuses first",
    "the current folder no longer exists; change to one that does": "test_cli deletes such a folder",
    ": the sample data is missing here; install benchlog again": "test_packaging: an install without it",
}
