"""The script that draws is the published one, whole, and draws every kind of figure that there is."""

import hashlib
import re
from pathlib import Path

from benchlog.plotly_js import KINDS, SHA256, VERSION, plotly_js, published

ROOT = Path(__file__).parent.parent


def test_script_is_the_published_one():
    """The file is the one in the npm package whose archive has the published sha512 beginning 1oNF8PeQx2hv/y7t."""
    text = published()

    assert hashlib.sha256(text.encode()).hexdigest() == SHA256
    assert text.startswith(f"/**\n* plotly.js (basic - minified) v{VERSION}\n")
    assert (ROOT / "benchlog/plotly_js/LICENSE").read_text(encoding="utf-8").startswith("MIT License")


def test_script_gets_two_brackets_and_nothing_else():
    """What a browser reads is the published script but for the brackets around its one function."""
    given, text = plotly_js(), published()

    assert given.count("(() => {\n") == text.count("(() => {\n") + 1
    assert given.endswith("})));\n" if text.endswith("\n") else "})));")
    assert given.replace("this, (() => {\n", "this, () => {\n").replace("\n})));", "\n}));") == text


def test_every_kind_of_trace_is_in_the_small_script():
    """No figure is made of anything but lines, points and bars; the script draws nothing else but pies."""
    kinds: set[str] = set()
    for folder in ("benchlog", "dashboards"):
        for path in (ROOT / folder).rglob("*.py"):
            text = path.read_text(encoding="utf-8")
            kinds |= {name.lower() for name in re.findall(r"\bgo\.(\w+)\(", text)} - {"figure", "layout"}
            if "figures" in path.parts:
                kinds |= set(re.findall(r'"type": "(scatter\w*|bar\w*|heatmap|contour|histogram\w*|box)"', text))

    assert kinds == KINDS
