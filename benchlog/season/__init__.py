"""A battery's health over time: readings in, a season out.

from benchlog.season import season_of

season = season_of(readings, changes, chemistry="agm", capacity_ah=11.2, limits=plan.limits, today=date.today())
season.advice[0].words     # "test under load": what to do first, each with its reason
season.part("source_resistance").trend.slope_per_year   # mΩ a year, with its interval
season.standing.low_days   # days until half charge, at least
"""

from benchlog.season.model import Part, Season
from benchlog.season.season import season_of
from benchlog.store.kinds import Change

__all__ = ["Change", "Part", "Season", "season_of"]
