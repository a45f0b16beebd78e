"""The house rules that a reader of the code relies on: rooms, small files, tests that state facts.

Which way data runs between the rooms is held by import-linter (``pyproject.toml``), which ``tests/run`` runs.
"""

import ast
from fnmatch import fnmatch
from pathlib import Path

import pytest

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
        "benchlog.core.spread",
        "benchlog.core.trace",
        "benchlog.core.uncertainty",
        "benchlog.core.roles",
        "benchlog.core.errors",
    ),
}
#: What opens files, prints, plots or reads the clock.
ANALYSIS_MAY_NOT_CALL = {"open", "print", "input", "exec", "eval", "breakpoint"}

MOST_LINES = 450
#: File -> why it is longer than the others.
LONGER: dict[str, str] = {}


def module_of(path: Path) -> str:
    """``benchlog.examine.timeline`` for its file; a package's own name for its ``__init__``."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imports_of(path: Path, *, run_time: bool = True) -> list[tuple[int, str]]:
    """Line and full name of everything a file imports, inside functions too.

    Args:
        path: the file.
        run_time: leave out what is imported for type checkers alone.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped: set[ast.AST] = set()
    for node in ast.walk(tree):
        if run_time and isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
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


@pytest.mark.parametrize("path", sorted((PACKAGE / "analysis").rglob("*.py")), ids=module_of)
def test_analysis_computes_and_nothing_else(path: Path):
    """Analysis imports numbers and its own kind only, and calls nothing that opens, prints or asks."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    strange = [
        f"{path.name}:{line} imports {name}"
        for line, name in imports_of(path, run_time=False)
        if not any(is_within(name, allowed) for allowed in ANALYSIS_MAY_IMPORT)
    ]
    called = [
        f"{path.name}:{node.lineno} calls {node.func.id}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ANALYSIS_MAY_NOT_CALL
    ]
    files = [
        f"{path.name}:{node.lineno} uses numpy.{node.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and node.attr in ("load", "save", "savetxt", "loadtxt", "genfromtxt", "fromfile", "memmap", "tofile")
    ]

    assert strange + called + files == []


@pytest.mark.parametrize("path", SOURCES, ids=module_of)
def test_nothing_imports_the_edges(path: Path):
    """Nothing imports the command line or the pages, but the program starts the one, and that the other."""
    own = module_of(path)
    taken = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for line, name in imports_of(path, run_time=False)
        if (is_within(name, "benchlog.cli") and own not in ("benchlog.cli", "benchlog.__main__"))
        or is_within(name, "benchlog.__main__")
        or (
            is_within(name, "dashboards")
            and not is_within(own, "benchlog.commands")
            and not is_within(own, "dashboards")
        )
    ]

    assert taken == []


@pytest.mark.parametrize("path", SOURCES, ids=module_of)
def test_no_file_imports_what_only_the_tests_install(path: Path):
    """What a user installs is enough: no scipy, no pytest, nothing of the tests."""
    for_tests = ("scipy", "pytest", "hypothesis", "jsonschema", "psutil", "playwright", "scenarios", "conftest")

    taken = [name for _, name in imports_of(path) if any(is_within(name, package) for package in for_tests)]

    assert taken == []


def test_files_are_small():
    """No file of code has more lines than a reader holds in mind; a longer one is listed with its reason."""
    long = {
        path.relative_to(ROOT).as_posix()
        for path in SOURCES
        if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES
    }

    assert long == set(LONGER)


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
    tree = ast.parse(path.read_text(encoding="utf-8"))
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
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
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
