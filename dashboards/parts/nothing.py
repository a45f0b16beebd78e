"""The box that stands where there is nothing to show yet: what is missing, and what to do about it."""

from collections.abc import Sequence

from dash import html


def nothing(text: str, commands: Sequence[tuple[str, str]] = ()) -> html.Div:
    """The box.

    Args:
        text: plain words. commands: what each does, and how it is typed.
    """
    facts = [part for what, typed in commands for part in (html.Dt(what), html.Dd(html.Code(typed)))]
    return html.Div([html.P(text), *([html.Dl(facts)] if facts else [])], className="empty")
