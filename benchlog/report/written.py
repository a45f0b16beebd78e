"""A result for people: as text for a terminal and as one HTML page that needs nothing else."""

import datetime
import os
from pathlib import Path

from benchlog.core.contact import kept_contact
from benchlog.core.files import write_whole
from benchlog.plan.model import Plan
from benchlog.report.html import render_html
from benchlog.report.rider import rider_page
from benchlog.report.text import render_text
from benchlog.verdict.result import Result

__all__ = ["render_html", "render_text", "write_html"]


def write_html(result: Result, path: str | os.PathLike[str], *, kept: str = "", plan: Plan | None = None) -> None:
    """Write the page to ``path``: the old file stays whole until the new one is complete.

    Args:
        kept: what proves the record that it was saved as; "" where it was not.
        plan: the plan behind it, for the rider's page; without it there is none.

    Raises:
        BenchlogError: the folder is missing or cannot be written to, or ``path`` is a folder.
    """
    today = datetime.datetime.now().astimezone().date()
    rider = None if plan is None else rider_page(result, plan, today, kept_contact())
    write_whole(Path(path), render_html(result, kept=kept, rider=rider), what="the report")
