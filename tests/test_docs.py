"""Docs and code say the same: checks, commands, options, readers, roles, plan keys, and examples that run."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import typer.main

from benchlog.cli import app
from benchlog.core.roles import ROLE_UNITS
from benchlog.log.readers import READERS
from benchlog.logger.model import load_logger, logger_from_mapping, logger_schema
from benchlog.meter.model import readings_schema
from benchlog.plan.model import load_plan, plan_from_mapping, plan_schema
from benchlog.standin import BEHAVIOURS
from benchlog.verdict.causes.faults import FAULTS
from benchlog.verdict.registry.table import CHECKS
from benchlog.verdict.result import VERDICTS

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
#: A topic has one page, beside the code that it is about.
LOG_FORMAT = (ROOT / "firmware_notes" / "log_format.md").read_text(encoding="utf-8")
CAUSES = (ROOT / "benchlog" / "verdict" / "causes" / "README.md").read_text(encoding="utf-8")
STANDIN = (ROOT / "benchlog" / "standin" / "README.md").read_text(encoding="utf-8")
PAGES = [
    "README.md",
    "DEVELOPERS.md",
    *(
        path.relative_to(ROOT).as_posix()
        for folder in ("benchlog", "dashboards", "firmware_notes", "tests")
        for path in sorted((ROOT / folder).rglob("*.md"))
    ),
]
#: What a rider reads; the others are for contributors.
FOR_RIDERS = {
    name: (ROOT / name).read_text(encoding="utf-8")
    for name in PAGES
    if name.startswith("firmware_notes/") or (name.endswith("README.md") and not name.startswith("tests/"))
}
ROOT_COMMAND = typer.main.get_command(app)
COMMANDS = ROOT_COMMAND.commands  # type: ignore[attr-defined]  # a group, as it has several commands
#: every command that can be typed, those of groups too, and the root with its own options
EVERY = [
    ROOT_COMMAND,
    *(one for command in COMMANDS.values() for one in getattr(command, "commands", {"": command}).values()),
]


def blocks(language: str) -> list[str]:
    """The fenced examples in one language on the riders' pages, without the list's indent."""
    found = [
        pair
        for text in FOR_RIDERS.values()
        for pair in re.findall(rf"^( *)```{language}\n(.*?)^ *```", text, re.MULTILINE | re.DOTALL)
    ]
    return [re.sub(rf"^{indent}", "", text, flags=re.MULTILINE) for indent, text in found]


def rows_of(page: str, heading: str) -> list[list[str]]:
    """The cells of the table below a heading of a page, its head left out."""
    section = re.split(r"\n#+ ", re.split(rf"^#+ {heading}\n", page, flags=re.MULTILINE)[1])[0]
    rows = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows[2:]]


def test_checks_of_the_readme_are_those_of_the_code():
    """The table of checks is that of the registry, in order: id, unit, what is measured, what sets the limit."""
    assert rows_of(README, "Checks") == [[f"`{kind.id}`", kind.unit, kind.measures, kind.set_by] for kind in CHECKS]


def test_table_of_causes_is_that_of_the_code():
    """The table of causes has every fault with its words and its first test, in order, and no other."""
    assert rows_of(CAUSES, "Causes") == [[f"`{f.id}`", f.text, f.shows, f.tests[0]] for f in FAULTS]


def test_limits_follow_from_plan_keys():
    """Every key that a check's limit follows from is one of the plan's, and no key of its limits is without a check."""
    named = {key for kind in CHECKS for key in kind.limit.keys if "." in key}
    schema = plan_schema()
    tables = {
        name: schema["$defs"][re.search(r"\$defs/(\w+)", str(there)).group(1)]["properties"]  # type: ignore[union-attr]  # every table is a definition
        for name, there in schema["properties"].items()
    }

    assert [key for key in named if key.split(".")[1] not in tables.get(key.split(".")[0], {})] == []
    assert named >= {f"limits.{key}" for key in tables["limits"]}


def test_verdict_words_are_explained():
    """Each verdict has its row."""
    assert sorted(row[0] for row in rows_of(README, "Verdicts")) == sorted(VERDICTS)


def test_table_of_behaviours_is_that_of_the_code():
    """The table of behaviours has every behaviour of the stand-in with its words, in order, and no other."""
    assert rows_of(STANDIN, "Behaviours") == [[f"`{one.name}`", one.words] for one in BEHAVIOURS.values()]


def test_commands_of_the_readme_are_those_of_the_code():
    """The table of commands lists every command, and no other."""
    named = {re.match(r"`benchlog (\w+)", row[0]).group(1) for row in rows_of(README, "Commands")}  # type: ignore[union-attr]  # fails where a row is none

    assert named == set(COMMANDS)


def test_every_option_says_what_it_does():
    """The options stand in ``--help`` and nowhere else, so each one, and each argument, has its words there."""
    silent = [
        f"{command.name} {parameter.name}"
        for command in EVERY
        for parameter in command.params
        if not getattr(parameter, "help", "")
    ]

    assert silent == []


def test_every_option_of_the_pages_exists():
    """No option of benchlog is promised that the code lacks."""
    known = {option for command in EVERY for parameter in command.params for option in parameter.opts}
    calls = [line for block in blocks("sh") for line in block.splitlines() if "benchlog " in line]
    named = {option for line in calls for option in re.findall(r"(?<=\s)--\w[\w-]*", line.split("benchlog ", 1)[1])}
    named |= {option for text in FOR_RIDERS.values() for option in re.findall(r"`(?:[a-z ]+ )?(--[\w-]+)", text)}

    assert named
    assert sorted(named - known - {"--help"}) == []


def test_readers_and_roles_stand_in_the_log_format():
    """Every reader by its name, every role by its column."""
    readers = [reader.name for reader in READERS if f"`{reader.name}`" not in LOG_FORMAT]
    # twelve slots are written as the first and "…"
    once = {re.sub(r"slot\d+", "slot1", role) for role in ROLE_UNITS}
    roles = sorted(role for role in once if f"`{role}`" not in LOG_FORMAT)

    assert readers + roles == []


def test_words_that_look_like_checks_exist():
    """Every word in code marks that reads like a name is a check, role, key, command or reader of the code."""
    schema_text = f"{plan_schema()} {logger_schema()} {readings_schema()}"
    known = {spec.id for spec in CHECKS} | set(ROLE_UNITS) | {"slot1_a", "slot1_v"}
    known |= {fault.id for fault in FAULTS} | set(BEHAVIOURS)
    known |= {
        "to_frame",
        "to_json",
        "sample_data",
        "firmware_notes",
        "make_sample_data",
        "truth_table",
        "meter_table",
        "season_table",
        "world_table",
        "world_causes",
        "avr_long",
    }
    # a misspelling that is shown, pages and columns of the firmware notes, a program of PostgreSQL's
    known |= {"batery_v", "line_form", "pg_dump", "t_us", "ticks_us", "in_battery", "in_86", "in_87", "in_bus"}
    prose = [re.sub(r"^ *```.*?^ *```", "", text, flags=re.MULTILINE | re.DOTALL) for text in FOR_RIDERS.values()]
    spans = [span for text in prose for span in re.findall(r"`([^`\n]+)`", text)]
    named = {word for span in spans for word in re.findall(r"\b[a-z]\w*_\w+\b", span)}

    assert sorted(word for word in named if word not in known and word not in schema_text) == []


def test_python_examples_run(tmp_path: Path):
    """Each Python example runs from the repository's folder."""
    examples = blocks("python")
    assert examples
    for example in examples:
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", example],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
            env={"PATH": "/usr/bin:/bin", "HOME": str(tmp_path)},
        )

        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.startswith("pass\n")


def test_toml_examples_can_be_used():
    """Each TOML example is a plan or a logger file that benchlog takes."""
    examples = [tomllib.loads(block) for block in blocks("toml")]

    assert len(examples) >= 2
    for example in examples:
        if "logger" in example:
            logger_from_mapping(example)
        else:
            plan_from_mapping(example)


def test_sample_files_can_be_used():
    """The sample plan and logger files are whole ones."""
    assert load_plan(ROOT / "sample_data" / "larch.plan.toml").install.bike == "Larch"
    assert [load_logger(path).name for path in sorted((ROOT / "sample_data").glob("*.logger.toml"))]


@pytest.mark.parametrize("name", PAGES)
def test_links_lead_somewhere(name: str):
    """Every link to a file of the repository finds it."""
    page = ROOT / name
    links = re.findall(r"\]\((?!https?:|#|mailto:)([^)#]+)", page.read_text(encoding="utf-8"))

    assert [link for link in links if not (page.parent / link).exists()] == []


@pytest.mark.parametrize("name", PAGES)
def test_named_files_exist(name: str):
    """Every path in code marks that names a file of the repository finds it."""
    text = (ROOT / name).read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:benchlog|tests|sample_data|dashboards|firmware_notes|\.ci)/[\w./]*)`", text))

    assert sorted(path for path in named if not (ROOT / path).exists()) == []


SOURCES = [path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*.py") if ".venv" not in path.as_posix()]


@pytest.mark.parametrize("name", PAGES)
def test_named_sources_exist(name: str):
    """Every source file that a page names is there, under its folder or the end of its path."""
    named = set(re.findall(r"`([\w./]+\.py)`", (ROOT / name).read_text(encoding="utf-8")))

    assert sorted(end for end in named if not any(f"/{path}".endswith(f"/{end}") for path in SOURCES)) == []


@pytest.mark.parametrize("name", PAGES)
def test_links_find_their_heading(name: str):
    """Every link into a page finds the heading that it names."""
    page = ROOT / name
    missing = []
    for path, anchor in re.findall(r"\]\((?!https?:)([^)#]*)#([^)]+)\)", page.read_text(encoding="utf-8")):
        target = (page.parent / path if path else page).read_text(encoding="utf-8")
        headings = re.findall(r"^#+ (.*)$", target, re.MULTILINE)
        anchors = {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}
        if anchor not in anchors:
            missing.append(f"{path}#{anchor}")

    assert missing == []


@pytest.mark.parametrize(("name", "most"), [("README.md", 14_000), ("DEVELOPERS.md", 12_000)])
def test_front_pages_stay_short(name: str, most: int):
    """What everybody reads first leaves the details to the pages that it links to."""
    assert (ROOT / name).stat().st_size <= most


def test_every_page_can_be_reached():
    """From the README, directly or by another page, a link leads to every page."""
    found, waiting = set(), ["README.md"]
    while waiting:
        name = waiting.pop()
        found.add(name)
        page = ROOT / name
        for link in re.findall(r"\]\((?!https?:|#)([^)#]+\.md)", page.read_text(encoding="utf-8")):
            target = (page.parent / link).resolve().relative_to(ROOT.resolve()).as_posix()
            if target not in found and target in PAGES:
                waiting.append(target)

    assert sorted(set(PAGES) - found) == []
