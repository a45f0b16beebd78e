"""A plan is saved: checked as a whole, kept in benchlog's folder, and never in another plan's place unasked."""

from dataclasses import dataclass, replace

from benchlog.core.errors import BenchlogError
from benchlog.plan.kept import digest_of, keep_plan, plan_file_name
from dashboards.planning.sketch import Sketch


@dataclass(frozen=True, slots=True)
class SavedPlan:
    """What was saved: the sketch, now that of a kept plan, and where it lies."""

    sketch: Sketch
    path: str


def written(sketch: Sketch) -> tuple[str, str]:
    """File name and TOML text of a plan in the making.

    Raises:
        BenchlogError: an answer is missing or cannot be used, or two do not agree.
    """
    found = sketch.found
    if found.open:
        listed = "; ".join(_named(place, found.states[place].question.text) for place in found.open[:6])
        more = f"; and {len(found.open) - 6} more" if len(found.open) > 6 else ""
        raise BenchlogError(f"still needed, or not usable as it is: {listed}{more}")
    plan = found.plan()
    return plan_file_name(plan.install.bike), sketch.text(found)


def save_plan(sketch: Sketch, replacing: object) -> SavedPlan:
    """Keep it.

    Args:
        replacing: digest of the kept plan that the user said may be replaced; anything else for none.

    Raises:
        AnotherPlan: another plan is kept under that name.
        BenchlogError: as ``written``, or it cannot be written.
    """
    name, text = written(sketch)
    bike = sketch.found.plan().install.bike
    path = keep_plan(bike, text, replacing if isinstance(replacing, str) else "")
    return SavedPlan(replace(sketch, opened=name, digest=digest_of(text)), str(path))


def _named(place: str, text: str) -> str:
    table, bracket, rest = place.partition(".")[0].partition("[")
    return f"{table} {rest.rstrip(']')}: {text}" if bracket else f"{table}: {text}"
