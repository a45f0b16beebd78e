"""How far a piece of work is."""

from typing import Any

from dash import html

from dashboards.parts.attributes import attributes
from dashboards.work import Job


def progress(job: Job) -> html.Div:
    """A bar where the share is known, and words in any case."""
    share = job.share
    doing = job.doing or ("waiting for other work to finish" if job.state == "waiting" else "starting")
    text = doing if share is None else f"{doing}: {share:.0%}"
    bar: dict[str, Any] = {} if share is None else {"value": f"{share:.3f}"}
    return html.Div(
        [html.Progress(max="1", **bar, **attributes(aria_label=job.what)), html.P(f"{text[:1].upper()}{text[1:]} …")],
        className="progress",
    )
