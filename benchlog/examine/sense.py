"""Readings that no bike gives: refused where nothing can be judged by them, else told.

A wrong unit, turned leads or two columns changed over must not be shown as faults of the bike, nor pass a check.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import runs
from benchlog.analysis.measurement import Finding, Measured
from benchlog.core.errors import BadLog
from benchlog.core.numbers import number
from benchlog.core.quantiles import known_median, median
from benchlog.core.roles import ROLE_UNITS
from benchlog.core.trace import Band, Overview
from benchlog.examine.context import LogContext, Samples
from benchlog.examine.off_state import OffState
from benchlog.log.readers.hints import LONGEST_S, relay_time_hint
from benchlog.logger.model import Logger
from benchlog.plan.batteries import CHEMISTRY

#: Beyond these no reading of a 12 V bike that lasts is right: role -> V or A. Starters take a few hundred amperes.
MOST_V, MOST_A = 100.0, {"battery_a": 1000.0, "drain_a": 300.0}
_MOST_LOAD_A = 200.0  # through the feed or a slot
#: Nothing on the bike stands above the battery; charger leads and errors of gain stay below this, V.
ABOVE_BATTERY_V = 5.0
#: A battery below this runs nothing, V.
DEAD_V = 3.0
#: A current channel of the loads that reads so far down, and not up, is reversed, A.
REVERSED_A = 1.0
#: A glitch is shorter than this: rows, and share of the log.
_LEAST_ROWS, _LEAST_SHARE = 10, 0.001
#: A battery that gave this share of its capacity has fallen by more than this at rest, V (no LiFePO4 battery).
_SHARE_GIVEN, _FALLEN_V = 0.25, 0.05
_HOUR_S = 3600.0
#: So many samples on end at one figure are no chance where neighbours usually differ.
_STANDS_ROWS = 30
#: Charge at the surface of the plates lifts the rest voltage by up to about this, V; common practice, no source.
_SURFACE_V = 0.45
#: Longer than any relay takes to close, ms, and steps that can be those of a log in ms, s.
_SLOW_RELAY_MS, _WIDE_STEP_S = 1000.0, 0.5

Flags = npt.NDArray[np.bool_]


def refuse_senseless(log: Samples) -> None:
    """Refuse readings that are not what their column says.

    Raises:
        BadLog: which column, what it reads, and what may be wrong with it.
    """
    view = log.overview
    battery = view.bands.get("battery_v")
    if battery is not None and _lasts(view, battery.mean < -1.0, 0.5):
        raise BadLog(
            log.name,
            f"battery_v reads {number(_middle(battery, battery.mean < -1.0))} V, so its leads are the wrong way round; "
            "swap them, or set scale = -1 for it in the logger file, and check again",
        )
    for role, band in view.bands.items():
        unit = ROLE_UNITS[role]
        most = MOST_V if unit == "V" else MOST_A.get(role, _MOST_LOAD_A)
        if unit in ("V", "A") and _lasts(view, beyond := np.abs(band.mean) > most):
            raise BadLog(
                log.name,
                f"{role} reads {number(_middle(band, beyond))} {unit}, which no bike has, so the column is in a "
                f"smaller unit: head it {role} [m{unit}], or set its unit in the logger file, and check again",
            )
        if battery is not None and unit == "V" and role != "battery_v":
            _refuse_above(log.name, view, role, band, battery)
        if role == "feed_a" or (role.startswith("slot") and unit == "A"):
            _refuse_reversed(log.name, view, role, band)


def _refuse_above(name: str, view: Overview, role: str, band: Band, battery: Band) -> None:
    above = band.mean > battery.mean + ABOVE_BATTERY_V
    if not _lasts(view, above, 0.01):
        return
    reads, has = _middle(band, above), median(battery.min[above])
    if has >= DEAD_V:
        why = (
            f"the two columns are swapped, or {role} is in mV: then head it {role} [mV]; with the engine running, "
            "the battery's own lead may be loose: stop the engine and look at it first"
        )
    elif known_median(battery.mean) > 3 * DEAD_V:
        why = "battery_v had a lead off for a while, or missing samples are written as 0: leave such cells empty"
    else:
        why = "the two columns are swapped, or battery_v has another unit or a lead off"
    raise BadLog(
        name,
        f"{role} reads {number(reads)} V where battery_v reads {number(has)} V, and nothing on a bike stands above its "
        f"battery: {why}; correct the header or the logger file, and check again",
    )


def _refuse_reversed(name: str, view: Overview, role: str, band: Band) -> None:
    back = band.mean < -REVERSED_A
    if not _lasts(view, back, 0.01):
        return
    down, up = float(np.nanmin(band.mean)), max(float(np.nanmax(band.mean)), 0.0)
    if up < -0.3 * down:
        raise BadLog(
            name,
            f"{role} reads down to {number(down)} A and never above {number(up)} A, so it is reversed; into the load "
            f"must be positive: turn `positive` of {role} in the logger file to the other of "
            '"discharge" and "charge", or swap the shunt\'s sense wires, and check again',
        )


def doubtful_readings(
    bench: LogContext, logger: Logger, findings: Mapping[str, Finding], off_state: OffState
) -> tuple[str, ...]:
    """A sentence for each reading that looks like a mistake of the log or the plan, though the log can be used."""
    notes = [
        *_battery_notes(bench.overview),
        *_range_notes(bench.overview),
        *_rest_notes(bench, findings.get("resting_voltage")),
        *_drain_notes(bench, off_state),
    ]
    pull_in = findings.get("relay_pull_in")
    unit = logger.time.unit if logger.time is not None else ""
    if isinstance(pull_in, Measured) and pull_in.value is not None and bench.overview.step_s >= _WIDE_STEP_S:
        least_ms = pull_in.value - 2 * (pull_in.u if pull_in.u is not None else pull_in.value)
        hint = relay_time_hint(unit, pull_in.value / 1000) if least_ms > _SLOW_RELAY_MS else None
        notes += [hint] if hint else []
    return tuple(notes)


def _battery_notes(view: Overview) -> list[str]:
    battery = view.bands.get("battery_v")
    if battery is None or np.isnan(battery.mean).all():
        return []
    highest = float(np.nanmax(battery.mean))
    if highest < DEAD_V:
        return [
            f"battery_v never reads above {number(highest)} V, and no battery of a bike is so low: a lead may be off, "
            "or its unit is not V"
        ]
    low = battery.min < 1.0
    if known_median(battery.mean) > 3 * DEAD_V and int(view.rows[low].sum()) >= _LEAST_ROWS:
        at_s = float(view.start_s[low][0])
        return [
            f"battery_v reads next to 0 V now and then, first at {at_s:.1f} s, as no battery does: a lead may be "
            "loose, or missing samples are written as 0; leave such cells empty"
        ]
    return []


def _range_notes(view: Overview) -> list[str]:
    """A channel whose samples vary, but not at their highest, where they stand at one figure, meets its range's end."""
    notes = []
    for role in ("battery_a", "drain_a", "feed_a", "battery_v"):
        band = view.bands.get(role)
        if band is None or np.isnan(band.max).all():
            continue
        highest = float(np.nanmax(band.max))
        at_end = band.min == highest
        varies = np.diff(band.mean[~at_end & ~np.isnan(band.mean)]) != 0
        if not at_end.any() or not len(varies) or varies.mean() < 0.5:
            continue
        first, end = max(runs(at_end), key=lambda run: int(view.rows[run[0] : run[1]].sum()))
        if int(view.rows[first:end].sum()) < _STANDS_ROWS:
            continue
        from_s, to_s = float(view.start_s[first]), float(view.end_s[end - 1])
        notes.append(
            f"{role} stands at exactly {number(highest)} {ROLE_UNITS[role]}, its highest, from {from_s:.1f} to "
            f"{to_s:.1f} s: the logger's range may end there; then add that figure, as the log writes it, to "
            "`over_range` in the logger file"
        )
    return notes


def _rest_notes(bench: LogContext, rest: Finding | None) -> list[str]:
    """A battery that rests higher than its chemistry can may be of another."""
    kind = CHEMISTRY[bench.plan.battery.chemistry]
    full_v = kind.rest[-1][1]
    if not isinstance(rest, Measured) or rest.value is None or rest.value < full_v + _SURFACE_V:
        return []
    other = "" if kind.name == "LiFePO4" else '; a LiFePO4 battery needs chemistry = "lifepo4" in the plan'
    return [
        f"{number(rest.value)} V at rest is more than a full {kind.name} battery shows ({full_v:g} V): it was charged "
        f"shortly before{other}"
    ]


def _drain_notes(bench: LogContext, off_state: OffState) -> list[str]:
    """The battery's voltage does not show the charge that the drain would have taken."""
    drain, battery = off_state.drain, bench.overview.bands.get("battery_v")
    given = off_state.findings["off_state_drain"]
    if drain is None or battery is None or not isinstance(given, Measured) or bench.plan.battery.chemistry == "lifepo4":
        return []
    if bench.log.end_s - bench.log.start_s > LONGEST_S:  # then it is the time that is doubted
        return []
    # a bike that is awake has its drain from the last of its span; the battery gave over all of it
    whole = next((one for one in off_state.spans if one.from_s <= given.from_s < one.to_s), None)
    from_s = whole.from_s if whole is not None and whole.settled is not None and whole.settled.awake else given.from_s
    taken_ah = drain.mean_a * max(drain.averaged_s, given.to_s - from_s) / _HOUR_S
    inside = (bench.overview.start_s >= from_s) & (bench.overview.end_s <= given.to_s)
    volts = battery.mean[inside]
    volts = volts[~np.isnan(volts)]
    tenth = len(volts) // 10
    if not tenth or taken_ah < _SHARE_GIVEN * bench.plan.battery.capacity_ah:
        return []
    fallen_v = median(volts[:tenth]) - median(volts[-tenth:])
    if fallen_v > _FALLEN_V:
        return []
    role = off_state.role
    return [
        f"by {role} the battery gave {number(taken_ah)} Ah of its {number(bench.plan.battery.capacity_ah)} Ah, yet "
        f"battery_v fell by only {fallen_v:.2f} V; if the column is in mA, head it {role} [mA], or set its unit in the "
        "logger file"
    ]


def _lasts(view: Overview, flags: Flags, share: float = _LEAST_SHARE) -> bool:
    rows = int(view.rows[flags].sum())
    return rows >= _LEAST_ROWS and rows >= share * int(view.rows.sum())


def _middle(band: Band, flags: Flags) -> float:
    return median(band.mean[flags])
