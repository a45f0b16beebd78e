"""The true value of every check of a simulated log, from the model's parameters and its noise-free course alone."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from benchlog.core.trace import Array
from benchlog.standin.battery import mean_a
from benchlog.standin.channels import true_values
from benchlog.standin.timeline import SimulatedTimeline

Value = float | None


@dataclass(frozen=True, slots=True)
class Truth:
    """What a perfect check of the log would find.

    Attributes:
        values: check id -> true value in the check's unit; None where the log lacks the condition
            (and for ``added_drain``, which needs two logs); ``settle_time`` is infinite where the bike never sleeps.
        key_events: ``(time_s, "on" or "off")``.
        also: further true figures: ``off_state_drain_long_run`` (mA, wake-ups at their full rate),
            ``source_resistance_instant`` (mΩ, without the slow part), ``relay_never_opened`` (1 or 0),
            ``charging_voltage_end`` (V), ``charging_balance_end`` (A).
        settled: ``(from_s, to_s)`` of each key-off span whose drain has settled for long enough.
        cranks, runs: ``(from_s, to_s)`` with the starter on, and with the engine running.
    """

    values: Mapping[str, Value]
    key_events: tuple[tuple[float, str], ...]
    also: Mapping[str, Value]
    settled: tuple[tuple[float, float], ...]
    cranks: tuple[tuple[float, float], ...]
    runs: tuple[tuple[float, float], ...]

    def __getitem__(self, check_id: str) -> Value:
        """The true value of this check."""
        return self.values[check_id]


def truth_of(line: SimulatedTimeline, min_settled_s: float) -> Truth:
    """Work out every true value; a key-off span counts if it stays settled for ``min_settled_s``."""
    install = line.install
    settled, settle_s = _settled(line, min_settled_s)
    events = tuple((float(t), "on" if v else "off") for t, v in zip(line.key.times_s, line.key.values[1:], strict=True))
    pull_in, drop_out, never_opened = _relay_ms(line)
    loaded = _most_circuits_on(line) > 0
    flows = loaded and not install.ground_open
    charging = _charging(line)
    cranks = tuple((start, stop) for start, stop in line.cranks if stop < line.end_s)
    values: dict[str, Value] = {
        "feed_fuse": install.feed_fuse_a,
        **{f"slot_{circuit.slot}_fuse": circuit.fuse_a for circuit in install.circuits},
        "off_state_drain": max((mean_a(line, *span) * 1e3 for span in settled), default=None),
        "added_drain": None,
        "settle_time": settle_s,
        "feed_off_voltage": _feed_off(line, settled),
        "relay_pull_in": pull_in,
        "relay_drop_out": drop_out,
        "relay_chatter": _chatter(line) if events and install.contact != "inverted" else None,
        "battery_sag": (install.source_mohm + install.slow_mohm) / 1e3 * install.planned_a if flows else None,
        "feed_drop": install.feed_mohm / 1e3 * install.planned_a if flows else None,
        "ground_lift": install.ground_mohm / 1e3 * install.planned_a if flows else None,
        **_slots(line),
        "resting_voltage": _resting(line),
        "source_resistance": install.source_mohm + install.slow_mohm if events else None,
        "crank_minimum": min((_held_minimum(line, *crank) for crank in cranks), default=None),
        "feed_in_crank": _feed_loss(line, cranks),
        "charging_voltage": charging[0],
        "charging_balance": charging[1],
    }
    also: dict[str, Value] = {
        "off_state_drain_long_run": _long_run_ma(line) if settled else None,
        "source_resistance_instant": install.source_mohm if events else None,
        "relay_never_opened": float(never_opened),
        "charging_voltage_end": charging[2],
        "charging_balance_end": charging[3],
    }
    return Truth(values, events, also, tuple(settled), cranks, tuple(line.runs))


def _values(
    line: SimulatedTimeline, from_s: float, to_s: float, step_s: float, *roles: str
) -> tuple[Array, dict[str, Array]]:
    time = np.arange(from_s, to_s, step_s)
    return time, true_values(line, time, roles)


def _settled(line: SimulatedTimeline, min_settled_s: float) -> tuple[list[tuple[float, float]], Value]:
    """Settled stretches, and the worst settling time of those that follow a key-off."""
    offs = [float(t) for t, v in zip(line.key.times_s, line.key.values[1:], strict=True) if not v]
    ons = [float(t) for t, v in zip(line.key.times_s, line.key.values[1:], strict=True) if v]
    quiet_s = max((until for _, until in line.install.awake), default=0.0)
    drawing = [load for load in line.install.bike_loads if load.while_ == "key off"]
    quiet_s = max([quiet_s, *(after + length for load in drawing for after, length in load.spans)])
    spans, times = [], []
    for off in [None, *offs]:
        start = 0.0 if off is None else off + quiet_s
        stop = min((on for on in ons if on > (off or 0.0)), default=line.end_s)
        if off is not None and math.isinf(quiet_s) and stop - off >= min_settled_s:
            start = stop - min_settled_s  # it never sleeps; judged on the last of the span
        if stop - start >= min_settled_s:
            spans.append((start, stop))
            if off is not None:
                times.append(quiet_s)
    return spans, max(times, default=None)


def _feed_off(line: SimulatedTimeline, settled: list[tuple[float, float]]) -> Value:
    found = []
    for start, stop in settled:
        _, true = _values(line, start, stop, (stop - start) / 200, "feed_v")
        found.append(float(true["feed_v"].mean()))
    return max(found, default=None)


def _relay_ms(line: SimulatedTimeline) -> tuple[Value, Value, bool]:
    """Worst pull-in and drop-out over the key's own trigger edges, ms; whether it once stayed closed."""
    if line.install.contact in ("inverted", "welded", "open"):
        return None, None, line.install.contact == "welded" and len(line.key.times_s) > 1
    contact, pulls, drops, stuck = line.contact, [], [], False
    for number, edge in enumerate(line.edges):
        following = line.edges[number + 1].time_s if number + 1 < len(line.edges) else math.inf
        until = min(following, line.end_s)
        if not edge.key or edge.time_s < 0:
            continue
        inside = (contact.times_s >= edge.time_s) & (contact.times_s < until)
        if edge.level > 0:
            rises = contact.times_s[inside & (contact.values[1:] > 0)]
            was_open = contact.at(np.array([edge.time_s]))[0] == 0
            if len(rises) and was_open:
                pulls.append((float(rises[0]) - edge.time_s) * 1e3)
        elif contact.at(np.array([edge.time_s]))[0] > 0:
            falls = contact.times_s[inside & (contact.values[1:] == 0)]
            if len(falls):
                drops.append((_feed_fall(line, float(falls[0])) - _trigger_fall(line, edge.time_s)) * 1e3)
            else:
                stuck = True
    if line.install.backfed and any(value == 0 for value in line.key.values[1:]):
        stuck = True
    return max(pulls, default=None), None if stuck else max(drops, default=None), stuck


def _trigger_fall(line: SimulatedTimeline, edge_s: float) -> float:
    """When the trigger falls through half of what it was, s."""
    tau = line.install.trigger_fall_tau_s
    time, true = _values(line, edge_s - 1e-6, edge_s + 4 * tau, tau / 1000, "trigger_v")
    return _first_below(time, true["trigger_v"], 0.5)


def _feed_fall(line: SimulatedTimeline, open_s: float) -> float:
    """When the feed first falls below 90 % of what it was, s."""
    time, true = _values(line, open_s - 1e-6, open_s + 8 * line.install.feed_fall_tau_s, 2e-6, "feed_v")
    return _first_below(time, true["feed_v"], 0.9)


def _first_below(time: Array, value: Array, share: float) -> float:
    below = value < share * value[0]
    return float(time[int(np.argmax(below))]) if below.any() else math.nan


def _chatter(line: SimulatedTimeline) -> float:
    """Openings with the key on and re-closings with it off that last long enough for the feed to show them."""
    contact, count, closing, opened = line.contact, 0, -math.inf, -math.inf
    shows_s = line.install.feed_fall_tau_s * math.log(2)
    for number in range(len(contact.times_s) - 1):
        at, following = float(contact.times_s[number]), float(contact.times_s[number + 1])
        if contact.values[number + 1] > 0:
            closing = at if at - opened > 5e-3 else closing  # a bounce's re-closing is none
            continue
        opened = at
        if following > line.end_s or contact.values[number + 2] == 0 or following - at < shows_s:
            continue
        cranking = any(start <= at <= stop + 0.1 for start, stop in line.cranks)
        key = line.key.at(np.array([at, following]))
        if not cranking and key[0] == key[1] and at - closing > 5e-3:
            count += 1
    return float(count)


def _most_circuits_on(line: SimulatedTimeline) -> int:
    """How many circuits were fed at once at most, with the key on and the engine off, for a second or more."""
    time = np.arange(0.0, line.end_s, 0.25)
    count = np.zeros(len(time))
    for slot in line.slots.values():
        count += slot.at(time)
    valid = line.key.at(time) > 0
    for start, stop in (*line.cranks, *line.runs):
        valid &= ~((time >= start) & (time < stop))
    return int(count[valid].max()) if valid.any() else 0


def _slots(line: SimulatedTimeline) -> dict[str, Value]:
    found: dict[str, Value] = {}
    for circuit in line.install.circuits:
        fed = any(stop - start > 1.0 for start, stop in line.slots[circuit.slot].spans(line.end_s))
        flows = 0.0 if line.install.ground_open else circuit.actual_a
        found[f"slot_{circuit.slot}_current"] = flows if fed else None
    return found


def _resting(line: SimulatedTimeline) -> Value:
    first_on = min(
        (float(t) for t, v in zip(line.key.times_s, line.key.values[1:], strict=True) if v), default=line.end_s
    )
    _, true = _values(line, 0.0, first_on, max(first_on / 2000, 1e-3), "battery_v")
    return float(true["battery_v"].mean())


def _held_minimum(line: SimulatedTimeline, start: float, stop: float) -> float:
    """The lowest level that battery_v stays at or below for 10 ms, V."""
    _, true = _values(line, start - 0.05, stop, 5e-4, "battery_v")
    return float(np.lib.stride_tricks.sliding_window_view(true["battery_v"], 21).max(axis=1).min())


def _feed_loss(line: SimulatedTimeline, cranks: tuple[tuple[float, float], ...]) -> Value:
    """The longest loss of the feed that begins while cranking, s; None where it was not live before."""
    longest = None
    for start, stop in cranks:
        if line.contact.at(np.array([start - 1e-3]))[0] == 0:
            continue
        time, true = _values(line, start - 0.01, _back_s(line, stop + 0.3), 1e-4, "battery_v", "feed_v")
        lost = np.r_[0, (true["feed_v"] < true["battery_v"] / 2).astype(np.int8), 0]
        turns = np.diff(lost)
        lengths = (np.nonzero(turns == -1)[0] - np.nonzero(turns == 1)[0]) * (time[1] - time[0])
        longest = max(longest or 0.0, float(lengths.max(initial=0.0)))
    return longest


def _back_s(line: SimulatedTimeline, from_s: float) -> float:
    """When the feed is back after a crank, s: it may stay out, until the key is turned at the latest."""
    if line.contact.at(np.array([from_s]))[0]:
        return from_s
    turns = [*line.contact.times_s[line.contact.values[1:] > 0].tolist(), *line.key.times_s.tolist(), line.end_s]
    return min((time for time in turns if time > from_s), default=from_s) + 0.02


def _charging(line: SimulatedTimeline) -> tuple[Value, Value, Value, Value]:
    """Mean voltage and mean current into the battery, from 1 s after the start; both at the end of the run.

    Where idling gives less than revs, each is the lower of the two means.
    """
    means: list[tuple[float, float, float, float]] = []
    for start, stop in line.runs:
        if stop - start < 5.0:
            continue
        time, true = _values(line, start + 1.0, stop, 0.01, "battery_v", "battery_a")
        late = time >= time[-1] - 2.0
        volts, amps = true["battery_v"], -true["battery_a"]
        parts = [np.ones(len(time), dtype=np.bool_)]
        if line.install.idle_share != 1.0 and min(line.install.idle_s, stop - start - line.install.idle_s) >= 5.0:
            parts = [time < start + line.install.idle_s, time >= start + line.install.idle_s]
        mean_v, mean_a = (min(float(one[part].mean()) for part in parts) for one in (volts, amps))
        means.append((mean_v, mean_a, float(volts[late].mean()), float(amps[late].mean())))
    return means[-1] if means else (None, None, None, None)


def _long_run_ma(line: SimulatedTimeline) -> float:
    install = line.install
    end = mean_a(line, line.end_s - 1e-3, line.end_s)
    if install.wakeups is None:
        return end * 1e3
    wake = install.wakeups
    now = float(line.wake.at(np.array([line.end_s - 5e-4]))[0])
    return (end + wake.height_a * (wake.length_s / wake.period_s - now)) * 1e3
