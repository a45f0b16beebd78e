"""Checks of the off state: what flows, and what stays live, with the key off."""

from benchlog.plan.batteries import REST_WORDS
from benchlog.verdict.proving import drain_within_limits
from benchlog.verdict.registry.kind import CheckKind
from benchlog.verdict.registry.limiting import at_least, at_most

_PULL_FUSES = "with the key off pull one fuse after the other, each with its mark, and see which takes the current away"

OFF_STATE_DRAIN = CheckKind(
    id="off_state_drain",
    title="Off-state drain",
    short="Drain",
    unit="mA",
    measures="mean current out of the battery, key off, after settling, wake-ups included; the worst stretch",
    limit=at_most("limits.off_state_drain_ma"),
    rule=drain_within_limits,
    found="with the key off {} left the battery on average",
    first_test=_PULL_FUSES,
    key_off=True,
    longest_decides=True,
)
ADDED_DRAIN = CheckKind(
    id="added_drain",
    title="Added drain",
    short="Added drain",
    unit="mA",
    measures="the same, less that of the `--before` log",
    limit=at_most("limits.added_drain_ma"),
    found="the install added {} to the drain",
    first_test=_PULL_FUSES,
    key_off=True,
    longest_decides=True,
    explained_when_open=False,
)
#: Why there is none where it has nothing to be compared with. How the missing log is given each face says itself.
NO_BEFORE = "no log from before the install was given"
SETTLE_TIME = CheckKind(
    id="settle_time",
    title="Settling time",
    short="Settling",
    unit="s",
    measures="key-off until the drain has settled; the worst",
    limit=at_most("limits.settle_max_s"),
    found="the drain settled {} after the key was turned off",
    first_test="with the key off pull one fuse after the other, and see without which it settles in time",
)
FEED_OFF_VOLTAGE = CheckKind(
    id="feed_off_voltage",
    title="Feed voltage, key off",
    short="Feed, off",
    unit="V",
    measures="at the fuse block, key off and settled; the highest mean",
    limit=at_most("limits.feed_off_max_v"),
    found="with the key off the fuse block stood at {}",
    first_test=(
        "with the key off pull the relay out: a fuse block that stays live is fed from elsewhere, else look at the "
        "relay and its trigger"
    ),
    key_off=True,
)
RESTING_VOLTAGE = CheckKind(
    id="resting_voltage",
    title="Resting voltage",
    short="At rest",
    unit="V",
    measures="battery settled, key off, before the first key-on",
    limit=at_least("limits.resting_min_v"),
    found="the battery rested at {} before the first key-on",
    first_test=f"charge the battery full, let it rest {REST_WORDS}, and measure again",
    key_off=True,
)


def lacks_before(check_id: str, because: str) -> bool:
    """Whether a check is open since no log from before the install was given."""
    return check_id == ADDED_DRAIN.id and because.casefold() == f"{NO_BEFORE}."
