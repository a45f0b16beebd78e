"""The plan that belongs to a simulated install."""

from collections.abc import Mapping

from benchlog.standin.install import SimulatedInstall

#: What the plan allows where nothing else is asked for. Key -> section and value.
LIMITS: dict[str, float | str] = {
    "pull_in_max_ms": 30,
    "drop_out_max_ms": 60,
    "drop_max_v": 0.30,
    "lift_max_v": 0.10,
    "off_state_drain_ma": 1.0,
    "added_drain_ma": 0.2,
    "settle_max_s": 120,
    "feed_off_max_v": 0.5,
    "battery_sag_max_v": 0.6,
    "source_resistance_max_mohm": 40,
    "resting_min_v": 12.6,
    "crank_min_v": 9.6,
    "feed_in_crank": "any",
    "charging_min_v": 13.5,
    "charging_max_v": 14.8,
    "charging_balance_min_a": 0.0,
}
_ELSEWHERE = ("pull_in_max_ms", "drop_out_max_ms", "drop_max_v", "lift_max_v")


def plan_toml_of(install: SimulatedInstall, limits: Mapping[str, float | str | None] | None = None) -> str:
    """The plan file; ``limits`` replace those of ``LIMITS``, a None leaves one out."""
    given = {key: value for key, value in {**LIMITS, **(limits or {})}.items() if value is not None}

    def limit(key: str) -> list[str]:
        return [f"{key} = {_toml(given[key])}"] if key in given else []

    lines = ["[install]", f'bike = "{install.bike}"', "", "[battery]", f'chemistry = "{install.chemistry}"']
    lines += [f"capacity_ah = {install.capacity_ah:g}", "", "[relay]", 'trigger = "tail lamp"', "coil_a = 0.14"]
    lines += [
        "contact_a = 30",
        f'suppression = "{install.suppression}"',
        *limit("pull_in_max_ms"),
        *limit("drop_out_max_ms"),
    ]
    lines += [
        "",
        "[feed]",
        f"fuse_a = {install.feed_fuse_a:g}",
        'conductor = "4 mm2"',
        "length_m = 1.5",
        *limit("drop_max_v"),
    ]
    lines += ["", "[ground]", 'conductor = "4 mm2"', "length_m = 1.6", *limit("lift_max_v")]
    for circuit in install.circuits:
        lines += ["", "[[circuit]]", f"slot = {circuit.slot}", f'device = "{circuit.device}"']
        lines += [f"planned_a = {circuit.planned_a:g}", "tolerance_pct = 20", f"fuse_a = {circuit.fuse_a:g}"]
        lines += ['conductor = "1 mm2"', "length_m = 1.1"]
    lines += ["", "[limits]", *(f"{key} = {_toml(value)}" for key, value in given.items() if key not in _ELSEWHERE)]
    return "\n".join(lines) + "\n"


def _toml(value: float | str) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"
