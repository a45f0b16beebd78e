"""The two paths that all circuits share, feed and ground: what their wires and joints resist."""

from dataclasses import dataclass

from benchlog.plan.model import Feed, Ground, Plan
from benchlog.plan.wiring import HOT_C, Allowance, Conductor, feed_allowance, ground_allowance, resistance_mohm


@dataclass(frozen=True, slots=True)
class PlannedPath:
    """A planned path of the common current, feed or ground.

    Attributes:
        wire: its conductor.
        length_m: one way, m.
        wire_mohm: the wire at 20 degC.
        hot_mohm: the wire at 60 degC.
        allowance: joints, fuse and contact.
    """

    wire: Conductor
    length_m: float
    wire_mohm: float
    hot_mohm: float
    allowance: Allowance

    @property
    def nominal_mohm(self) -> float:
        """The expected resistance: wire at 20 degC, parts new and clean."""
        return self.wire_mohm + self.allowance.total_mohm

    @property
    def most_mohm(self) -> float:
        """The resistance that a derived limit allows: wire at 60 degC, parts aged."""
        return self.hot_mohm + self.allowance.most_mohm


def feed_path(plan: Plan) -> PlannedPath | None:
    """The feed, where the plan gives its conductor and length."""
    feed = plan.feed
    return None if feed is None else _path(feed, feed_allowance(feed.fuse_a))


def ground_path(plan: Plan) -> PlannedPath | None:
    """The return, where the plan gives its conductor and length."""
    return None if plan.ground is None else _path(plan.ground, ground_allowance())


def planned_resistance_mohm(plan: Plan) -> dict[str, float]:
    """Expected resistance, mohm, of ``feed`` and ``ground``; a path that the plan does not describe is left out."""
    paths = {"feed": feed_path(plan), "ground": ground_path(plan)}
    return {name: path.nominal_mohm for name, path in paths.items() if path is not None}


def planned_drop_v(plan: Plan, path: PlannedPath | None) -> float | None:
    """The expected loss in a path at the planned load, V; None without the path or a load."""
    return None if path is None or not plan.circuit else plan.planned_load_a * path.nominal_mohm / 1000.0


def _path(run: Feed | Ground, allowance: Allowance) -> PlannedPath | None:
    if run.wire is None or run.run_m is None:
        return None
    cold, hot = (resistance_mohm(run.wire, run.run_m, at_c) for at_c in (20.0, HOT_C))
    return PlannedPath(run.wire, run.run_m, cold, hot, allowance)
