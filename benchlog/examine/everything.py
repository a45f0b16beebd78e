"""All examinations of one log, in the order in which they lean on each other."""

from collections.abc import Mapping
from dataclasses import dataclass

from benchlog.analysis.measurement import Finding
from benchlog.causes.seen import Seen
from benchlog.evidence import LogEvidence
from benchlog.examine.bench import Bench, Samples, Story, accuracy_of
from benchlog.examine.engine_checks import examine_charging, examine_crank
from benchlog.examine.load_checks import examine_battery_load, examine_paths, feed_load, find_loads
from benchlog.examine.observe import observe
from benchlog.examine.off_state import OffState, examine_off_state
from benchlog.examine.relay_checks import examine_relay
from benchlog.examine.slot_checks import closing_load, examine_slots
from benchlog.examine.story import tell
from benchlog.limits import PlannedLimit
from benchlog.logger import Logger
from benchlog.plan import Plan


@dataclass(frozen=True, slots=True)
class LogFindings:
    """What one log says.

    Attributes:
        log: its name. story: what happened. findings: check id -> finding.
        off_state: the key-off figures, for comparing two logs. logger: what its channels mean.
        evidence: for drawing. seen: the quantities that causes are judged by.
    """

    log: str
    story: Story
    findings: Mapping[str, Finding]
    off_state: OffState
    logger: Logger
    evidence: LogEvidence
    seen: Mapping[str, Seen]


def examine(log: Samples, logger: Logger, plan: Plan, limits: Mapping[str, PlannedLimit]) -> LogFindings:
    """Ask one log every question of the plan.

    Args:
        log: its samples. logger: what its channels mean. limits: check id -> limit, for what is ambiguous.

    Raises:
        BadLog: its current channel is reversed.
    """
    accuracy, low_side = accuracy_of(logger)
    story = tell(log, accuracy.get("battery_a"))
    bench = Bench(log, plan, story, accuracy, low_side)
    off_state = examine_off_state(bench)
    relay = examine_relay(bench)
    loads = find_loads(bench)
    slots, matched = examine_slots(bench, loads, limits)
    load = feed_load(bench, loads, matched, closing_load(bench, loads, relay.pull_ins))
    findings = {
        **off_state.findings,
        **relay.findings,
        **examine_battery_load(bench, loads),
        **examine_paths(bench, load),
        **slots,
        **examine_crank(bench),
        **examine_charging(bench),
    }
    evidence = LogEvidence(
        log=log.name,
        overview=log.overview,
        roles=tuple(log.overview.bands),
        spans=story.spans,
        pull_ins=tuple(trace for trace, _ in relay.pull_ins),
        drop_outs=tuple(trace for trace, _ in relay.drop_outs),
        pull_in_at_s=tuple(at for _, at in relay.pull_ins),
        drop_out_at_s=tuple(at for _, at in relay.drop_outs),
    )
    seen = observe(bench, findings, limits, off_state.drain, load)
    return LogFindings(log.name, story, findings, off_state, logger, evidence, seen)
