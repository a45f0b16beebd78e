"""The faults that benchlog can name: declared here and nowhere else."""

from benchlog.plan.batteries import REST_WORDS
from benchlog.verdict.causes.fault import Fault, Interval
from benchlog.verdict.causes.seen import INF

UP: Interval = (0.5, 1.1)
DOWN: Interval = (-0.1, 0.2)
LIVE: Interval = (0.6, 1.1)
OVER: Interval = (1.0, INF)
#: Currents over the planned ones.
NOTHING: Interval = (-0.08, 0.12)
#: How much further the current swings with the circuits on than off, over the planned load: it comes in pulses.
SWINGS: Interval = (0.25, INF)
#: Current with the key off over what the circuits drew with it on, where they stay on.
STAYS_ON: Interval = (0.45, 1.4)
#: The same where lamps on the trigger's line stay on with them.
WITH_ITS_LINE: Interval = (0.45, INF)
#: Part of the time that a line is up with the key on.
STEADY: Interval = (0.96, 1.1)
#: Current with the key off over the coil's, where the coil is held.
COIL: Interval = (0.7, 1.5)
#: What a bike draws of itself with the key on, at most, A (from memory).
BIKES_OWN: Interval = (-INF, 15.0)
#: Before the key-on as after the key-off, where the same flows.
SAME: Interval = (0.5, 2.0)
NO_COIL: Interval = (-INF, 0.5)
HELD: Interval = (0.7, INF)
#: So often, or more.
SOME: Interval = (1.0, INF)
#: Trigger over battery voltage where the coil gets too little.
TOO_LITTLE: Interval = (0.2, 0.8)

_BATTERY_LEADS = "Take the battery's negative lead off before you loosen anything in the feed."
_RUNNING = "Keep clear of hot and moving parts, and run the engine in the open air only."

_LIVE_OFF = (
    *("off_state_drain", "added_drain", "settle_time", "feed_off_voltage", "relay_drop_out", "relay_pull_in"),
    *("relay_chatter", "resting_voltage"),
)
#: What circuits that draw with the key off move as well: the battery does not rest under them.
_DRAWS_OFF = ("drain_base", "drain_wakes", "settle", "rest_short_v", "openings")
_DEAD_ON = (
    *("relay_pull_in", "relay_drop_out", "relay_chatter", "feed_drop", "ground_lift", "slot_N_current"),
    *("feed_in_crank",),
)

FAULTS: tuple[Fault, ...] = (
    Fault(
        "trigger_always_live",
        "the trigger circuit is not switched by the key",
        "trigger up throughout, feed live with the key off",
        {"trigger_off": UP, "feed_off": LIVE, "trigger_before": UP, "feed_before": LIVE},
        _LIVE_OFF,
        (
            "with the key off measure between terminal 86 and battery negative: 12 V there means a wrong trigger",
            "move the trigger to a circuit that is dead with the key off, such as the tail lamp",
        ),
        hints={
            **{"load_off": WITH_ITS_LINE, "load_before": (0.2, INF), "coil_off": COIL, "coil_before": COIL},
            **{"line_off": SOME, "line_before": SOME, "coil_held": HELD},
        },
        also=_DRAWS_OFF,
    ),
    Fault(
        "backfed_coil",
        "the load side holds the coil",
        "after key-off trigger and feed both stay up",
        {"trigger_off": UP, "feed_off": LIVE, "trigger_before": DOWN, "feed_before": DOWN},
        _LIVE_OFF,
        (
            "with the key off pull the circuits' fuses one by one: the one that lets the relay go feeds back",
            "pull the relay and measure at terminal 86: still 12 V with the key off means the feed comes from outside",
        ),
        hints={
            "load_off": WITH_ITS_LINE,
            "load_before": NOTHING,
            "coil_off": COIL,
            "coil_before": NO_COIL,
            "line_off": SOME,
            "coil_held": HELD,
        },
        also=_DRAWS_OFF,
    ),
    Fault(
        "welded_contact",
        "the contact does not open",
        "trigger down, feed up",
        {"trigger_off": DOWN, "feed_off": LIVE, "feed_on": LIVE},
        _LIVE_OFF,
        (
            "tap the relay with the key off: a feed that goes dead had a stuck contact",
            "pull the relay: if the feed goes dead, replace the relay and look for the short or inrush that welded it",
        ),
        _BATTERY_LEADS,
        hints={
            **{"load_off": STAYS_ON, "coil_off": NO_COIL, "coil_before": NO_COIL, "trigger_before": DOWN},
            "coil_held": NO_COIL,
        },
        also=(*_DRAWS_OFF, "load_before", "feed_before"),
    ),
    Fault(
        "inverted_contact",
        "the feed is on 87a",
        "feed live with the trigger down, dead with it up",
        {"trigger_off": DOWN, "feed_off": LIVE, "trigger_on": LIVE, "feed_on": DOWN},
        (*_LIVE_OFF, *_DEAD_ON),
        ("read the relay's socket: the fuse block's wire belongs on 87, not on 87a; swap it and check again",),
        _BATTERY_LEADS,
        hints={
            **{"load_off": STAYS_ON, "coil_off": NO_COIL, "coil_before": NO_COIL, "slots": NOTHING},
            **{"trigger_before": DOWN, "feed_before": LIVE, "coil_held": NO_COIL, "keyed_a": BIKES_OWN},
        },
        also=(*_DRAWS_OFF, "load_before", "load_on"),  # a trigger that is cut while cranking lets it flow
    ),
    Fault(
        "coil_open",
        "coil, its fuse or its ground (85) open",
        "trigger up, no coil current, feed never live",
        {"trigger_on": LIVE, "feed_on": DOWN, "feed_off": DOWN},
        _DEAD_ON,
        (
            "turn the key on and listen or feel at the relay: no click means coil, its fuse or its ground",
            "with the key on measure from 86 to 85: 12 V there and no click is the coil, 0 V is its supply or ground",
        ),
        hints={"load_on": NOTHING, "slots": NOTHING, "coil_kick_v": (-INF, 0.2)},
        also=("trigger_fall_s",),  # with no coil to draw it down, whatever capacitance there is holds the line
    ),
    Fault(
        "feed_open",
        "feed fuse, wire or contact open",
        "trigger up, coil current seen, feed never live",
        {"trigger_on": LIVE, "feed_on": DOWN, "feed_off": DOWN},
        _DEAD_ON,
        (
            "turn the key on and listen or feel at the relay: a click means the coil is well; look at the feed fuse",
            "measure at 30 (12 V always) and at 87 (12 V with the key on): the first without it names the open part",
        ),
        _BATTERY_LEADS,
        hints={"load_on": NOTHING, "slots": NOTHING, "coil_kick_v": (0.3, INF)},
    ),
    Fault(
        "feed_resistance",
        "a poor joint or too thin a wire in the feed",
        "feed resistance above the planned one",
        {"feed_path": OVER, "feed_on": (0.3, 1.1)},
        ("feed_drop",),
        (
            "with all loads on measure across each joint, the fuse and 30 to 87: the largest voltage is the poor one",
            "clean and tighten it, or replace a wire that is thinner than planned",
        ),
        _BATTERY_LEADS,
    ),
    Fault(
        "ground_resistance",
        "a poor joint or too thin a wire in the return",
        "ground resistance above the planned one",
        {"ground_path": OVER, "bus_on": (-0.05, 0.4)},
        ("ground_lift",),
        (
            "with all loads on measure from each joint of the return to battery negative: the step is the poor joint",
            "clean and tighten it down to bare metal, or replace a wire that is thinner than planned",
        ),
    ),
    Fault(
        "ground_open",
        "the ground bus has no return",
        "bus rises toward the feed voltage, loads draw nothing",
        {"feed_on": LIVE, "bus_on": (0.4, 1.1)},
        ("feed_drop", "ground_lift", "slot_N_current"),
        (
            "with the key on measure from the ground bus to battery negative: 12 V there means no return",
            "follow the bus's wire to battery negative and mend the open joint",
        ),
        hints={"load_on": NOTHING, "slots": NOTHING},
        also=("ground_path", "feed_path"),
    ),
    Fault(
        "slot_dead",
        "a circuit draws nothing",
        "its step is missing",
        {"feed_on": LIVE, "bus_on": (-0.05, 0.3), "slot": NOTHING},
        ("slot_N_current",),
        (
            "look at the circuit's fuse, then measure at the device's plug with it switched on",
            "12 V at the plug and no current is the device; no 12 V is the fuse or the wire",
        ),
        also=("load_on",),
    ),
    Fault(
        "slot_overload",
        "a circuit draws more than planned",
        "its step is too large",
        {"slot": OVER},
        ("slot_N_current",),
        (
            "compare the device's rating with the plan, and look for a second device on the same slot",
            "unplug the device: current that stays is a damaged wire",
        ),
        "A wire that carries more than planned may be hot; do not fit a larger fuse.",
    ),
    Fault(
        "unswitched_device",
        "a device is fed around the relay",
        "steady drain above the allowed with the feed dead",
        {"drain_base": OVER, "feed_off": DOWN},
        ("off_state_drain", "added_drain", "settle_time"),
        (
            "with the key off and the bike asleep pull one fuse after another: the one that drops the drain feeds it",
            "move that device's supply to the fuse block",
        ),
        hints={"load_off": (-INF, 0.35), "before_off": SAME},
        also=("line_off", "line_before"),
        perhaps=("coil_off", "coil_before", "load_before"),
    ),
    Fault(
        "waking_device",
        "something wakes at intervals",
        "the drain comes in pulses",
        {"drain_wakes": OVER, "feed_off": DOWN},
        ("off_state_drain", "added_drain", "settle_time"),
        (
            "unplug trackers, alarms and chargers one by one and record an hour with the key off after each",
            "set the device to wake less often, or move it to switched power",
        ),
    ),
    Fault(
        "slow_to_sleep",
        "something stays awake",
        "settling late",
        {"settle": OVER, "feed_off": DOWN},
        ("settle_time", "off_state_drain", "added_drain"),
        (
            "record again with the last device that was added unplugged",
            "ask the bike's service manual how long its control unit stays awake, and set the limit to that",
        ),
        hints={"load_off": (-INF, 0.35)},
    ),
    Fault(
        "slow_trigger_decay",
        "a capacitor or lamp circuit holds the trigger up",
        "the trigger itself falls slowly",
        {"trigger_fall_s": (0.02, INF), "trigger_off": DOWN},
        ("relay_drop_out", "settle_time"),
        (
            "unplug what else hangs on the trigger's circuit and time the drop-out again",
            "take the trigger from a circuit without electronics, or from another lamp",
        ),
        hints={"drop_out": OVER, "drop_out_own": (-INF, 1.0)},
    ),
    Fault(
        "weak_coil_supply",
        "the coil gets too little voltage",
        "chatter or late pull-in with a low trigger",
        {"trigger_on": TOO_LITTLE},
        ("relay_pull_in", "relay_chatter", "feed_in_crank", "relay_drop_out", "slot_N_current"),
        (
            "with the key on measure from 86 to 85: less than about 9 V is too little to pull a warm relay in",
            "feed the coil from a stouter switched circuit, or mend the joint that drops the voltage",
        ),
        either={"trigger_on": TOO_LITTLE, "load_swing": SWINGS, "openings": SOME},
        hints={"trigger_duty": STEADY},
        also=(*("pull_in", "feed_on", "feed_duty", "feed_falls_hz", "load_on", "slots"), "feed_path", "ground_path"),
    ),
    Fault(
        "weak_battery",
        "the battery or its posts",
        "source resistance high, or rest voltage low",
        {},
        ("resting_voltage", "source_resistance", "battery_sag", "crank_minimum", "slot_N_current"),
        (
            f"clean and tighten the posts, charge the battery fully, let it rest {REST_WORDS} and record again",
            "have it load-tested; replace it if the resistance stays high",
        ),
        "No flames or sparks at the battery; wear eye protection.",
        {"source": OVER, "rest_short_v": (0.0, INF), "sag": OVER, "crank_short_v": (0.0, INF)},
        perhaps=("slots",),  # some devices draw more the lower the voltage, others less
    ),
    Fault(
        "no_charge",
        "the alternator gives nothing",
        "engine known to run (mark), voltage not raised, the battery carries the whole load",
        {
            "alternator_share": (-0.3, 0.06),
            "run_raise_v": (-1.5, 0.2),
            "run_rest_v": (-2.0, 0.1),
            "charge_under_v": (0.0, INF),
        },
        ("charging_voltage", "charging_balance"),
        (
            "look at the charging fuse and at the plug between alternator and regulator",
            "measure the alternator's phases as the service manual says",
        ),
        _RUNNING,
        hints={"run_charged": (-INF, 0.02)},  # one that charges above idle gives something
    ),
    Fault(
        "overcharge",
        "regulator fault",
        "running voltage above the window",
        {"charge_over_v": (0.0, INF)},
        ("charging_voltage",),
        (
            "measure across the battery's own posts with the engine at a fast idle: the same high voltage is real",
            "look at the regulator's sense wire and ground before replacing it",
        ),
        _RUNNING,
    ),
    Fault(
        "load_exceeds_charging",
        "more load than the alternator gives",
        "the alternator carries part of the load, net discharge, voltage at or below resting",
        {"alternator_share": (0.1, 0.97), "run_rest_v": (-2.0, 0.25)},
        ("charging_voltage", "charging_balance"),
        (
            "switch loads off one by one with the engine at a fast idle until the battery is charged",
            "plan less load, or use the heavy ones only above idle",
        ),
        _RUNNING,
        also=("charge_under_v", "run_raise_v"),
    ),
    Fault(
        "trigger_dead",
        "no voltage comes to 86 with the key on",
        "key on by mark or key line, trigger down, feed dead",
        {"trigger_on": DOWN, "trigger_duty": (-0.1, 0.06), "feed_on": DOWN, "feed_off": DOWN},
        _DEAD_ON,
        (
            "with the key on measure from terminal 86 to battery negative: 0 V there means the trigger's own circuit",
            "look at that circuit's fuse and at the tap, then follow its wire to 86",
        ),
        hints={"load_on": NOTHING, "slots": NOTHING},
    ),
    Fault(
        "slow_relay",
        "the relay itself lets go or pulls in late",
        "trigger steady and steep, coil voltage right, the contact late",
        {"trigger_on": (0.8, 1.1), "trigger_fall_s": (-INF, 0.03)},
        ("relay_pull_in", "relay_drop_out", "settle_time"),
        (
            "time it again with another relay of the same kind: one that is in time names the relay",
            "look for a diode or a capacitor across the coil that the plan does not know, which makes it let go late",
        ),
        either={"drop_out": OVER, "pull_in": OVER},
        hints={"drop_out_own": OVER},
    ),
    Fault(
        "pulsed_trigger",
        "the trigger hangs on a lamp line that is pulsed",
        "trigger up in a fraction of the time with the key on, the contact chatters with it",
        {"trigger_duty": (0.06, 0.95), "trigger_falls_hz": (0.3, INF)},
        ("relay_chatter", *_DEAD_ON),
        (
            "listen at the relay with the key on: a buzz or a steady clicking means a pulsed line",
            "take the trigger from a line that is not dimmed or watched by the bike's electronics",
        ),
        hints={"load_swing": SWINGS, "openings": SOME},
        also=(
            *("trigger_on", "trigger_fall_s", "pull_in", "drop_out", "drop_out_own", "feed_on"),
            *("feed_duty", "load_on", "slots", "feed_off", "feed_falls_hz", "feed_path", "ground_path"),
        ),
    ),
    Fault(
        "intermittent_feed",
        "a joint that opens under vibration",
        "feed lost for moments with the trigger steady, more with the engine running",
        {"openings": SOME, "trigger_on": (0.8, 1.1), "trigger_duty": STEADY},
        ("relay_chatter", "feed_drop", "feed_in_crank"),
        (
            "with the circuits on move each joint, fuse and the relay by hand and see which makes the lamps flicker",
            "run the engine, log feed_v at one joint after the other, and mend the first that loses it",
        ),
        _BATTERY_LEADS,
        also=("feed_duty", "feed_falls_hz", "feed_path"),
    ),
    Fault(
        "charging_while_off",
        "something charges the battery with the key off",
        "current into the battery, key off",
        {"off_charge_a": (-INF, 0.0)},
        ("off_state_drain", "added_drain", "settle_time", "resting_voltage"),
        (
            "look for a charger or a solar panel that is still connected, take it off, and record again",
            "with nothing connected, check the sign and the zero of the current channel",
        ),
    ),
    Fault(
        "clips_swapped",
        "trigger and feed clips changed over (a fault of the measurement)",
        'the "feed" moves first, the "trigger" a relay\'s time later, at every key event',
        {"feed_lead_s": (0.0, 0.5)},
        ("feed_off_voltage", *_DEAD_ON),
        (
            "follow both clips to their terminals: trigger_v belongs on 86, feed_v on 87 or the fuse block's stud",
            "change them over, or change the roles in the logger file, and record again",
        ),
        hints={"clip_slope": (0.2, 1.1)},
        # a load is told from the bike's own by the feed that sinks under it, and this one does not
        also=(
            *("openings", "feed_path", "ground_path", "trigger_fall_s", "drop_out", "drop_out_own", "pull_in"),
            *("slots", "load_on", "load_off", "load_swing", "feed_duty", "feed_falls_hz"),
        ),
    ),
)


def by_id(fault_id: str) -> Fault:
    """The fault with this id.

    Raises:
        KeyError: there is none.
    """
    for fault in FAULTS:
        if fault.id == fault_id:
            return fault
    raise KeyError(fault_id)
