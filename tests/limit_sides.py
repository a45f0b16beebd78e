"""Where the plan has the limit of each check that has one side: for the tables of verdicts against the truth."""

#: check id -> table and key of its limit in the plan, and which side it is on.
SIDES: dict[str, tuple[str, str, str]] = {
    "off_state_drain": ("limits", "off_state_drain_ma", "max"),
    "added_drain": ("limits", "added_drain_ma", "max"),
    "settle_time": ("limits", "settle_max_s", "max"),
    "feed_off_voltage": ("limits", "feed_off_max_v", "max"),
    "relay_pull_in": ("relay", "pull_in_max_ms", "max"),
    "relay_drop_out": ("relay", "drop_out_max_ms", "max"),
    "battery_sag": ("limits", "battery_sag_max_v", "max"),
    "feed_drop": ("feed", "drop_max_v", "max"),
    "ground_lift": ("ground", "lift_max_v", "max"),
    "resting_voltage": ("limits", "resting_min_v", "min"),
    "source_resistance": ("limits", "source_resistance_max_mohm", "max"),
    "crank_minimum": ("limits", "crank_min_v", "min"),
    "charging_voltage": ("limits", "charging_max_v", "max"),
    "charging_balance": ("limits", "charging_balance_min_a", "min"),
}
