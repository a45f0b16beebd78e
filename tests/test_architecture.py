"""The house rules that a reader of the code relies on: which way data runs, small files, tests that state facts."""

import ast
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "benchlog"
SOURCES = sorted(path for folder in ("benchlog", "dashboards") for path in (ROOT / folder).rglob("*.py"))

#: Layers from the first to the last: a file may import from its own layer and those before it, never later ones.
#: A folder stands for all its files; the longest name that fits counts.
LAYERS: tuple[tuple[str, ...], ...] = (
    # words, tables and small parts that anyone may use
    ("errors", "roles", "trace", "uncertainty", "wiring", "batteries", "thinning", "files", "stopping", "output"),
    ("toml_faults", "toml_files", "channels", "plan", "logger", "planned_fuses", "limits"),
    ("places", "readings", "several", "many"),
    ("marks", "numbers", "check_table", "folding"),
    # the shape of a result: readers already write its notes
    ("result",),
    ("readers", "overview"),
    ("blocks",),
    ("log",),
    ("analysis",),
    ("evidence", "causes"),
    ("bounded",),
    ("examine", "advice"),
    ("report_words", "proving", "remedies", "sentences", "fuse_findings"),
    ("agreeing",),
    ("checks",),
    ("figures", "plan_report", "report_bar", "report_text", "report_html", "report", "schemas"),
    ("run",),
    ("demo", "progress", "standin", "live"),
    ("recording",),
    ("guided",),
    ("store",),
    ("season",),
    ("commands",),
    ("cli",),
    ("__main__",),
)
#: These stand outside the layers: the front door loads ``run`` only when asked.
NOT_LAYERED = {"__init__"}

ANALYSIS_MAY_IMPORT = {
    *("numpy", "math", "dataclasses", "collections", "itertools", "functools", "typing", "enum", "statistics"),
    *("benchlog.analysis", "benchlog.trace", "benchlog.uncertainty", "benchlog.roles", "benchlog.errors"),
}
#: What opens files, prints, plots or reads the clock.
ANALYSIS_MAY_NOT_CALL = {"open", "print", "input", "exec", "eval", "breakpoint"}

MOST_LINES = 450
#: File -> why it is longer than the others.
LONGER: dict[str, str] = {}


def module_of(path: Path) -> str:
    """``benchlog.examine.story`` for its file; a package's own name for its ``__init__``."""
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


def layer_of(name: str) -> int | None:
    """Which layer a full name belongs to; None for other people's code and the front door."""
    parts = name.split(".")
    if parts[0] == "dashboards":
        return next(n for n, layer in enumerate(LAYERS) if "commands" in layer)
    if parts[0] != "benchlog" or len(parts) == 1:
        return None
    return next((n for n, layer in enumerate(LAYERS) if parts[1] in layer), None)


def test_every_file_has_its_layer():
    """A new file is entered in the layers, and a deleted one is taken out."""
    there = {path.stem if path.is_file() else path.name for path in PACKAGE.iterdir() if path.suffix == ".py"}
    there |= {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}

    assert there == {name for layer in LAYERS for name in layer} | NOT_LAYERED


@pytest.mark.parametrize("path", SOURCES, ids=module_of)
def test_data_runs_one_way(path: Path):
    """No file imports from a later layer: readers, log, analysis, examinations, checks, report, command line."""
    own = layer_of(module_of(path))
    backwards = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for line, name in imports_of(path)
        if own is not None and (layer := layer_of(name)) is not None and layer > own
    ]

    assert backwards == []


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
