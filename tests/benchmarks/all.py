"""Every measure of speed in one table: target, measured, holds.

    python tests/benchmarks/all.py [--rows N] [--rounds N] [--only PART ...] [--quick]

The parts, each with a script of its own that says how it is measured: ``check`` (a log of so many rows, in text and
Parquet), ``long`` (four times as many rows, text: 12 h at 1 kHz by default), ``many`` (a folder of 200 logs),
``record``, ``store``, ``season`` and ``page``. What they print goes to standard error, the table to standard output.
All files lie in temporary folders (TMPDIR; 3 GB for ``long``) and are removed. A part that fails, or does not tell
what is looked for, stands in the table as missing, and the exit status is 1; a target that does not hold changes
nothing, since figures of a busy machine prove little: the load average stands beside them.
"""

import argparse
import contextlib
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import check_speed

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(HERE), str(ROOT)]


@dataclass(frozen=True)
class Row:
    """One line of the table; ``value`` is None where it is missing, ``limit`` where nothing was asked for."""

    what: str
    target: str
    told: str
    value: float | None
    limit: float | None = None
    least: bool = False

    def __str__(self) -> str:
        if self.value is None:
            holds = "missing"
        elif self.limit is None:
            holds = ""
        else:
            holds = "yes" if (self.value >= self.limit if self.least else self.value <= self.limit) else "no"
        return f"| {self.what} | {self.target} | {self.told} | {holds} |"


def at_most(what: str, value: float, limit: float, unit: str = "", told: str = "") -> Row:
    """A figure that must not be greater."""
    return Row(what, f"at most {limit:g}{unit}", f"{value:.2f}{unit}{told and f' ({told})'}", value, limit)


def at_least(what: str, value: float, limit: float, unit: str = "", told: str = "", places: int = 2) -> Row:
    """A figure that must not be smaller."""
    text = f"{value:,.{places}f}{unit}{told and f' ({told})'}"
    return Row(what, f"at least {limit:,g}{unit}", text, value, limit, least=True)


def missing(what: str, why: str) -> Row:
    """A figure that could not be had."""
    return Row(what, "", why.replace("|", "/").replace("\n", " "), None)


@dataclass
class Asked:
    """What was asked for, and what one part leaves for the next."""

    rows: int
    rounds: int
    quick: bool
    short_check_s: float | None = None
    short_peak_mb: float | None = None


def check(asked: Asked) -> Iterator[Row]:
    """A log of the usual length, and the start-up."""
    import check_speed

    light = check_speed.light_help(asked.rounds)
    yield at_most("`--help` beside the smallest typer program's", light.ratio, 1.5, " ×")
    one = check_speed.samples(asked.rounds)
    yield at_most("check of the two sample logs with `--before`", one.wall_s, 0.7, " s", f"CPU {one.cpu_s:.2f} s")
    found = check_speed.of_rows(asked.rows, asked.rounds)
    asked.short_check_s, asked.short_peak_mb = found["csv"].check_s, found["csv"].peak_mb
    often = check_speed.of_rows(asked.rows, asked.rounds, packed=False, turns=check_speed.OFTEN)
    for one, name, limit in (
        (found["csv"], "text", 1.4),
        (often["csv"], f"text, {check_speed.OFTEN} turns of the key an hour,", 1.4),
        (found["parquet"], "Parquet", 2.5),
    ):
        yield from of_rows(one, f"check of {asked.rows / 1e6:.1f} million rows of {name} beside only reading", limit)


def of_rows(one: "check_speed.Beside", what: str, limit: float) -> Iterator[Row]:
    """What a check costs beside only reading, with and without start-up, and its memory."""
    told = f"{one.check_s:.2f} s against {one.read_s:.2f} s, CPU {one.cpu_ratio:.2f} ×"
    yield at_most(what, one.ratio, limit, " ×", told)
    if one.inside is not None:
        inside = f"{one.inside:.2f} × ({one.checking_inside_s:.2f} s against {one.reading_inside_s:.2f} s)"
        yield Row("the same without start-up", "none", inside, one.inside)
    yield at_most("its peak memory", one.peak_mb, 600, " MB", f"reading alone {one.base_mb:.0f} MB")


def long(asked: Asked) -> Iterator[Row]:
    """Four times the rows."""
    import check_speed

    rows = 4 * asked.rows
    what = f"check of {rows / 1e6:.1f} million rows of text"
    rounds = min(asked.rounds, 3)
    one = check_speed.of_rows(rows, rounds, packed=False)["csv"]
    yield from of_rows(one, f"{what} beside only reading", 1.2)
    often = check_speed.of_rows(rows, rounds, packed=False, turns=check_speed.OFTEN)["csv"]
    yield from of_rows(often, f"{what}, {check_speed.OFTEN} turns of the key an hour, beside only reading", 1.2)
    if asked.short_check_s is None or asked.short_peak_mb is None:
        yield missing("four times the rows: time and memory", "the part `check` was not run before it")
        return
    yield at_most("four times the rows: time", one.check_s / asked.short_check_s, 4.2, " ×")
    peak = f"{one.peak_mb:.0f} MB"
    yield at_most("four times the rows: peak memory", one.peak_mb / asked.short_peak_mb, 1.1, " ×", peak)


def many(asked: Asked) -> Iterator[Row]:
    """A folder of logs."""
    import many_speed

    found = many_speed.measure(40 if asked.quick else 200, asked.rounds)
    told = f"{found.all_s:.1f} s against {found.one_s:.1f} s, others took {found.others:.1f} cores"
    yield at_least(f"a folder of {found.logs} logs on all cores beside one", found.faster, 1.7, " ×", told)
    what = "what this machine gives: as many commands as cores, each with its part of the logs on a core of its own"
    yield Row(what, "none", f"{found.apart:.2f} ×", found.apart)
    yield at_most("its peak memory", found.peak_mb, 500, " MB")
    same = "the same" if found.same else "another"
    yield Row("its result", "the same", same, float(not found.same), 0.0)


def record(asked: Asked) -> Iterator[Row]:
    """A stream."""
    import record_speed

    forms = record_speed.FORMS[:1] if asked.quick else record_speed.FORMS
    for one in record_speed.measure(forms, 300_000, asked.rounds):
        name = {"csv": "CSV", "pairs": "pairs", "json": "JSON"}[one.form]
        what = f"recording {name}, {one.checksum or 'no'} checksum"
        if one.form == "csv":
            limit = 2.0 if not one.checksum else 2.5
            yield at_most(f"{what}: CPU beside a bare copy", one.ratio, limit, " ×")
            yield at_least(f"{what}: lines a second", one.lines_s, 150_000, places=0)
        else:
            yield Row(what, "none", f"{one.ratio:.2f} × CPU, {one.lines_s:,.0f} lines/s", one.ratio)
        yield at_least(f"{what}: lines kept", one.kept, one.of, places=0)


def store(asked: Asked) -> Iterator[Row]:
    """Ten thousand records."""
    out = printed("store_speed.py", "--records", "1000" if asked.quick else "10000")
    for line, limit in (
        ("open the store, list all records", 1000),
        ("list the newest 50", 50),
        ("open one record", 50),
        ("readings of one bike", 500),
    ):
        found = re.search(rf"^{re.escape(line)}\s+([\d.]+) ms", out, re.MULTILINE)
        yield at_most(f"store: {line}", float(found[1]), limit, " ms") if found else untold(line)
    found = re.search(r"^verify all\s+([\d.]+) ms", out, re.MULTILINE)
    yield Row("store: verify all", "none", f"{float(found[1]) / 1000:.1f} s", 0.0) if found else untold("verify all")


def season(asked: Asked) -> Iterator[Row]:
    """Ten thousand readings of each quantity."""
    import season_speed

    found = season_speed.measure(1_000 if asked.quick else 10_000, asked.rounds)
    yield at_most("a season of 10,000 readings of each quantity: trends", found["trends"], 1, " s")
    yield at_most("its page", found["page"], 2, " s", f"{found['page_mb']:.1f} MB")


def page(asked: Asked) -> Iterator[Row]:
    """A long log in a browser."""
    rows = asked.rows if asked.quick else 4 * asked.rows
    out = printed("page_speed.py", "--rows", str(rows), "--rounds", str(asked.rounds))
    found = re.search(r"first paint: ([\d.]+) s cold, median ([\d.]+) s", out)
    what = f"page of a log of {rows / 1e6:.1f} million rows: first paint"
    yield at_most(what, float(found[2]), 2, " s", f"cold {found[1]} s") if found else untold("first paint")
    zooms = [float(took) for took in re.findall(r"^\s*\S+ s\s+(\d+) ms", out, re.MULTILINE)]
    yield at_most("a zoom, slowest width", max(zooms), 200, " ms") if zooms else untold("zoom to")
    found = re.search(r"memory of the server: (\d+) MB, at most (\d+) MB", out)
    yield at_most("memory of the server", float(found[2]), 500, " MB") if found else untold("memory of the server")


def live(asked: Asked) -> Iterator[Row]:
    """The page on a running recording."""
    import live_speed

    found = live_speed.measure(3 if asked.quick else 10, 500)
    yield at_least("live page: changes of the values a second", found.values_s, 4, places=1)
    yield at_least("live page: drawings a second", found.drawings_s, 4, places=1)


PARTS: dict[str, Callable[[Asked], Iterator[Row]]] = {
    one.__name__: one for one in (check, long, many, record, store, season, page, live)
}


def untold(line: str) -> Row:
    """The script no longer prints this."""
    return missing(line, "its script did not tell it")


def printed(script: str, *options: str) -> str:
    """What a script prints; it is shown too."""
    with subprocess.Popen(
        [sys.executable, str(HERE / script), *options],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))},
    ) as process:
        lines = []
        for line in process.stdout or ():
            print(line, end="", flush=True)
            lines.append(line)
    if process.returncode:
        raise RuntimeError(f"{script} ended with status {process.returncode}")
    return "".join(lines)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="every measure of speed in one table")
    parser.add_argument("--rows", type=int, default=10_800_000, help="of the usual log; the long one has four times")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS), help="these parts")
    parser.add_argument("--quick", action="store_true", help="smaller: whether all parts work, not how fast they are")
    given = parser.parse_args()
    rows = 400_000 if given.quick else given.rows
    asked = Asked(rows, 1 if given.quick else given.rounds, given.quick)
    os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
    lines: list[Row] = []
    load = [os.getloadavg()[0]]
    for name in [part for part in PARTS if part in given.only]:
        print(f"\n== {name}", file=sys.stderr, flush=True)
        with contextlib.redirect_stdout(sys.stderr):
            try:
                lines += PARTS[name](asked)
            except (Exception, SystemExit) as problem:  # the other parts are measured all the same
                lines.append(missing(f"part `{name}`", f"{type(problem).__name__}: {problem}"))
        load.append(os.getloadavg()[0])
    print("| measure | target | measured | holds |\n| --- | --- | --- | --- |")
    for line in lines:
        print(line)
    for name in [part for part in PARTS if part not in given.only]:
        print(f"| part `{name}` | | not asked for | |")
    print(f"\n{os.cpu_count()} cores, load average {min(load):.1f} to {max(load):.1f} while this was measured.")
    sys.exit(any(line.value is None for line in lines))


if __name__ == "__main__":
    main()
