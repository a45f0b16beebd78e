"""The measuring sheet: a page to print, with a box for each reading."""

from dataclasses import dataclass

from benchlog.bench.by_hand.steps import STATES, HandStep, hand_steps
from benchlog.core.errors import BenchlogError
from benchlog.plan.model import Plan
from benchlog.report.figures.in_page import page_parts
from benchlog.report.templating import filled_in

_TITLES = {
    "asleep": "Key off, asleep",
    "key on": "Key on, loads off",
    "all on": "Key on, every circuit on",
    "cranking": "Cranking",
    "running": "Engine running",
}
#: What comes after the last reading.
GO_ON = (
    "Write each figure with all its digits, as the meter shows it, and OL where it was over range. Then type them: "
    "benchlog acceptance --by-hand --plan PLAN --out READINGS.toml."
)
#: To be filled in at the top.
_BLANKS = ("Date and time", "Tester", "Meter", "DC voltage ± % + digits", "DC current ± % + digits", "Battery, °C")


@dataclass(frozen=True, slots=True)
class SheetGroup:
    """The readings of one state: its name, what the bike does, what to heed there alone, and the steps."""

    title: str
    state: str
    cautions: tuple[str, ...]
    steps: tuple[HandStep, ...]


@dataclass(frozen=True, slots=True)
class MeasuringSheet:
    """What stands on the sheet of one plan: blanks at the top, what to heed throughout, and the readings by state."""

    bike: str
    blanks: tuple[str, ...]
    throughout: tuple[str, ...]
    groups: tuple[SheetGroup, ...]


def measuring_sheet(plan: Plan) -> MeasuringSheet:
    """The sheet of a plan.

    Raises:
        BenchlogError: the plan limits nothing that a hand meter shows.
    """
    steps = hand_steps(plan)
    if not steps:
        raise BenchlogError(
            "this plan has no limit that a hand meter can measure against; add [limits], [feed] or circuits"
        )
    states = list(dict.fromkeys(step.state for step in steps))
    heeded = {state: _cautions(state, steps) for state in states}
    every = [text for texts in heeded.values() for text in texts]
    throughout = tuple(text for text in dict.fromkeys(every) if every.count(text) > 1)
    groups = tuple(
        SheetGroup(
            title=_TITLES[state],
            state=STATES[state],
            cautions=tuple(text for text in heeded[state] if text not in throughout),
            steps=tuple(step for step in steps if step.state == state),
        )
        for state in states
    )
    return MeasuringSheet(plan.install.bike, _BLANKS, throughout, groups)


def render_sheet(plan: Plan) -> str:
    """The whole page, to print.

    Raises:
        BenchlogError: the plan limits nothing that a hand meter shows.
    """
    from benchlog import __version__

    sheet = measuring_sheet(plan)
    return filled_in(
        "measuring_sheet.html",
        "benchlog.bench.by_hand",
        **page_parts([]),
        sheet=sheet,
        extras_of=extra_boxes,
        how_to_go_on=GO_ON,
        version=__version__,
    )


def _cautions(state: str, steps: tuple[HandStep, ...]) -> list[str]:
    """What to heed in a state, each sentence once."""
    said = [text for step in steps if step.state == state for text in step.caution.split(". ")]
    return list(dict.fromkeys(f"{text.rstrip('.')}." for text in said))


def extra_boxes(step: HandStep) -> list[tuple[str, str]]:
    """The small boxes beside a reading: what stands before and behind each."""
    waited = "h" if step.least_s >= 3600 else "min"
    boxes = {
        "waited": (f"key off for ({step.least_s / (3600 if waited == 'h' else 60):g} or more)", waited),
        "averaged": ("averaged for", "min"),
        "lowest": ("lowest", step.unit),
        "highest": ("highest", step.unit),
    }
    return [boxes[extra] for extra in step.extras]
