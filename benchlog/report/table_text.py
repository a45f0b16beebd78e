"""Tables as plain text: for a terminal, a pipe and a file alike, without colours."""

from collections.abc import Iterable, Sequence
from io import StringIO
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.table import Column

#: As wide as the longest row: one row stays one line, so that it can be searched.
ONE_LINE_A_ROW = 10_000


def table_lines(
    columns: "Sequence[Column]", rows: Iterable[Sequence[str]], *, width: int, indent: int = 0
) -> list[str]:
    """The rows of a table, its heads first where a column has one; no line ends in a blank.

    Args:
        columns: rich's; how each is aligned, and what it does with what is too long.
        rows: cells as they are to be shown; nothing in them is taken for markup.
        width: of the whole, in places of a terminal.
        indent: blanks before each line.
    """
    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    headed = any(str(column.header) for column in columns)
    table = Table(*columns, box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=headed)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    out = StringIO()
    # nothing of the terminal or its settings may tell in what is written
    console = Console(
        file=out, width=width, color_system=None, force_terminal=False, legacy_windows=False, emoji=False, _environ={}
    )
    console.print(Padding(table, (0, 0, 0, indent), expand=False))
    return [line.rstrip() for line in out.getvalue().splitlines()]
