"""What a logger could prove of a plan: its stated accuracy and its rate, held against each limit by hand."""

from pathlib import Path

import pytest

from benchlog.bench.listening.known import reference_loggers
from benchlog.bench.listening.prospects import Prospect, prospects
from benchlog.bench.listening.words import prospect_lines
from benchlog.logger.model import Logger, logger_from_headers
from benchlog.plan.model import Plan, load_plan
from benchlog.verdict.registry.table import limits_of

PLAN = Path(__file__).parent.parent / "sample_data" / "larch.plan.toml"


@pytest.fixture(scope="module")
def plan() -> Plan:
    """The sample plan."""
    return load_plan(PLAN)


def by_id(found: list[Prospect]) -> dict[str, Prospect]:
    """Prospects by their check's id."""
    return {one.check.id: one for one in found}


def without(logger: Logger, *roles: str) -> Logger:
    """The same without these channels."""
    return logger.model_copy(update={"channel": tuple(one for one in logger.channel if one.role not in roles)})


def test_avr_logger_proves_what_its_notes_say(plan: Plan):
    """Drain, relay and voltages by hand: offset 10 uV over 100 mOhm, 1.25 mV steps, two ends of 4 ms."""
    found = by_id(prospects(plan, reference_loggers()[1], 250.0))

    assert all(one.can for one in found.values())
    root3 = 3**0.5
    drain = 2 * ((0.011 * 1000 / root3) ** 2 + (100 / root3) ** 2 + (12.5 / root3) ** 2) ** 0.5 / 1000
    assert found["off_state_drain"].expanded == pytest.approx(drain)
    assert found["off_state_drain"].zeroed == pytest.approx(
        2 * ((0.011 * 1000 / root3) ** 2 + 2 * (12.5 / root3) ** 2) ** 0.5 / 1000
    )
    assert found["relay_drop_out"].expanded == pytest.approx(2 * 4 * (2 / 3) ** 0.5)
    assert found["resting_voltage"].expanded == pytest.approx(2 * (12.6**2 + 7.5**2 + 0.625**2) ** 0.5 / root3 / 1000)


def test_large_shunt_alone_proves_no_milliampere(plan: Plan):
    """Without the small shunt 10 uV are 13 mA: the drain is a no, with a zero too, and the relay stays a yes."""
    found = prospects(plan, without(reference_loggers()[1], "drain_a"), 250.0)
    lines = prospect_lines("Larch", found)

    assert "    off-state drain, at most 1 mA: no, ± 16 mA, with a zero ± 2.7 mA" in lines
    assert "    relay drop-out, at most 60 ms: yes, ± 6.5 ms" in lines


def test_rate_decides_about_the_relay(plan: Plan):
    """At 10 samples a second neither relay time, nor chatter, nor the lowest voltage of a crank can be proven."""
    found = by_id(prospects(plan, reference_loggers()[1], 10.0))

    assert [identity for identity, one in found.items() if not one.can] == [
        *("relay_pull_in", "relay_drop_out", "relay_chatter", "crank_minimum"),
    ]
    assert found["relay_pull_in"].expanded == pytest.approx(163, abs=1)
    assert found["crank_minimum"].lacks == "it needs 50 samples a second"


def test_missing_channel_or_accuracy_is_named(plan: Plan):
    """A check whose channel is missing, or whose accuracy nobody states, is a no that says so."""
    bare = by_id(prospects(plan, without(reference_loggers()[1], "feed_v"), 250.0))
    headers = logger_from_headers(["time_s", "battery_v", "battery_a", "feed_v", "trigger_v"])
    assert headers is not None
    unstated = by_id(prospects(plan, headers, 250.0))

    assert bare["feed_drop"].lacks == bare["relay_pull_in"].lacks == "no channel measures feed_v"
    assert unstated["off_state_drain"].lacks == "the accuracy of battery_a is not stated"
    assert unstated["ground_lift"].lacks == "no channel measures ground_v"
    assert unstated["relay_pull_in"].can


def test_answer_turns_where_the_limit_comes_too_close(plan: Plan):
    """The same logger says yes to a drain of 1 mA and no to one of 0.1 mA unless a zero is taken, and no to 0.03."""
    logger = reference_loggers()[1]

    def answer(limit_ma: float) -> tuple[bool, bool]:
        limits = plan.limits.model_copy(update={"off_state_drain_ma": limit_ma})
        one = by_id(prospects(plan.model_copy(update={"limits": limits}), logger, 250.0))["off_state_drain"]
        return one.can, one.can_zeroed

    assert [answer(limit) for limit in (1.0, 0.1, 0.03)] == [(True, True), (False, True), (False, False)]


def test_every_check_of_a_log_has_an_answer(plan: Plan):
    """Each planned check that a log has to tell is answered, whatever limits a plan gives."""
    answered = {one.check.id for one in prospects(plan, reference_loggers()[0], 250.0)}

    assert answered == {identity for identity in limits_of(plan) if not identity.endswith("_fuse")}


def test_plan_without_limits_says_so():
    """Nothing to prove is told as that."""
    assert prospect_lines("Larch", []) == ["  the plan of Larch sets no limit that a log would have to prove"]
