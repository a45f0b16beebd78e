"""Checks of the relay: how soon its contact follows the trigger, and whether it holds."""

from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Plan
from benchlog.verdict.registry.kind import CheckKind, CheckNames, LimitWords
from benchlog.verdict.registry.limiting import at_most, from_plan


def _delay(name: CheckNames, key: str, found: str, measures: str, first_test: str) -> CheckKind:
    """How late the contact follows the trigger, at the worst.

    Args:
        key: of the plan's table of the relay. first_test: after another relay has been tried.
    """
    return CheckKind(
        *name,
        measures=f"{measures}; the worst",
        limit=at_most(f"relay.{key}"),
        found=found,
        first_test=f"time it again with another relay of the same kind, {first_test}",
        by_samples=True,
    )


RELAY_PULL_IN = _delay(
    ("relay_pull_in", "Relay pull-in", "Pull-in", "ms"),
    "pull_in_max_ms",
    found="the contact closed {} after the trigger rose",
    measures="trigger rising until the feed is live",
    first_test="and measure from 86 to 85 with the key on",
)
RELAY_DROP_OUT = _delay(
    ("relay_drop_out", "Relay drop-out", "Drop-out", "ms"),
    "drop_out_max_ms",
    found="the contact opened {} after the trigger fell",
    measures="trigger falling until the contact opens",
    first_test="since contacts that stick let go late; then see what else lies across its coil",
)


def _no_chatter(plan: Plan) -> PlannedLimit | None:
    return None if plan.relay is None else PlannedLimit(None, 0.0, "given", "the plan has a [relay]: none allowed")


RELAY_CHATTER = CheckKind(
    id="relay_chatter",
    title="Relay chatter",
    short="Chatter",
    unit="1",
    measures="openings with the key on and re-closings with it off, contact bounce excluded",
    limit_from="none allowed where the plan has a `[relay]`",
    limit=from_plan(("relay",), _no_chatter),
    found="the contact opened or re-closed out of turn {} times",
    found_none="the contact did not open or re-close out of turn",
    found_once="the contact opened or re-closed out of turn once",
    limit_words=LimitWords(sentence=lambda _: "the plan, which allows none"),
    first_test="with the key on move relay, socket and harness by hand, and see which makes it open",
)
