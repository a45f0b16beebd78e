"""All examinations of one log, in the order in which they lean on each other."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from benchlog.analysis.measurement import Finding
from benchlog.examine.added import added_drain
from benchlog.examine.bridged import use_bridges
from benchlog.examine.charging_checks import examine_charging
from benchlog.examine.chatter_checks import examine_chatter
from benchlog.examine.clipped import use_clips
from benchlog.examine.closing import closing_load
from benchlog.examine.context import LogContext, Samples, Timeline, accuracy_of
from benchlog.examine.drawn import battery_points, feed_points, ground_points, settlings
from benchlog.examine.engine_checks import examine_crank
from benchlog.examine.fuse_checks import FuseWalk, examine_walk, find_walk, without_pulled
from benchlog.examine.load_checks import Loads, examine_battery_load, find_loads
from benchlog.examine.noisy import noise_in
from benchlog.examine.observe import observe
from benchlog.examine.off_state import OffState, examine_off_state
from benchlog.examine.pace import steps_of
from benchlog.examine.path_checks import FeedLoad, examine_paths, feed_load
from benchlog.examine.relay_checks import RelayFindings, examine_relay
from benchlog.examine.rest_checks import examine_rest
from benchlog.examine.sense import doubtful_readings, refuse_senseless
from benchlog.examine.slot_checks import examine_slots
from benchlog.examine.steady import calm_swings
from benchlog.examine.timeline import segment
from benchlog.examine.zeroed import use_zeros
from benchlog.logger.model import Logger
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Plan
from benchlog.verdict.added import ShowsDrain, added_of
from benchlog.verdict.causes.seen import Seen
from benchlog.verdict.evidence import LogEvidence, Span


@dataclass(frozen=True, slots=True)
class LogFindings:
    """What one log says.

    Attributes:
        log: its name. story: what happened. findings: check id -> finding.
        off_state: the key-off figures, for comparing two logs. logger: what its channels mean.
        evidence: for drawing. seen: the quantities that causes are judged by.
        let_go: slot and device with whose fuse out the relay let go.
        notes: plain sentences on bridged shunts, zeros and pulled fuses.
    """

    log: str
    story: Timeline
    findings: Mapping[str, Finding]
    off_state: OffState
    logger: Logger
    evidence: LogEvidence
    seen: Mapping[str, Seen]
    let_go: tuple[tuple[int, str], ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def drain(self) -> Finding:
        """``off_state_drain``, of all its stretches."""
        return self.off_state.findings["off_state_drain"]

    def each(self, before: ShowsDrain | None) -> list[tuple[str, Mapping[str, Finding]]]:
        """Its name and its findings; ``before`` is what is from before the install."""
        added = added_drain(self, before) if isinstance(before, LogFindings) else added_of(self.drain, before)
        return [(self.log, {**self.findings, "added_drain": added})]


@dataclass(frozen=True, slots=True)
class _Ready:
    """A log with its clips, bridges and zeros used, and what it shows of key and engine.

    Attributes:
        bench: for the examinations. walk: the fuses that were pulled. bridges: spans with the shunt bridged.
        clip_notes, notes: plain sentences, on clipped channels and on the rest.
    """

    bench: LogContext
    walk: FuseWalk
    bridges: tuple[Span, ...]
    clip_notes: tuple[str, ...]
    notes: tuple[str, ...]


def _ready(log: Samples, logger: Logger, plan: Plan) -> _Ready:
    stated, low_side = accuracy_of(logger)
    clipped = use_clips(log)
    bridged = use_bridges(clipped.log)
    zeroed = use_zeros(bridged.log, logger, stated, bridged.bridges)
    log, accuracy = zeroed.log, zeroed.accuracy
    story = segment(log, accuracy.get("battery_a"))
    walk = find_walk(log, story)
    story = without_pulled(story, walk)
    bench = LogContext(
        log=log,
        plan=plan,
        story=story,
        accuracy=accuracy,
        low_side_ohm=low_side,
        left_out=walk.left_out,
        zeros=zeroed.zeros,
        stated=stated,
        bridged=bridged.bridges,
        noise=noise_in(log, story, accuracy, low_side),
        steps=steps_of(log, story),
        calm_a=calm_swings(log.overview, story),
    )
    return _Ready(bench, walk, bridged.spans, tuple(clipped.notes), (*bridged.notes, *zeroed.notes))


def examine(log: Samples, logger: Logger, plan: Plan, limits: Mapping[str, PlannedLimit]) -> LogFindings:
    """Ask one log every question of the plan.

    Args:
        log: its samples. logger: what its channels mean. limits: check id -> limit, for what is ambiguous.

    Raises:
        BadLog: a channel is reversed, or reads what no bike has.
    """
    refuse_senseless(log)
    samples = int(log.overview.rows.sum())
    ready = _ready(log, logger, plan)
    bench, walk = ready.bench, ready.walk
    log, story = bench.log, bench.story
    off_state = examine_off_state(bench)
    walked = examine_walk(bench, walk, off_state)
    relay = examine_relay(bench)
    loads = find_loads(bench)
    slots = examine_slots(bench, loads, limits)
    load = feed_load(bench, loads, slots.proven, closing_load(bench, loads, relay.pull_ins))
    findings = {
        **off_state.findings,
        **examine_rest(bench, off_state.spans),
        **relay.findings,
        "relay_chatter": examine_chatter(bench, load, loads),
        **examine_battery_load(bench, loads, slots.first_on),
        **examine_paths(bench, load),
        **slots.findings,
        **examine_crank(bench),
        **examine_charging(bench),
    }
    drawn = _drawn(ready, relay, loads, load, off_state)
    evidence = replace(drawn, key_off_draws=walked.draws, samples=samples)
    seen = observe(bench, findings, limits, off_state.drain, loads, load)
    devices = {circuit.slot: circuit.device for circuit in plan.circuit}
    let_go = tuple((pull.slot, devices.get(pull.slot, "")) for pull in walk.let_go)
    told = tuple(note.split(",")[0] for note in ready.clip_notes)
    doubtful = [
        note for note in doubtful_readings(bench, logger, findings, off_state) if not (told and note.startswith(told))
    ]
    notes = (*ready.clip_notes, *ready.notes, *walked.notes, *doubtful)
    return LogFindings(log.name, story, findings, off_state, logger, evidence, seen, let_go, notes)


def _drawn(
    ready: _Ready, relay: RelayFindings, loads: Loads, load: FeedLoad | None, off_state: OffState
) -> LogEvidence:
    """What of the examinations is drawn."""
    bench, overview = ready.bench, ready.bench.log.overview
    return LogEvidence(
        log=bench.log.name,
        overview=overview,
        roles=tuple(overview.bands),
        spans=tuple(sorted((*bench.story.spans, *ready.bridges), key=lambda span: span.from_s)),
        pull_ins=tuple(trace for trace, _ in relay.pull_ins),
        drop_outs=tuple(trace for trace, _ in relay.drop_outs),
        pull_in_at_s=tuple(at for _, at in relay.pull_ins),
        drop_out_at_s=tuple(at for _, at in relay.drop_outs),
        battery_points=battery_points(loads),
        feed_points=feed_points(load),
        ground_points=ground_points(bench, load),
        settlings=settlings(off_state),
        key_off_drain_ma=off_state.drain.mean_a * 1000 if off_state.drain else None,
        zero_offsets={role: zero.offset for role, zero in bench.zeros.items()},
    )
