"""What one log shows of the quantities that faults make predictions about."""

from collections.abc import Mapping

from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import Finding
from benchlog.examine.context import LogContext
from benchlog.examine.load_checks import Loads
from benchlog.examine.observe_battery import off_state, ratios, running
from benchlog.examine.observe_clips import clip_slope, feed_lead
from benchlog.examine.observe_lines import line_states
from benchlog.examine.observe_loads import before, circuits, held_coil, key_off, keyed, load_on, load_swing
from benchlog.examine.observe_relay import coil_kick, relay_times
from benchlog.examine.path_checks import FeedLoad
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.causes.seen import Seen


def observe(
    bench: LogContext,
    findings: Mapping[str, Finding],
    limits: Mapping[str, PlannedLimit],
    off: Drain | None,
    loads: Loads,
    load: FeedLoad | None,
) -> dict[str, Seen]:
    """Quantity -> as this log shows it; absent where it does not.

    Args:
        findings: of this log's checks. limits: of the plan. off: the worst settled drain.
        loads: the steady loads. load: that through the feed.
    """
    return {
        **line_states(bench),
        **clip_slope(bench, loads, load),
        **ratios(findings, limits),
        **off_state(off, findings, limits),
        **load_on(bench, load, findings),
        **load_swing(bench),
        **keyed(bench),
        **key_off(bench, off, findings),
        **held_coil(bench, off, findings),
        **before(bench, off, findings),
        **relay_times(bench, findings, limits),
        **feed_lead(bench),
        **coil_kick(bench),
        **running(bench, findings, limits),
        **circuits(bench, findings, limits),
    }
