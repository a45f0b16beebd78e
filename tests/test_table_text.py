"""Tables as plain text."""

import pytest
from rich.cells import cell_len
from rich.table import Column

from benchlog.report.table_text import ONE_LINE_A_ROW, table_lines


def test_columns_stand_under_their_heads():
    """Wide characters take two places; no line ends in a blank."""
    lines = table_lines(
        [Column("name"), Column("load", justify="right")], [("蓄電池", "3 A"), ("lamp", "12 A")], width=80
    )

    assert lines == ["name    load", "蓄電池   3 A", "lamp    12 A"]


def test_text_is_never_markup():
    """Square brackets and emoji codes stay as they were typed."""
    assert table_lines([Column("")], [("[red]x[/red] :bell:",)], width=80) == ["[red]x[/red] :bell:"]


@pytest.mark.parametrize("name", ["COLUMNS", "FORCE_COLOR", "TERM", "JUPYTER_COLUMNS"])
def test_terminal_changes_nothing(monkeypatch: pytest.MonkeyPatch, name: str):
    """The same text whatever the terminal says of itself."""
    columns, rows = [Column("a"), Column("b")], [("x" * 30, "y" * 30)]
    plain = table_lines(columns, rows, width=80)
    monkeypatch.setenv(name, "20")

    assert table_lines([Column("a"), Column("b")], rows, width=80) == plain


def test_width_is_kept_and_one_line_a_row_where_asked():
    """Long cells go on below within the width, or stand whole in one line."""
    rows = [("word " * 40 + "end", "value")]

    folded = table_lines([Column("text"), Column("value", no_wrap=True)], rows, width=40, indent=2)
    whole = table_lines([Column("text"), Column("value")], rows, width=ONE_LINE_A_ROW)

    assert max(map(cell_len, folded)) <= 40
    assert all(line.startswith("  ") for line in folded)
    assert len(whole) == 2
