"""The path of the current with its suspects, in its frame."""

import base64

from dash import html

from benchlog.find.drawing import drawing_of, in_words
from benchlog.find.hunt import Hunt
from benchlog.find.questions import Question


def path_drawing(hunt: Hunt, question: Question | None) -> html.Figure:
    """The drawing; ``question`` is the test whose probes stand in it."""
    suspects = hunt.suspects()
    # an image of its own: no text of a plan can become a part of the page
    text = base64.b64encode(drawing_of(hunt.knowledge.plan, suspects, question).encode()).decode()
    caption = "The path of the current: the stronger a place is marked, the more it is suspected. R, B: the probes."
    return html.Figure(
        [
            html.Img(src=f"data:image/svg+xml;base64,{text}", alt=in_words(suspects), className="path"),
            html.Figcaption(caption),
        ],
        className="narrow",
    )
