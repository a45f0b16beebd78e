"""What the tests of messages share: how a message is brought up, and which texts of the sources are messages.

Each of the files ``test_messages*.py`` has a table of entries, ``PROVOKED``, and a list of sources, ``FILES``; it takes
the two tests from here, and so fails where a source has a message without an entry.
"""

import ast
import os
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.core.errors import BenchlogError

TOP = Path(__file__).parent.parent
FOLDER = "FOLDER"  # stands for the folder of the test in the texts of entries


@dataclass(frozen=True, slots=True)
class Entry:
    """How a message comes, and its text.

    Attributes:
        bring: gives the notes that were made, or raises.
        text: what is said, the folder of the test as FOLDER.
    """

    bring: Callable[[Path], "list[str] | None"]
    text: str


def done(call: Callable[[Path], object], text: str) -> Entry:
    """Anything that is refused."""

    def bring(folder: Path) -> None:
        call(folder)

    return Entry(bring, text)


def command(words: Callable[[Path], list[str | Path]], text: str) -> Entry:
    """A command line that is refused; the folder of the test is the one that the user is in."""

    def bring(folder: Path) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.chdir(folder)
            ended = CliRunner().invoke(app, [str(word) for word in words(folder)])
        if ended.exception is not None and not isinstance(ended.exception, SystemExit):
            raise ended.exception
        raise BenchlogError(ended.stderr.removeprefix("benchlog: ").rstrip("\n"))

    return Entry(bring, text)


def fails(number: int) -> Callable[..., None]:
    """A function of the system that fails."""

    def fail(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    return fail


def while_it(patched: object, name: str, number: int, call: Callable[[Path], object]) -> Callable[[Path], object]:
    """The same call, while a function of the system fails."""

    def run(folder: Path) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(patched, name, fails(number))
            call(folder)

    return run


def said(entry: Entry, folder: Path) -> str:
    """What comes of it: the refusal, or the notes."""
    try:
        notes = entry.bring(folder)
    except BenchlogError as refused:
        return str(refused).replace(str(folder), FOLDER)
    return "|".join(notes or ())


def same(said: str, text: str) -> bool:
    """Whether they are the same; … stands for anything."""
    return re.fullmatch(".*".join(map(re.escape, text.split("…"))), said, re.DOTALL) is not None


def all_said(entries: Mapping[str, Entry], made: pytest.TempPathFactory) -> dict[str, str]:
    """What comes of each entry; every one has a folder of its own, in which the data folder lies too."""
    heard = {}
    for name, entry in entries.items():
        folder = made.mktemp("message")
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("BENCHLOG_DATA", str(folder / "data"))
            for variable in ("BENCHLOG_STORE", "BENCHLOG_LOGS"):
                patch.delenv(variable, raising=False)
            heard[name] = said(entry, folder)
    return heard


def unheard(files: Mapping[str, bool], heard: Mapping[str, str]) -> dict[str, str]:
    """Pieces of messages in the sources that nothing brought up, and their files.

    Args:
        files: path from the top of the repository -> whether only what is raised counts.
        heard: what was said by each entry.
    """
    everything = "\n".join(heard.values())
    return {
        text: name
        for name, raised in files.items()
        for text in texts_of(TOP / name, raised=raised)
        if text.strip("\n").removeprefix("benchlog: ") not in everything
    }


def test_message_reads_like_this(heard: dict[str, str], entry: str, request: pytest.FixtureRequest):
    """Each cause brings up its own text: where, what was found, what was needed, what to do."""
    assert same(heard[entry], request.module.PROVOKED[entry].text), heard[entry]


def test_every_message_is_heard(heard: dict[str, str], request: pytest.FixtureRequest):
    """Each piece of each message in the sources is in what some entry brought up, or in ``NOT_HEARD`` with its why."""
    assert set(unheard(request.module.FILES, heard)) == set(getattr(request.module, "NOT_HEARD", ()))


def texts_of(path: Path, *, raised: bool) -> Iterator[str]:
    """The pieces of text in a file that are words for people.

    Args:
        path: the file.
        raised: only what is raised or told as a fault, wherever in the file its words stand.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    other: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):  # docstrings
            other.add(node.value)
        elif isinstance(node, ast.keyword) and node.arg in ("description", "examples", "help", "pattern"):
            other |= set(ast.walk(node.value))
        elif isinstance(node, ast.arg | ast.AnnAssign | ast.FunctionDef):  # types written as text
            kinds = (node.returns,) if isinstance(node, ast.FunctionDef) else (node.annotation,)
            other |= {inner for kind in kinds if kind is not None for inner in ast.walk(kind)}
        elif isinstance(node, ast.Call) and ast.unparse(node.func).startswith("re."):
            other |= set(ast.walk(node))
    for node in _Reach(tree).nodes if raised else ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in other:
            text = node.value
            if len(text.strip()) >= 12 and " " in text.strip():
                yield text


def refuses(path: Path) -> bool:
    """Whether a file has messages: it makes an error of the user's input, or tells of a fault."""
    source = path.read_text(encoding="utf-8")
    if not any(word in source for word in (*_errors(), *_TELLING)):
        return False
    tree = ast.parse(source)
    caught = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.ExceptHandler) and node.type is not None
        for inner in ast.walk(node.type)
    }
    caught |= {inner for node in ast.walk(tree) for kind in _kinds(node) for inner in ast.walk(kind)}
    return any(
        (isinstance(node, ast.Name) and node.id in _errors() and node not in caught) or _tells(node)
        for node in ast.walk(tree)
    )


def _kinds(node: ast.AST) -> Iterator[ast.AST]:
    """What says of which type something is."""
    kind = node.returns if isinstance(node, ast.FunctionDef) else getattr(node, "annotation", None)
    if kind is not None:
        yield kind
    if isinstance(node, ast.Call) and _name_of(node.func) == "isinstance":
        yield from node.args[1:]


@cache
def _errors() -> frozenset[str]:
    """The names of the errors that mean unusable input, all over the sources."""
    names, more = {"BenchlogError"}, {"BenchlogError"}
    above = [
        found.groups()
        for folder in ("benchlog", "dashboards")
        for path in (TOP / folder).rglob("*.py")
        for found in re.finditer(r"^class (\w+)\((.*?)\):", path.read_text(encoding="utf-8"), re.MULTILINE)
    ]
    while more:
        more = {name for name, bases in above if names & set(re.findall(r"\w+", bases))} - names
        names |= more
    return frozenset(names)


class _Reach:
    """What a file raises or tells as a fault, followed to where its words stand.

    That is: the functions and classes of the file that are named there, what its variables were set to, and the words
    that are given to a function which raises.

    Attributes:
        nodes: all that was reached.
    """

    def __init__(self, tree: ast.Module) -> None:
        """Follow everything."""
        self.nodes: set[ast.AST] = set()
        self._above = {inner: node for node in ast.walk(tree) for inner in ast.iter_child_nodes(node)}
        #: what is only counted says nothing
        self._counted = {
            argument
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "len"
            for argument in node.args
        }
        self._named: dict[str, list[ast.AST]] = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                self._named.setdefault(node.name, []).append(node)
        for node in tree.body:
            for name, value in _set_by(node):
                self._named.setdefault(name, []).append(value)
        roots = [node for node in ast.walk(tree) if isinstance(node, ast.Raise) or _tells(node)]
        refusing = {function.name for root in roots if (function := self._function(root)) is not None}
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and _name_of(node.func) in refusing:
                roots += [argument for argument in (*node.args, *node.keywords) if _is_words(argument)]
        for root in roots:
            self._follow(root)

    def _follow(self, node: ast.AST) -> None:
        for inner in ast.walk(node):
            if inner in self.nodes or inner in self._counted:
                continue
            self.nodes.add(inner)
            name = _name_of(inner)
            for found in (*self._named.get(name, ()), *self._local(name, inner)):
                if found not in self.nodes:
                    self._follow(found)

    def _local(self, name: str, at: ast.AST) -> Iterator[ast.AST]:
        """What a variable was set to in the function around."""
        function = self._function(at)
        if function is not None and name:
            for node in ast.walk(function):
                yield from (value for set_name, value in _set_by(node) if set_name == name)

    def _function(self, node: ast.AST) -> ast.FunctionDef | None:
        while (above := self._above.get(node)) is not None:
            if isinstance(above, ast.FunctionDef):
                return above
            node = above
        return None


#: What stands in a file that tells of a fault without raising.
_TELLING = ("sys.stderr.write", "refused(", "typer.echo(", "jsonify(")


def _tells(node: ast.AST) -> bool:
    """Whether it tells of a fault without raising: on standard error, or as the pages refuse."""
    if not isinstance(node, ast.Call):
        return False
    called = ast.unparse(node.func)
    given = {keyword.arg for keyword in node.keywords}
    return (
        called in ("sys.stderr.write", "refused")
        or (called == "typer.echo" and "err" in given)
        or (called == "jsonify" and "problem" in given)
    )


def _set_by(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """Names and what a statement sets them to, or adds to them."""
    if isinstance(node, ast.Assign):
        for target in node.targets:
            yield _name_of(target), node.value
    elif isinstance(node, ast.AnnAssign | ast.AugAssign | ast.NamedExpr) and node.value is not None:
        yield _name_of(node.target), node.value
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "append":
        yield _name_of(node.func.value), node


def _name_of(node: ast.AST) -> str:
    return node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""


def _is_words(argument: ast.AST) -> bool:
    value = argument.value if isinstance(argument, ast.keyword) else argument
    return isinstance(value, ast.JoinedStr) or (isinstance(value, ast.Constant) and isinstance(value.value, str))
