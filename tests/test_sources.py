"""Where the numbers are from: every constant has a row in ``tests/sources.md``, and the row agrees with the code."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from benchlog.plan.batteries import CHEMISTRY, REST_H
from benchlog.plan.wiring import ALLOWANCE_SPREAD, COPPER_PER_K, feed_allowance, fuse_mohm
from benchlog.verdict.causes.faults import by_id

ROOT = Path(__file__).parent.parent
COVERED = (
    *("benchlog/plan/*.py", "benchlog/season/*.py", "benchlog/verdict/advice.py", "benchlog/verdict/causes/*.py"),
    *("benchlog/analysis/*.py", "benchlog/core/uncertainty.py", "firmware_notes/**/*.py"),
)
#: What a source may be: one of these words, or a standard or an exact definition by its name.
WORDS = ("common practice, no source", "from memory", "own rule")
NAMED = re.compile(
    r"(Besag|IEC|ISO|IEEE|JCGM|DIN|SAE|ABYC|\d+ CFR|Unicode"
    r"|international foot|Julian year|POSIX|chi-squared|normal dist)"
)


class Constant(NamedTuple):
    """Names that one statement at a file's top gives numbers to, and what is said right above or behind it."""

    file: str
    names: frozenset[str]
    comment: str


def constants() -> Iterator[Constant]:
    """Every statement at the top of a covered file that holds a number."""
    for path in sorted(path for pattern in COVERED for path in ROOT.glob(pattern)):
        text = path.read_text(encoding="utf-8")
        lines = text.splitlines()
        for node in ast.parse(text).body:
            if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
                continue
            values = (each.value for each in ast.walk(node.value) if isinstance(each, ast.Constant))
            if not any(isinstance(value, int | float) and not isinstance(value, bool) for value in values):
                continue
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names = {each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)}
            above = node.lineno - 2
            while above >= 0 and lines[above].startswith("#"):
                above -= 1
            comment = " ".join(lines[above + 1 : node.lineno - 1])
            yield Constant(str(path.relative_to(ROOT)), frozenset(names), comment)


def rows() -> dict[tuple[str, str], tuple[str, str]]:
    """(file, name) -> (source, what), as the table has them."""
    found, file = {}, ""
    for line in (ROOT / "tests" / "sources.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("## "):
            file = line[3:]
        elif line.startswith("| `"):
            names, source, what = (cell.strip() for cell in line.strip("|").split(" | "))
            for name in re.findall(r"`(\w+)`", names):
                assert (file, name) not in found, f"{file} {name} has two rows"
                found[file, name] = (source, what)
    return found


def test_every_constant_has_a_row_and_every_row_a_constant():
    """A new number is not merged before it says where it is from, and none is told of that is gone."""
    in_code = {(each.file, name) for each in constants() for name in each.names}

    assert in_code - rows().keys() == set(), "constants without a row in tests/sources.md"
    assert rows().keys() - in_code == set(), "rows without a constant"
    assert len(in_code) > 300


def test_every_row_names_its_source_in_known_words():
    """A standard by its name, or plainly: common practice, from memory, or the project's own rule."""
    vague = [
        key
        for key, (source, what) in rows().items()
        if not (source.startswith(WORDS) or NAMED.match(source)) or len(what) < 4
    ]

    assert vague == []


@pytest.mark.parametrize("words", WORDS[:2])
def test_what_the_code_says_of_a_source_is_what_the_table_says(words: str):
    """A comment that says "from memory" or "common practice, no source" has a row that says so too."""
    table = rows()
    apart = [
        (each.file, name)
        for each in constants()
        for name in each.names
        if words in each.comment and words not in " ".join(table[each.file, name])
    ]

    assert apart == []


def test_cold_fuse_and_what_a_limit_allows_for_it():
    """Hot at its full rating a blade fuse drops about 100 mV (from memory), which a limit allows."""
    for fuse_a in (5.0, 20.0, 30.0):
        assert 50 < fuse_mohm(fuse_a) * fuse_a < 100 <= ALLOWANCE_SPREAD * fuse_mohm(fuse_a) * fuse_a
    assert feed_allowance(20.0).most_mohm * 20 > 100


def test_nine_volts_pull_a_warm_relay_in():
    """7.2 V at 20 degC (data sheets; common practice, no source) are 9 V with the copper of a coil at 85 degC."""
    warm_v = 7.2 * (1 + COPPER_PER_K * (85 - 20))

    assert round(warm_v) == 9
    assert "less than about 9 V is too little to pull a warm relay in" in by_id("weak_coil_supply").tests[0]


def test_one_rest_before_a_resting_voltage():
    """Whoever asks for a rest asks for the same one: a night."""
    asks = re.compile(r"let (?:it|the bike) rest (?!\{REST_WORDS\}|overnight)")
    texts = {path: path.read_text(encoding="utf-8") for path in (ROOT / "benchlog").rglob("*.py")}

    assert [str(path) for path, text in texts.items() if asks.search(text)] == []
    assert 6 <= REST_H <= 24


def test_band_of_a_flooded_battery_holds_both_tables():
    """The printed table and six times (acid density + 0.84 V) differ by up to 0.13 V (common practice, no source)."""
    printed = dict(CHEMISTRY["flooded"].rest)
    by_density = {100: 12.63, 75: 12.39, 50: 12.18, 25: 11.97, 0: 11.76}

    worst_v = max(abs(printed[pct] - volts) for pct, volts in by_density.items())

    assert worst_v == pytest.approx(0.13, abs=0.005)
    assert CHEMISTRY["flooded"].band_v >= worst_v - 1e-9
