"""Parts of a page that stand there once for each log or file, as a callback of theirs names them."""

from typing import TypeVar

from dash import MATCH, Input, Output, State

Named = TypeVar("Named", Input, Output, State)


def matching(whose: str, kind: type[Named], *parts: tuple[str, str]) -> list[Named]:
    """The inputs, outputs or states of one log or file: those that belong to whichever calls.

    Args:
        whose: "log" or "file". parts: each with its property, such as ``("graph", "figure")``.
    """
    return [kind({"part": part, whose: MATCH}, prop) for part, prop in parts]
