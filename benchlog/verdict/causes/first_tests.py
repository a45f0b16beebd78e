"""Where to look first when a check fails and no fault of the list explains it (common practice, no source)."""

from benchlog.verdict.check_table import id_in_table

_PULL_FUSES = "with the key off pull one fuse after the other, each with its mark, and see which takes the current away"
_AT_POSTS = "under load measure from post to post, then from lead to lead: what differs is lost in the joint"
_ALONG = (
    "with all circuits on measure from battery {} to each joint on the way to the {}: where it steps up, current meets "
    "resistance"
)

_READ_FUSE = (
    "pull the fuse and leave it out; read its rating and the wire's size where they are, and correct the plan or fit "
    "the smaller fuse before current flows again"
)

#: Check id -> what to do next.
FIRST_TESTS: dict[str, str] = {
    "feed_fuse": _READ_FUSE,
    "slot_N_fuse": _READ_FUSE,
    "off_state_drain": _PULL_FUSES,
    "added_drain": _PULL_FUSES,
    "settle_time": "with the key off pull one fuse after the other, and see without which it settles in time",
    "feed_off_voltage": (
        "with the key off pull the relay out: a fuse block that stays live is fed from elsewhere, else look at the "
        "relay and its trigger"
    ),
    "relay_pull_in": "time it again with another relay of the same kind, and measure from 86 to 85 with the key on",
    "relay_drop_out": (
        "time it again with another relay of the same kind, since contacts that stick let go late; then see what else "
        "lies across its coil"
    ),
    "relay_chatter": "with the key on move relay, socket and harness by hand, and see which makes it open",
    "battery_sag": _AT_POSTS,
    "source_resistance": _AT_POSTS,
    "feed_drop": _ALONG.format("+", "fuse block"),
    "ground_lift": _ALONG.format("−", "ground bus"),
    "slot_N_current": "compare the device's label with the plan, and measure its current alone on a charged battery",
    "resting_voltage": "charge the battery full, let it rest overnight, and measure again",
    "crank_minimum": "charge the battery full and crank again; if it falls as low, have it tested under load",
    "feed_in_crank": (
        "log trigger_v and feed_v while cranking: a trigger that falls too is on a circuit that starting cuts off"
    ),
    "charging_voltage": (
        "with the engine running measure at the battery's posts, then at the regulator: what differs is lost between"
    ),
    "charging_balance": (
        "with the engine running turn one circuit off after the other, and see from where on the battery is charged"
    ),
}


def first_test(check_id: str) -> str:
    """What to do next; "" for a check that nothing is known of."""
    return FIRST_TESTS.get(id_in_table(check_id), "")
