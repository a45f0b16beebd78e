"""The house rules that a reader of the code relies on: rooms, small files, tests that state facts.

Which way data runs between the rooms is held by import-linter (``pyproject.toml``), which ``tests/run`` runs.
"""

import ast
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

from conftest import SLOW

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "benchlog"
SOURCES = sorted(path for folder in ("benchlog", "dashboards") for path in (ROOT / folder).rglob("*.py"))

#: Nothing else lies beside the rooms: the front door, the program's start, its command line, and logs in, result out.
ROOT_MODULES = {"__init__", "__main__", "cli", "run"}
MOST_ROOMS = 16

ANALYSIS_MAY_IMPORT = {
    *("numpy", "math", "dataclasses", "collections", "itertools", "functools", "typing", "enum", "statistics"),
    *(
        "benchlog.analysis",
        "benchlog.core.events",
        "benchlog.core.quantiles",
        "benchlog.core.spread",
        "benchlog.core.trace",
        "benchlog.core.uncertainty",
        "benchlog.core.roles",
        "benchlog.core.errors",
    ),
}
#: What opens files, prints, plots or reads the clock.
ANALYSIS_MAY_NOT_CALL = {"open", "print", "input", "exec", "eval", "breakpoint"}

MOST_LINES, MOST_FUNCTION_LINES, MOST_ARGUMENTS = 300, 50, 6
#: File -> why it is longer than the others.
LONGER = {
    "benchlog/bench/recording/capture.py": "one recording: port, clock, gaps and file are one state",
    "benchlog/verdict/causes/faults.py": "a table, one entry a fault",
}
#: Why a function is longer, or takes more, than the others -> which ones.
LARGER = {
    "one parameter an option of the command": (
        *(
            "benchlog/cli.py check",
            "benchlog/commands/acceptance.py acceptance",
            "benchlog/commands/find.py find",
            "benchlog/commands/records.py save_check",
        ),
        *("benchlog/commands/records.py import_folder", "benchlog/commands/season.py season"),
        "benchlog/commands/standin.py standin",
    ),
    "what a caller may ask for, by keyword": (
        *("benchlog/run.py check", "benchlog/season/season.py season_of", "benchlog/store/store.py save"),
        *("benchlog/store/importing.py import_logs", "benchlog/store/saving.py record_body"),
        *("benchlog/standin/script.py acceptance_script", "benchlog/standin/script.py key_cycles"),
        *("benchlog/bench/guided/leading.py prepare", "benchlog/bench/guided/session.py run_session"),
        *("benchlog/bench/guided/session.py _follow", "benchlog/bench/recording/capture.py __init__"),
        "benchlog/log/log.py __init__",
    ),
    "one loop over work in progress": ("benchlog/process/pool.py side_by_side",),
    "the terms of one sum, one count or one judgement": (
        *("benchlog/analysis/contact.py chatter_count", "benchlog/examine/parted.py level_parts"),
        *("benchlog/bench/recording/clock.py _judge", "benchlog/bench/recording/clock.py _jump"),
    ),
}


@cache
def tree_of(path: Path) -> ast.Module:
    """A file's syntax tree."""
    return ast.parse(path.read_text(encoding="utf-8"))


def module_of(path: Path) -> str:
    """``benchlog.examine.timeline`` for its file; a package's own name for its ``__init__``."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def imports_of(path: Path, *, run_time: bool = True) -> list[tuple[int, str]]:
    """Line and full name of everything a file imports, inside functions too.

    Args:
        path: the file.
        run_time: leave out what is imported for type checkers alone.
    """
    tree = tree_of(path)
    skipped: set[ast.AST] = set()
    for node in ast.walk(tree):
        test = node.test if run_time and isinstance(node, ast.If) else None
        if isinstance(test, ast.Name) and test.id == "TYPE_CHECKING":
            skipped |= {inner for statement in node.body for inner in ast.walk(statement)}
    found = []
    for node in ast.walk(tree):
        if node in skipped:
            continue
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: imports are written in full"
            assert node.module is not None
            found += [(node.lineno, f"{node.module}.{alias.name}") for alias in node.names]
    return found


def is_within(name: str, package: str) -> bool:
    """Whether a full name is that of a package or of something in it."""
    return name == package or name.startswith(package + ".")


def test_the_package_is_made_of_rooms():
    """Beside the four modules of the way in, the package holds rooms alone."""
    modules = {path.stem for path in PACKAGE.glob("*.py")}
    rooms = [path for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()]

    assert modules == ROOT_MODULES
    assert len(rooms) <= MOST_ROOMS


def test_analysis_computes_and_nothing_else():
    """Analysis imports numbers and its own kind only, and calls nothing that opens, prints or asks."""
    strange, called, files = [], [], []
    for path in sorted((PACKAGE / "analysis").rglob("*.py")):
        nodes = list(ast.walk(tree_of(path)))
        strange += [
            f"{path.name}:{line} imports {name}"
            for line, name in imports_of(path, run_time=False)
            if not any(is_within(name, allowed) for allowed in ANALYSIS_MAY_IMPORT)
        ]
        called += [
            f"{path.name}:{node.lineno} calls {node.func.id}"
            for node in nodes
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ANALYSIS_MAY_NOT_CALL
        ]
        files += [
            f"{path.name}:{node.lineno} uses numpy.{node.attr}"
            for node in nodes
            if isinstance(node, ast.Attribute)
            and node.attr in ("load", "save", "savetxt", "loadtxt", "genfromtxt", "fromfile", "memmap", "tofile")
        ]

    assert strange + called + files == []


def test_nothing_imports_the_edges():
    """Nothing imports the command line or the pages, but the program starts the one, and that the other."""
    taken = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for path in SOURCES
        for line, name in imports_of(path, run_time=False)
        if (is_within(name, "benchlog.cli") and module_of(path) not in ("benchlog.cli", "benchlog.__main__"))
        or is_within(name, "benchlog.__main__")
        or (
            is_within(name, "dashboards")
            and not is_within(module_of(path), "benchlog.commands")
            and not is_within(module_of(path), "dashboards")
        )
    ]

    assert taken == []


def test_no_file_imports_what_only_the_tests_install():
    """What a user installs is enough: no scipy, no pytest, nothing of the tests."""
    for_tests = ("scipy", "pytest", "hypothesis", "jsonschema", "psutil", "playwright", "scenarios", "conftest")

    taken = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for path in SOURCES
        for line, name in imports_of(path)
        if any(is_within(name, package) for package in for_tests)
    ]

    assert taken == []


def test_files_are_small():
    """No file of code has more lines than a reader holds in mind; a longer one is listed with its reason."""
    long = {
        path.relative_to(ROOT).as_posix()
        for path in SOURCES
        if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES
    }

    assert long == set(LONGER)


def test_functions_are_small():
    """No function has more lines or arguments than a reader holds in mind; a larger one is listed with its reason."""
    large = set()
    for path in SOURCES:
        for node in ast.walk(tree_of(path)):
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            given = [one.arg for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
            arguments = len([name for name in given if name not in ("self", "cls")])
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if lines > MOST_FUNCTION_LINES or arguments > MOST_ARGUMENTS:
                large.add(f"{path.relative_to(ROOT).as_posix()} {node.name}")

    assert large == {name for names in LARGER.values() for name in names}


def test_no_class_name_stands_twice():
    """No two ideas share a name."""
    names = [node.name for path in SOURCES for node in ast.walk(tree_of(path)) if isinstance(node, ast.ClassDef)]

    assert sorted({name for name in names if names.count(name) > 1}) == []


def test_top_level_is_tidy():
    """The top level holds what a reader looks for, and no more."""
    wanted = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
    wanted |= {"benchlog", "dashboards", "firmware_notes", "tests", "sample_data"}
    # made by building and by the demo, never committed
    made = ("dist", "build", "benchlog-report*.html")

    there = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}

    assert {name for name in there if not any(fnmatch(name, pattern) for pattern in made)} == wanted


TEST_FILES = sorted(Path(__file__).parent.rglob("test_*.py"))


def functions_of(path: Path) -> list[ast.FunctionDef]:
    """The tests in a file."""
    tree = tree_of(path)
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test")]


def test_every_test_states_a_fact():
    """Each test opens with a docstring saying what must be true."""
    silent = [
        f"{path.name}:{test.lineno} {test.name}"
        for path in TEST_FILES
        for test in functions_of(path)
        if not ast.get_docstring(test)
    ]

    assert silent == []


def test_every_refusal_checks_its_text():
    """``pytest.raises`` of a benchlog error always looks at the message."""
    unmatched = [
        f"{path.name}:{node.lineno}"
        for path in TEST_FILES
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Call)
        and ast.unparse(node.func) == "pytest.raises"
        and "match" not in [keyword.arg for keyword in node.keywords]
    ]

    assert unmatched == []


def test_no_global_seed():
    """Tests draw from generators of their own."""
    seeded = [
        f"{path.name}:{number}"
        for path in TEST_FILES
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if ("np.random." + "seed(") in line or ("random." + "seed(") in line
    ]

    assert seeded == []


def test_the_slow_files_are_there():
    """Each file that is called slow exists."""
    assert {name for name in SLOW if not (Path(__file__).parent / f"{name}.py").exists()} == set()
