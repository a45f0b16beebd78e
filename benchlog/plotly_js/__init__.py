"""The script that draws plotly's figures in a browser: the small bundle, with lines, points and bars alone.

``plotly-basic.min.js`` is the file of that name in the npm package ``plotly.js-basic-dist-min``, unchanged, under the
licence beside it. plotly for Python carries the bundle with every kind of drawing: 4.8 MB in every report instead of
1.2 MB, and longer to start. A new version takes its file, ``VERSION`` and ``SHA256`` together.
"""

from importlib.resources import files

VERSION = "4.1.1"
SHA256 = "99784e3abfb07b142a15e521a439e6d9addceadb3f79553fd24c72774f0649ba"
#: Kinds of trace that this bundle draws and benchlog uses.
KINDS = frozenset({"scatter", "bar"})


def plotly_js() -> str:
    """The script, 1.2 MB of text; run in a page, it sets ``window.Plotly``."""
    return (files("benchlog") / "plotly_js" / "plotly-basic.min.js").read_text(encoding="utf-8")
