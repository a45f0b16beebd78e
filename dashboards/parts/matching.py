"""Parts of a page that stand there once for each log or file, as a callback of theirs names them."""

from typing import TypeAlias

from dash import MATCH, Input, Output, State

Named: TypeAlias = Input | Output | State


def matching(whose: str, *parts: tuple[type[Named], str, str]) -> list[Named]:
    """The inputs, outputs and states of one log or file: those that belong to whichever calls.

    Args:
        whose: "log" or "file". parts: each with its property, such as ``(Output, "graph", "figure")``.
    """
    return [kind({"part": part, whose: MATCH}, prop) for kind, part, prop in parts]
