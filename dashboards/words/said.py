"""Sentences of a result as a reader of the pages needs them: without the options of a command."""

from benchlog.core.folding import held_together
from benchlog.report.words import NAME_BEFORE


def on_page(sentence: str) -> str:
    """The sentence with the page's own way in place of the terminal's, no number torn from its unit."""
    return held_together(sentence.replace(NAME_BEFORE, "drop one in together with the log"))
