"""The second world's figures where the README quotes them.

    python tests/world_pages.py

Writes what the scripts last left in ``world_figures.json`` between two comments of it; the scripts do so too
where they are called with ``--write``.
"""

import json
from collections.abc import Mapping
from pathlib import Path

ROOT = Path(__file__).parent.parent
FIGURES = Path(__file__).with_name("world_figures.json")
PAGE = ROOT / "README.md"
BEGIN, END = "<!-- written by tests/world_pages.py -->\n", "<!-- end -->\n"


def readme_lines(known: Mapping) -> list[str]:
    """What the page says of the figures that were last written."""
    verdicts, causes = known["verdicts"], known["causes"]
    tight, wide = verdicts["tight"], verdicts["wide"]
    lines = [
        f"On {verdicts['logs']:,} random logs of the second world, with limits within two expanded uncertainties of "
        f"the truth, {tight['false_pass_pct']} % of the verdicts are false passes and {tight['false_fail_pct']} % "
        f"false fails; the expanded uncertainty covers the truth in {tight['covered_pct']} %.",
        f"With limits up to 30 % off the truth {wide['false_pass_pct']} % and {wide['false_fail_pct']} % are false, "
        f"and {wide['proven_pct']} % of what an ideal prover with the same logger could decide is proven.",
        f"Worst single check: {verdicts['worst_check_pct']} % false. Checks that cover the truth significantly less "
        f"often than in 95 % of cases: {', '.join(map(str, verdicts['undercovered'])) or 'none'}. "
        f"Logs refused: {verdicts['refused']}.",
    ]
    for grade, row in causes["grades"].items():
        lines.append(
            f"`{grade}`: right first in {row['first_pct']} % of {row['failed']} logs; a wrong fault or too large a "
            f"group in {row['wrong_pct']} %."
        )
    lines.append(
        f"Of {causes['healthy']:,} healthy installs with behaviours, {causes['named']} had a cause named where nothing "
        "really failed."
    )
    return lines


def quoted(text: str) -> list[str]:
    """The lines between the comments of the page."""
    return [line.removeprefix("- ") for line in text.split(BEGIN, 1)[1].split(END, 1)[0].splitlines()]


def keep(part: str, figures: Mapping) -> None:
    """Keep the figures of one of the scripts, ``verdicts`` or ``causes``, and quote them."""
    known = json.loads(FIGURES.read_text(encoding="utf-8")) if FIGURES.exists() else {}
    FIGURES.write_text(json.dumps(known | {part: figures}, indent=1) + "\n", encoding="utf-8")
    refresh()


def refresh() -> None:
    """Write the figures into the page."""
    lines = "".join(f"- {line}\n" for line in readme_lines(json.loads(FIGURES.read_text(encoding="utf-8"))))
    before, _, rest = PAGE.read_text(encoding="utf-8").partition(BEGIN)
    PAGE.write_text(f"{before}{BEGIN}{lines}{END}{rest.partition(END)[2]}", encoding="utf-8")


if __name__ == "__main__":
    refresh()
