"""A simulated install made from a plan: healthy, or with one fault big enough to break that plan.

Wherever the plan says nothing, the value is that of the usual small motorcycle (``SimulatedInstall``). Shares of a
limit are chosen so that a healthy install keeps well clear of it; they are invented, no source is claimed for them.
"""

from dataclasses import replace

from benchlog.plan.batteries import charging_window, rest_voltage
from benchlog.plan.limits import PlannedLimit, slot_limit
from benchlog.plan.model import Circuit as PlannedCircuit
from benchlog.plan.model import Plan, slots_in_order
from benchlog.plan.paths import planned_resistance_mohm
from benchlog.plan.wiring import resistance_mohm
from benchlog.standin.faults import running_a, with_fault
from benchlog.standin.install import SimulatedCircuit, SimulatedInstall, WakeUps
from benchlog.standin.relay import fall_s, rise_s
from benchlog.verdict.registry.table import limits_of

USUAL = SimulatedInstall()
#: Of a limit that a healthy install uses up.
HEALTHY_SHARE = 0.6
#: True currents differ from the planned ones by this share, up and down in turn.
CURRENT_OFF = 0.02
FULL_PCT = 100.0
FUSES_A = (5, 7.5, 10, 15, 20, 25, 30, 40)


def install_of(plan: Plan) -> SimulatedInstall:
    """A healthy install that keeps this plan's limits, as far as they do not contradict each other."""
    most = _Most(limits_of(plan))
    made = replace(
        USUAL,
        bike=plan.install.bike,
        chemistry=plan.battery.chemistry,
        capacity_ah=plan.battery.capacity_ah,
        circuits=tuple(_circuit(one, number) for number, one in enumerate(slots_in_order(plan))),
        trigger_drops_in_crank=plan.limits.feed_in_crank == "drop",
        feed_leak_v=most.share("feed_off_voltage", USUAL.feed_leak_v),
    )
    made = _wired(_asleep(made, most), plan, most)
    return _charged(_started(_relayed(_battery(made, plan, most), plan, most), plan), plan)


def faulty_install_of(plan: Plan, name: str) -> SimulatedInstall:
    """The same with one fault (a cause id of the result), at least half as much again beyond the plan's limit.

    Raises:
        NoSuchFault: no such fault can be shown.
    """
    good = install_of(plan)
    made, most = with_fault(good, name), _Most(limits_of(plan))
    load_a = max(plan.planned_load_a, 0.1)
    drain_ma, settle_s = most.of("off_state_drain", 1.0), most.of("settle_time", 120.0)
    if name == "feed_resistance":
        return replace(made, feed_mohm=max(1.5 * most.of("feed_drop", 0.0) / load_a * 1e3, 3 * good.feed_mohm))
    if name == "ground_resistance":
        return replace(made, ground_mohm=max(2.0 * most.of("ground_lift", 0.0) / load_a * 1e3, 3 * good.ground_mohm))
    if name == "unswitched_device":
        return replace(made, extra_drain_a=18.0 * drain_ma / 1e3)
    if name == "waking_device":
        return replace(made, wakeups=WakeUps(height_a=min(0.12 * drain_ma, 0.45)))
    if name == "slow_to_sleep":
        return replace(made, awake=(*good.awake, (0.12, 1.33 * settle_s)))
    if name == "slow_trigger_decay":
        return replace(made, trigger_fall_tau_s=0.25 * max(most.of("relay_drop_out", 60.0) / 60.0, 1.0))
    if name == "weak_coil_supply":
        supply_v = 1.096 * good.pull_in_a * good.coil_ohm
        late_ms = 0.93 * most.of("relay_pull_in", 30.0)
        return replace(made, trigger_drop_v=good.emf_v - supply_v, pull_travel_ms=late_ms)
    if name == "weak_battery":
        return _weak(good, plan, most)
    if name == "overcharge":
        return replace(made, regulated_v=_window(plan)[1] + 0.6)
    if name == "load_exceeds_charging":
        return replace(made, alternator_a=0.7 * running_a(good))
    return made


class _Most:
    """What the plan allows at most."""

    def __init__(self, limits: dict[str, PlannedLimit]) -> None:
        self._limits = limits

    def of(self, check_id: str, otherwise: float) -> float:
        limit = self._limits.get(check_id)
        return otherwise if limit is None or limit.max is None else limit.max

    def share(self, check_id: str, usual: float) -> float:
        """The usual value, or the healthy share of the limit where that is less."""
        return min(usual, HEALTHY_SHARE * self.of(check_id, float("inf")))


def _circuit(planned: PlannedCircuit, number: int) -> SimulatedCircuit:
    limit = slot_limit(planned)
    low, high = limit.min or 0.0, limit.max or planned.planned_a
    off_a = min(CURRENT_OFF, planned.tolerance_pct / 500) * planned.planned_a
    actual_a = min(planned.planned_a + (-off_a if number % 2 else off_a), 0.3 * low + 0.7 * high)
    wire, run_m = planned.wire, planned.run_m
    return SimulatedCircuit(
        slot=planned.slot,
        device=planned.device,
        planned_a=planned.planned_a,
        fuse_a=planned.fuse_a or next((fuse for fuse in FUSES_A if 0.8 * fuse >= planned.planned_a), 40),
        actual_a=actual_a,
        wire_mohm=20.0 if wire is None or run_m is None else resistance_mohm(wire, run_m),
    )


def _asleep(install: SimulatedInstall, most: _Most) -> SimulatedInstall:
    """A drain well below the allowed, and asleep well before it must be."""
    drain_a = min(USUAL.drain_a, HEALTHY_SHARE * most.of("off_state_drain", 1.0) / 1e3)
    current_a, until_s = USUAL.awake[0]
    awake_s = min(until_s, HEALTHY_SHARE * most.of("settle_time", 120.0))
    return replace(install, drain_a=drain_a, awake=((current_a, awake_s),))


def _wired(install: SimulatedInstall, plan: Plan, most: _Most) -> SimulatedInstall:
    """Feed and ground as their wires and lengths make them, new and clean."""
    made = planned_resistance_mohm(plan)
    load_a = max(plan.planned_load_a, 0.1)
    feed = made.get("feed", USUAL.feed_mohm)
    ground = made.get("ground", USUAL.ground_mohm)
    fuse_a = plan.feed.fuse_a if plan.feed and plan.feed.fuse_a else next((f for f in FUSES_A if 0.8 * f >= load_a), 40)
    return replace(
        install,
        feed_fuse_a=fuse_a,
        feed_mohm=min(feed, 0.75 * most.of("feed_drop", float("inf")) / load_a * 1e3),
        ground_mohm=min(ground, 0.7 * most.of("ground_lift", float("inf")) / load_a * 1e3),
    )


def _battery(install: SimulatedInstall, plan: Plan, most: _Most) -> SimulatedInstall:
    """Full and rested; the larger, the less it resists."""
    emf_v = max(rest_voltage(plan.battery.chemistry, FULL_PCT), (plan.limits.resting_min_v or 0.0) + 0.12)
    usual = USUAL.source_mohm + USUAL.slow_mohm
    total = min(
        usual,
        usual * USUAL.capacity_ah / plan.battery.capacity_ah,
        HEALTHY_SHARE * most.of("source_resistance", float("inf")),
        HEALTHY_SHARE * most.of("battery_sag", float("inf")) / max(plan.planned_load_a, 0.1) * 1e3,
    )
    total = max(total, 1.0)
    return replace(install, emf_v=emf_v, source_mohm=total * USUAL.source_mohm / usual, slow_mohm=total * 1.5 / usual)


def _relayed(install: SimulatedInstall, plan: Plan, most: _Most) -> SimulatedInstall:
    """A coil of the planned current; armature and inductance quick enough for the planned times."""
    relay = plan.relay
    usual_a = USUAL.coil_a
    coil_a = relay.coil_a if relay and relay.coil_a else usual_a
    ohm = install.coil_supply_v / coil_a
    made = replace(
        install,
        coil_ohm=ohm,
        coil_h=USUAL.coil_h / USUAL.coil_ohm * ohm,
        resistor_ohm=USUAL.resistor_ohm / USUAL.coil_ohm * ohm,
        suppression=(relay and relay.suppression) or USUAL.suppression,
        pull_in_a=USUAL.pull_in_a / usual_a * coil_a,
        release_a=USUAL.release_a / usual_a * coil_a,
    )
    pull_s = rise_s(made.pull_in_a, made.coil_a, made.coil_h / made.coil_ohm) + made.pull_travel_ms / 1e3
    drop_s = fall_s(made.release_a, made.coil_a, made.coil_a, made) + made.release_travel_ms / 1e3
    quicker = min(
        1.0,
        HEALTHY_SHARE * most.of("relay_pull_in", float("inf")) / 1e3 / pull_s,
        HEALTHY_SHARE * most.of("relay_drop_out", float("inf")) / 1e3 / drop_s,
    )
    return replace(
        made,
        coil_h=made.coil_h * quicker,
        pull_travel_ms=made.pull_travel_ms * quicker,
        release_travel_ms=made.release_travel_ms * quicker,
    )


def _started(install: SimulatedInstall, plan: Plan) -> SimulatedInstall:
    """A starter that leaves the battery above what the plan asks for while cranking."""
    least_v = (plan.limits.crank_min_v or 8.0) + 0.25
    others_a = install.bike_a + sum(circuit.actual_a for circuit in install.circuits) + install.coil_a
    most_a = (install.emf_v - least_v) / (install.source_mohm + install.slow_mohm) * 1e3 - others_a
    peak_a = max(min(USUAL.starter_peak_a, most_a), 15.0)
    return replace(install, starter_peak_a=peak_a, starter_run_a=USUAL.starter_run_a / USUAL.starter_peak_a * peak_a)


def _charged(install: SimulatedInstall, plan: Plan) -> SimulatedInstall:
    """An alternator that carries all loads and the least charge, behind a regulator within the window."""
    low, high = _window(plan)
    floor_a = USUAL.charge_floor_a + max(plan.limits.charging_balance_min_a or 0.0, 0.0)
    return replace(
        install,
        regulated_v=low + 0.6 * (high - low),
        charge_floor_a=floor_a,
        alternator_a=max(USUAL.alternator_a, running_a(install) + floor_a + USUAL.charge_a + 5.0),
    )


def _window(plan: Plan) -> tuple[float, float]:
    """The charging voltage that is allowed, V: as planned, else as the battery likes it."""
    low, high = charging_window(plan.battery.chemistry)
    low = low if plan.limits.charging_min_v is None else plan.limits.charging_min_v
    high = high if plan.limits.charging_max_v is None else plan.limits.charging_max_v
    return (low, high) if low < high else (low, low + 0.5)


def _weak(good: SimulatedInstall, plan: Plan, most: _Most) -> SimulatedInstall:
    """Resists too much and rests too low; the starter draws what such a battery can give."""
    source = max(1.8 * most.of("source_resistance", 40.0), 3.0 * good.source_mohm)
    emf_v = (plan.limits.resting_min_v or rest_voltage(plan.battery.chemistry, 60.0)) - 0.15
    peak_a = min(60.0, 0.3 * emf_v / source * 1e3)
    return replace(
        good, emf_v=emf_v, source_mohm=source, slow_mohm=source / 12, starter_peak_a=peak_a, starter_run_a=peak_a / 1.5
    )
