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
#: The one function that the script is. A browser skims a function and compiles it when it is called; in brackets it is
#: compiled at once, beside other work: 0.15 s of 0.37 s sooner ready on two slow cores.
_WHOLE = (("this, () => {\n", "this, (() => {\n"), ("\nreturn Plotly;\n}));", "\nreturn Plotly;\n})));"))


def published() -> str:
    """The file as it is in the package."""
    return (files("benchlog") / "plotly_js" / "plotly-basic.min.js").read_text(encoding="utf-8")


def plotly_js() -> str:
    """The script, 1.2 MB of text, its function in brackets; run in a page, it sets ``window.Plotly``."""
    text = published()
    for bare, bracketed in _WHOLE:
        text = text.replace(bare, bracketed, 1)
    return text
