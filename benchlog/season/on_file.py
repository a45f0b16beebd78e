"""The season of a bike in a store: the readings and changes on file, and the battery and limits of a plan."""

from collections.abc import Sequence
from datetime import date, tzinfo

from benchlog.plan.model import Plan
from benchlog.season.model import Season
from benchlog.season.season import season_of
from benchlog.store import Store
from benchlog.store.readings import Reading


def season_on_file(
    store: Store, bike: str, plan: Plan, today: date, more: Sequence[Reading] = (), zone: tzinfo | None = None
) -> Season:
    """Make it; ``more`` are readings beside those on file, and ``zone`` that whose days count, None this computer's.

    Raises:
        BenchlogError: a reading, or the plan's battery, cannot be used.
    """
    return season_of(
        [*store.readings(bike), *more],
        store.changes(bike),
        chemistry=plan.battery.chemistry,
        capacity_ah=plan.battery.capacity_ah,
        limits=plan.limits,
        today=today,
        bike=bike,
        zone=zone,
    )
