"""Buttons connected: a function is asked once its button was pressed, and not as the page comes in."""

from collections.abc import Callable, Sequence
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, no_update

Asked = Callable[..., Any]


def on_press(app: Dash, button: str, answers: Sequence[Output], given: Sequence[State]) -> Callable[[Asked], Asked]:
    """Connect a function to a button.

    Args:
        button: its id.
        answers: what the function's values are for, one each.
        given: what the function takes, by position.
    """

    def connect(asked: Asked) -> Asked:
        @app.callback(*answers, Input(button, "n_clicks"), *given, prevent_initial_call=True)
        def _pressed(clicks, *now):  # type: ignore[no-untyped-def]  # Dash calls it by position
            if clicks:
                return asked(*now)
            return no_update if len(answers) == 1 else (no_update,) * len(answers)

        return asked

    return connect


def values(*ids: str) -> list[State]:
    """What stands in boxes."""
    return [State(one, "value") for one in ids]


def data(*ids: str) -> list[State]:
    """What a page keeps beside its boxes."""
    return [State(one, "data") for one in ids]


def move_focus(app: Dash, of: str) -> None:
    """Whatever id is put into the store ``OF-focus`` gets the keyboard's focus."""
    ours: Any = app.clientside_callback  # Dash gives it no types
    ours(
        ClientsideFunction("benchlog", "focus"),
        Output(f"{of}-focused", "data"),
        Input(f"{of}-focus", "data"),
        prevent_initial_call=True,
    )
