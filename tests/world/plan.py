"""The plan of an install: what its owner wrote down, with limits clear of what the healthy install does."""

from __future__ import annotations

import math

import numpy as np

from .install import Install


def _up(value: float, digits: int) -> float:
    return math.ceil(value * 10**digits) / 10**digits


def make_plan(rng: np.random.Generator, inst: Install, settle_max_s: float) -> dict:
    """The plan as a dict with the plan file's keys; taken from the healthy install, before any fault.

    Limits stand 1.5 to 2.5 times above (or well below) what the healthy install does, so that a faultless case
    conforms whatever a logger of ordinary accuracy adds.
    """
    w, bat, relay = inst.wiring, inst.battery, inst.relay
    total = inst.planned_a

    def room() -> float:
        return float(rng.uniform(1.5, 2.5))

    circuits = []
    for k, c in enumerate(inst.circuits):
        conductor, length = w["wires"][k]
        circuits.append(
            {
                "slot": k + 1,
                "device": c.name,
                "planned_a": w["planned"][k],
                "tolerance_pct": 20,
                "fuse_a": inst.fuses[k],
                "conductor": conductor,
                "length_m": length,
            }
        )
    full = bat.r0 + bat.r1 + bat.r2
    rest = bat.open_circuit_v(bat.charge)
    # 4 lags of the coil and the travel; suppression by diode lengthens the release about threefold
    lag = relay.coil_h / relay.coil_ohm
    return {
        "install": {"bike": "Rowan", "notes": "drawn at random"},
        "battery": {"chemistry": bat.chemistry, "capacity_ah": bat.capacity_ah},
        "relay": {
            "trigger": "tail lamp",
            "coil_a": round(12.0 / relay.coil_ohm, 3),
            "contact_a": 30,
            "suppression": relay.suppression,
            "pull_in_max_ms": _up((relay.rise_s + 1.6 * lag) * 1000 * room() + 4, 0),
            "drop_out_max_ms": _up((relay.fall_s + 2.5 * lag) * 1000 * room() + 4, 0),
        },
        "feed": {
            "fuse_a": w["feed_fuse"],
            "conductor": w["conductor"],
            "length_m": w["feed_m"],
            "drop_max_v": _up(inst.feed_ohm * total * room() + 0.02, 2),
        },
        "ground": {
            "conductor": w["conductor"],
            "length_m": w["ground_m"],
            "lift_max_v": _up(inst.ground_ohm * total * room() + 0.01, 2),
        },
        "circuit": circuits,
        "limits": {
            "off_state_drain_ma": _up((inst.drain_a + inst.added_a) * 1000 * room() + 0.2, 1),
            "added_drain_ma": _up(inst.added_a * 1000 * room() + 0.15, 2),
            "settle_max_s": settle_max_s,
            "feed_off_max_v": 0.5,
            "battery_sag_max_v": _up(full * total * room() + 0.05, 2),
            "source_resistance_max_mohm": _up(full * 1000 * room() + 2, 0),
            "resting_min_v": round(rest - float(rng.uniform(0.25, 0.5)), 2),
            "crank_min_v": round(rest * 0.5, 1),
            "feed_in_crank": "drop" if inst.lamps_cut and rng.random() < 0.3 else "any",
            "charging_min_v": round(inst.charging.regulated_v - float(rng.uniform(0.3, 0.6)), 2),
            "charging_max_v": round(inst.charging.regulated_v + float(rng.uniform(0.3, 0.6)), 2),
            "charging_balance_min_a": 0.0,
        },
    }


def to_toml(data: dict) -> str:
    """Plans and logger files as TOML text: tables, arrays of tables, plain values."""
    out: list[str] = []

    def value(x: object) -> str:
        if isinstance(x, bool):
            return str(x).lower()
        if isinstance(x, str):
            return '"' + x.replace("\\", "\\\\").replace('"', '\\"') + '"'
        if isinstance(x, list):
            return "[" + ", ".join(value(y) for y in x) + "]"
        return repr(float(x)) if isinstance(x, (float, np.floating)) else str(x)

    for name, body in data.items():
        rows = body if isinstance(body, list) else [body]
        head = f"[[{name}]]" if isinstance(body, list) else f"[{name}]"
        for row in rows:
            out += [head, *(f"{k} = {value(v)}" for k, v in row.items()), ""]
    return "\n".join(out)
