"""The small faults that can be put into one source file, each a change of one expression."""

import ast
import copy
import difflib
from collections.abc import Iterator
from dataclasses import dataclass

_COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    **{ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt},
    **{
        ast.Eq: ast.NotEq,
        ast.NotEq: ast.Eq,
        ast.Is: ast.IsNot,
        ast.IsNot: ast.Is,
        ast.In: ast.NotIn,
        ast.NotIn: ast.In,
    },
}
#: Only where whole numbers are compared: two measured values are never equal.
_EDGE: dict[type[ast.cmpop], type[ast.cmpop]] = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
_COUNTS = {"len", "count_nonzero"}
#: A whole number from here on is doubled, a smaller one made one more.
_LARGE = 10
_COMPUTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.FloorDiv,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
_CALLED = {
    **{"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor"},
    **{"minimum": "maximum", "maximum": "minimum", "nanmin": "nanmax", "nanmax": "nanmin"},
    **{"argmin": "argmax", "argmax": "argmin", "flatnonzero": "atleast_1d"},
}
#: Keywords whose value changes nothing a test could see, or only how a mistake of the program's own is told.
_IDLE_KEYWORDS = {"strict", "slots", "frozen", "repr", "stacklevel", "examples"}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change.

    Attributes:
        file: path from the project's root. line, column: where the changed expression begins, as in the file.
        was, becomes: the expression before and after. kind: what sort of change it is, in a word.
        lines: (first, last) line of the statement, or of the head of an ``if`` or loop, that the change is in.
        names: where the change is in no function: the names that carry what it makes, else empty.
        start, end: offsets of the expression in the file's text.
    """

    file: str
    line: int
    column: int
    was: str
    becomes: str
    kind: str
    lines: tuple[int, int]
    names: tuple[str, ...]
    start: int
    end: int

    @property
    def name(self) -> str:
        """Where it is and what it does."""
        return f"{self.file}:{self.line}:{self.column} {self.kind}"

    def put_into(self, text: str) -> str:
        """The file's text with the change."""
        return text[: self.start] + self.becomes + text[self.end :]

    def diff(self, text: str) -> str:
        """What changes, as a unified diff without its heads."""
        changed = difflib.unified_diff(text.splitlines(), self.put_into(text).splitlines(), lineterm="", n=0)
        return "\n".join(line for line in changed if not line.startswith(("---", "+++", "@@")))


def mutants_of(file: str, text: str) -> list[Mutant]:
    """Every change of one file, in the order of its lines."""
    found = _Finder(file, text)
    found.visit(ast.parse(text))
    return sorted(found.mutants, key=lambda each: (each.start, each.end, each.becomes))


def mutant_of(file: str, text: str, change: dict[str, str]) -> Mutant:
    """A change that is written down: ``what`` it is, and the text that ``was`` and ``becomes``.

    Raises:
        ValueError: the file does not hold that text exactly once.
    """
    if text.count(change["was"]) != 1:
        raise ValueError(f"{file} holds {change['was']!r} {text.count(change['was'])} times, once needed")
    start = text.index(change["was"])
    first = text.count("\n", 0, start) + 1
    lines = first, first + change["was"].count("\n")
    statements = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Assign)]
    at_top = [node for node in statements if node.col_offset == 0 and node.lineno <= first <= (node.end_lineno or 0)]
    names = {
        each.id for node in at_top for target in node.targets for each in ast.walk(target) if isinstance(each, ast.Name)
    }
    end = start + len(change["was"])
    return Mutant(
        file, first, 1, change["was"], change["becomes"], change["what"], lines, tuple(sorted(names)), start, end
    )


class _Finder(ast.NodeVisitor):
    """Walks a file and notes what could be changed where."""

    def __init__(self, file: str, text: str) -> None:
        """Walk this text later."""
        self.file, self.text = file, text
        self.mutants: list[Mutant] = []
        self._starts = [0]
        for line in text.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))
        self._lines = text.splitlines()
        self._span = (1, 1)
        self._inside = 0
        self._names: tuple[str, ...] = ()

    def visit(self, node: ast.AST) -> None:
        """One node: its own changes, then what is in it."""
        if isinstance(node, ast.stmt):
            self._enter(node)
        elif isinstance(node, ast.expr):
            for changed, kind in _changes(node):
                self._note(node, changed, kind)
        self._inner(node)

    def _enter(self, node: ast.stmt) -> None:
        body = getattr(node, "body", None)
        last = node.end_lineno or node.lineno
        if isinstance(body, list) and body:
            last = max(node.lineno, body[0].lineno - 1)
        self._span = (node.lineno, last)
        plain = isinstance(node, ast.If | ast.While) and not isinstance(node.test, ast.Compare | ast.BoolOp)
        if plain and not _for_types(node):
            self._note(node.test, ast.UnaryOp(ast.Not(), node.test), "condition turned round")

    def _inner(self, node: ast.AST) -> None:
        if isinstance(node, ast.Raise | ast.Import | ast.ImportFrom | ast.JoinedStr | ast.Assert):
            return  # messages have tests of their own
        if _for_types(node):
            return
        if isinstance(node, ast.keyword) and node.arg in _IDLE_KEYWORDS:
            return
        outer = self._inside, self._names
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            self._function(node)
        elif isinstance(node, ast.ClassDef):
            self._names = (*self._names, node.name)
            for each in node.body:
                self.visit(each)
        elif isinstance(node, ast.AnnAssign):
            self._assigned([node.target])
            if node.value is not None:
                self.visit(node.value)
        elif isinstance(node, ast.Assign):
            self._assigned(node.targets)
            if self._inside or not _names_types(node.value):
                self.visit(node.value)
        else:
            for each in ast.iter_child_nodes(node):
                self.visit(each)
        self._inside, self._names = outer

    def _function(self, node: ast.FunctionDef | ast.AsyncFunctionDef) -> None:
        named = self._names
        self._names = (*named, node.name)
        for default in (*node.args.defaults, *(each for each in node.args.kw_defaults if each is not None)):
            self.visit(default)
        self._inside, self._names = self._inside + 1, named
        for each in node.body:
            self.visit(each)

    def _assigned(self, targets: list[ast.expr]) -> None:
        if not self._inside:
            names = {each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)}
            self._names = (*self._names, *sorted(names))

    def _note(self, node: ast.expr, changed: ast.expr, kind: str) -> None:
        start, end = self._offset(node.lineno, node.col_offset), self._end(node)
        becomes = ast.unparse(ast.fix_missing_locations(changed))
        if not isinstance(changed, ast.Constant | ast.Name | ast.Attribute | ast.Call):
            becomes = f"({becomes})"
        self.mutants.append(
            Mutant(
                file=self.file,
                line=node.lineno,
                column=node.col_offset + 1,
                was=ast.unparse(node),
                becomes=becomes,
                kind=kind,
                lines=self._span,
                names=() if self._inside else self._names,
                start=start,
                end=end,
            )
        )

    def _offset(self, line: int, column: int) -> int:
        """Columns of a tree count bytes."""
        text = self._lines[line - 1].encode()[:column].decode()
        return self._starts[line - 1] + len(text)

    def _end(self, node: ast.expr) -> int:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self._offset(node.end_lineno, node.end_col_offset)


def _changes(node: ast.expr) -> Iterator[tuple[ast.expr, str]]:
    """What one expression may become, with a word for each."""
    if isinstance(node, ast.Compare):
        for n, op in enumerate(node.ops):
            whole = any(map(_is_whole, (node.left, *node.comparators)))
            for other in (_COMPARED.get(type(op)), _EDGE.get(type(op)) if whole else None):
                if other is not None:
                    changed = copy.deepcopy(node)
                    changed.ops[n] = other()
                    yield changed, "comparison"
    elif isinstance(node, ast.BinOp) and type(node.op) in _COMPUTED:
        yield ast.BinOp(node.left, _COMPUTED[type(node.op)](), node.right), "operator"
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values), "and, or"
    elif isinstance(node, ast.UnaryOp) and not isinstance(node.op, ast.UAdd):
        yield node.operand, "sign or not left out"
    elif isinstance(node, ast.Constant):
        yield from _constants(node)
    elif isinstance(node, ast.IfExp) and not isinstance(node.test, ast.Compare | ast.BoolOp):
        yield ast.IfExp(ast.UnaryOp(ast.Not(), node.test), node.body, node.orelse), "condition turned round"
    elif isinstance(node, ast.Call):
        yield from _calls(node)


def _for_types(node: ast.AST) -> bool:
    """Whether a statement is for the checker of types alone."""
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


def _names_types(node: ast.expr) -> bool:
    """Whether a value gives a name to alternatives of types: ``A | list[B] | None``."""
    if not isinstance(node, ast.BinOp) or not isinstance(node.op, ast.BitOr):
        return False
    sides = (node.left, node.right)
    return all(isinstance(side, ast.Name | ast.Subscript | ast.Constant) or _names_types(side) for side in sides)


def _is_whole(node: ast.expr) -> bool:
    """Whether an operand is plainly a whole number."""
    if isinstance(node, ast.Call):
        return ast.unparse(node.func).rpartition(".")[2] in _COUNTS
    return isinstance(node, ast.Constant) and isinstance(node.value, int)


def _constants(node: ast.Constant) -> Iterator[tuple[ast.expr, str]]:
    value = node.value
    if isinstance(value, bool):
        yield ast.Constant(not value), "truth value"
    elif isinstance(value, int):
        yield ast.Constant(2 * value if value >= _LARGE else value + 1), "number"
    elif isinstance(value, float):
        yield ast.Constant(2.0 * value if value else 1.0), "number"


def _calls(node: ast.Call) -> Iterator[tuple[ast.expr, str]]:
    called = node.func
    if isinstance(called, ast.Name) and called.id in _CALLED:
        yield ast.Call(ast.Name(_CALLED[called.id]), node.args, node.keywords), "call"
    elif isinstance(called, ast.Attribute) and called.attr in _CALLED:
        yield ast.Call(ast.Attribute(called.value, _CALLED[called.attr]), node.args, node.keywords), "call"
