"""Several faults at once: who is named beside whom, with which fit, and in which words. The faults are made up."""

import math
from collections.abc import Mapping

import pytest

from benchlog.verdict.causes import fit
from benchlog.verdict.causes.fault import Fault, Interval
from benchlog.verdict.causes.fit import find_causes
from benchlog.verdict.causes.parting import parting
from benchlog.verdict.causes.seen import Seen, merged, misfit, slot_of_quantity
from benchlog.verdict.result import Cause, Check

INF = math.inf
OVER: Interval = (1.0, INF)


def fault(name: str, predicts: Mapping[str, Interval], **more: object) -> Fault:
    """A fault that explains the feed's drop and the circuits."""
    given: dict = {"explains": ("feed_drop", "slot_N_current"), **more}
    return Fault(name, f"text of {name}", "shows", predicts, tests=("look",), **given)


def over(gain: float, name: str = "") -> Seen:
    """A figure over a limit of 1, softness 0.005, that speaks so much against a good install."""
    return Seen(1 + 0.005 * math.sqrt(2 * gain), 0.0, name)


def slot(gain: float, name: str = "") -> Seen:
    """The same of a circuit, over 1.2 of its planned current with a softness of 0.01."""
    return Seen(1.2 + 0.01 * math.sqrt(2 * gain), 0.0, name, 0.8, 1.2)


def causes(
    monkeypatch: pytest.MonkeyPatch, faults: list[Fault], seen: Mapping[str, Seen], **verdicts: str
) -> list[Cause]:
    """The causes among these faults; the feed's drop failed if nothing else is said."""
    monkeypatch.setattr(fit, "FAULTS", tuple(faults))
    checks = [
        Check(id=name, title="t", verdict=verdict, unit="V", because="b")
        for name, verdict in (verdicts or {"feed_drop": "fail"}).items()
    ]
    return find_causes(seen, checks, {2: "horn"})


ONE, BOTH = fault("one", {"feed_path": OVER}), fault("both", {"feed_path": OVER, "source": OVER})


def test_faults_within_1_5_of_each_other_share_the_fit(monkeypatch):
    """1.4 apart they have half each, 1.6 apart the better is named alone: 1 of 1 and e to the -0.8."""
    alike = causes(monkeypatch, [ONE, BOTH], {"feed_path": over(5), "source": over(1.4)})
    apart = causes(monkeypatch, [ONE, BOTH], {"feed_path": over(5), "source": over(1.6)})

    assert [(each.id, each.fit) for each in alike] == [("one", 0.5), ("both", 0.5)]
    assert [(each.id, each.fit) for each in apart] == [("both", 0.690)]
    assert causes(monkeypatch, [ONE, BOTH], {"feed_path": over(5), "source": over(2)})[0].fit == 0.731


def test_faults_of_other_traces_are_named_beside_it_each_by_itself(monkeypatch):
    """A late settling is no rival of a poor feed; what is surer known stands first, though it speaks less loudly."""
    late = fault("late", {"settle": OVER, "feed_off": (-0.1, 0.2)})

    found = causes(monkeypatch, [late, ONE], {"feed_path": over(4), "settle": over(5)})

    assert [(each.id, each.fit) for each in found] == [("one", 1.0), ("late", 0.5)]


def test_fault_beside_it_needs_a_trace_of_its_own(monkeypatch):
    """What the first fault did not account for must say 1.2: at 1.1 nobody else is named, at 1.3 there is."""
    first = fault("first", {"feed_path": OVER, "ground_path": OVER, "sag": OVER})
    second = fault("second", {"feed_path": OVER, "source": OVER})
    seen = {"feed_path": over(3), "ground_path": over(6), "sag": over(6)}

    little = causes(monkeypatch, [first, second], {**seen, "source": over(1.1)})
    enough = causes(monkeypatch, [first, second], {**seen, "source": over(1.3)})

    assert [each.id for each in little] == ["first"]
    assert {each.id for each in enough} == {"first", "second"}


def test_faults_that_are_alike_count_by_what_is_known_of_them_on_average(monkeypatch):
    """One is known in full, the other by half: half of three quarters each."""
    half = fault("half", {"feed_path": OVER, "sag": OVER})

    assert [each.fit for each in causes(monkeypatch, [ONE, half], {"feed_path": over(5)})] == [0.375, 0.375]


def test_faults_that_are_alike_disagree_as_little_as_the_best_of_them(monkeypatch):
    """One at odds with the bus by 1, which costs it 1 of its score, stands beside one that is at odds with nothing."""
    odd = fault("odd", {"feed_path": OVER, "bus_on": (0.1 + 0.03 * math.sqrt(2), 0.4)})

    found = causes(monkeypatch, [ONE, odd], {"feed_path": over(5), "bus_on": Seen(0.1, 0.0, "")})

    assert [each.fit for each in found] == [0.5, 0.5]
    assert causes(monkeypatch, [odd], {"feed_path": over(5), "bus_on": Seen(0.1, 0.0, "")})[0].fit == 0.882


def test_gain_and_its_main_trace_must_both_be_enough(monkeypatch):
    """1.5 for and 0.6 against are too little, and so are two figures of 0.8, neither of which tells."""
    odd = fault("odd", {"feed_path": OVER, "bus_on": (0.1 + 0.03 * math.sqrt(1.2), 0.4)})

    assert causes(monkeypatch, [odd], {"feed_path": over(1.5), "bus_on": Seen(0.1, 0.0, "")}) == []
    assert causes(monkeypatch, [odd], {"feed_path": over(2.0), "bus_on": Seen(0.1, 0.0, "")}) != []
    assert causes(monkeypatch, [BOTH], {"feed_path": over(0.8), "source": over(0.8)}) == []


def test_each_further_circuit_costs_four(monkeypatch):
    """Two circuits at once, and a bus that says 5.56: 1.3 behind a fault of every circuit, so both are named.

    Of four things that the first predicts three are known, the circuits as one: two of three.
    """
    two = fault("two", {"slot": OVER, "bus_on": (0.2, 0.4), "sag": OVER})
    every = fault("every", {"feed_path": OVER}, hints={"slots": (1.2, INF)})
    seen = {"slot_1": slot(5), "slot_2": slot(5), "bus_on": Seen(0.2, 0.0, ""), "feed_path": over(5.56 + 1.3 - 4)}

    found = causes(monkeypatch, [two, every], seen, slot_1_current="fail", slot_2_current="fail")

    assert {each.id for each in found} == {"two", "every"}
    assert len({each.fit for each in found}) == 1
    assert causes(monkeypatch, [two], seen, slot_1_current="fail")[0].fit == 0.667


def test_circuits_are_named_that_show_the_fault_and_explain_their_own_checks(monkeypatch):
    """Slot 2 draws too much; slot 3 by a hair, which says nothing; the failed checks of others are not its own."""
    overload = fault("overload", {"slot": OVER}, caution="Hot.")
    seen = {"slot_2": slot(8, "2 too much"), "slot_3": slot(0.1)}

    (found,) = causes(
        monkeypatch, [overload], seen, slot_2_current="fail", slot_3_current="fail", battery_sag="fail"
    )  # fmt: skip

    assert (found.text, found.explains) == ("text of overload: slot 2 (horn)", ["slot_2_current"])
    assert (found.evidence, found.next_test) == (["2 too much"], "look. Caution: Hot.")


@pytest.mark.parametrize(("share", "named"), [(0.785, ""), (0.776, " and slot 3"), (0.14, " and slot 3"), (-0.02, "")])
def test_circuit_must_fit_the_fault_and_be_no_good_one(share: float, named: str, monkeypatch):
    """From 0 to 0.78 is the fault's, from 0.8 on good: 0.785 fits nearly and is nearly good, -0.02 fits nothing."""
    weak = fault("weak", {"slot": (0.0, 0.78)})
    seen = {"slot_2": Seen(0.5, 0.0, "", 0.8, 1.2), "slot_3": Seen(share, 0.0, "", 0.8, 1.2)}

    (found,) = causes(monkeypatch, [weak], seen, slot_2_current="fail")

    assert found.text == f"text of weak: slot 2 (horn){named}"


def test_open_checks_are_explained_where_their_kind_may_be(monkeypatch):
    """A drop that failed and a chatter that is open are the fault's; an unseen feed while cranking never is."""
    wide = fault("wide", {"feed_path": OVER}, explains=("feed_drop", "relay_chatter", "feed_in_crank"))
    seen = {"feed_path": over(5)}
    open_one = {"feed_drop": "fail", "relay_chatter": "not proven", "battery_sag": "fail"}

    (found,) = causes(monkeypatch, [wide], seen, **open_one, feed_in_crank="not seen")
    assert found.explains == ["feed_drop", "relay_chatter"]
    (found,) = causes(monkeypatch, [wide], seen, **open_one, feed_in_crank="fail")
    assert found.explains == ["feed_drop", "relay_chatter", "feed_in_crank"]
    assert causes(monkeypatch, [wide], seen, relay_chatter="not seen", battery_sag="fail") == []


def test_one_trace_that_asks_is_enough_where_nothing_failed(monkeypatch):
    """A charge with the key off asks for its cause, though a resistance beside it does not; it must say 2."""
    charge = fault("charge", {"off_charge_a": (-INF, 0.0), "source": OVER})

    def found(gain: float) -> list[Cause]:
        seen = {"off_charge_a": Seen(-1e-5 * math.sqrt(2 * gain), 0.0, ""), "source": over(1.3)}
        return causes(monkeypatch, [charge], seen, feed_drop="not proven")

    assert [each.id for each in found(1.3)] == ["charge"]
    assert causes(monkeypatch, [ONE], {"feed_path": over(9)}, feed_drop="not proven") == []
    alone = fault("alone", {"off_charge_a": (-INF, 0.0)})
    for gain, named in ((1.9, []), (2.1, ["alone"])):
        seen = {"off_charge_a": Seen(-1e-5 * math.sqrt(2 * gain), 0.0, "")}
        assert [each.id for each in causes(monkeypatch, [alone], seen, feed_drop="pass")] == named


def test_of_alternatives_that_no_figure_shows_the_first_is_missed(monkeypatch):
    """A poor feed and, of resistance or sag, nothing seen: one of two is known."""
    either = fault("either", {"feed_path": OVER}, either={"source": OVER, "sag": OVER})

    assert [each.fit for each in causes(monkeypatch, [either], {"feed_path": over(5)})] == [0.5]


@pytest.mark.parametrize(
    ("against", "named"), [((5.9,), True), ((6.1,), False), ((4.4, 4.4), True), ((4.6, 4.6), False)]
)
def test_six_against_or_nine_together_rule_a_fault_out(against: tuple[float, ...], named: bool, monkeypatch):
    """Whatever else speaks for it: one figure at odds by 6, or several by 9 in all."""
    odds = dict(zip(("bus_on", "ground_path"), against, strict=False))
    soft, at = {"bus_on": 0.03, "ground_path": 0.005}, {"bus_on": 0.1, "ground_path": 1.0}
    predicts = {name: (at[name] + soft[name] * math.sqrt(2 * value), INF) for name, value in odds.items()}
    odd = fault("odd", {"feed_path": OVER, "source": OVER, **predicts})
    seen = {"feed_path": over(11), "source": over(11)} | {name: Seen(at[name], 0.0, "") for name in odds}

    assert bool(causes(monkeypatch, [odd], seen)) is named


@pytest.mark.parametrize(("gain", "moved"), [(1.1, ["feed"]), (1.3, ["feed", "source"])])
def test_what_a_fault_moves_as_a_consequence_is_its_own(gain: float, moved: list[str], monkeypatch):
    """From 1.2 on it is evidence, and counts as for a fault that predicts it."""
    moving = fault("moving", {"feed_path": OVER}, also=("source",))
    seen = {"feed_path": over(5, "feed"), "source": over(gain, "source")}

    (found,) = causes(monkeypatch, [moving], seen)
    assert found.evidence == moved
    both = causes(monkeypatch, [moving, BOTH], {**seen, "source": over(4)})
    assert [each.fit for each in both] == [0.5, 0.5]


def test_evidence_begins_with_what_is_wrong(monkeypatch):
    """What agrees as on any good install comes after it, though it is declared before it."""
    fed = fault("fed", {"bus_on": (-0.05, 0.4), "feed_path": OVER})

    (found,) = causes(monkeypatch, [fed], {"bus_on": Seen(0.0, 0.0, "bus"), "feed_path": over(5, "feed")})

    assert found.evidence == ["feed", "bus"]


def test_of_two_logs_the_worse_figure_counts_whichever_comes_first():
    """A good and a bad figure of one thing, in both orders; a figure of one log alone stays."""
    good, bad = {"feed_path": over(0, "good"), "sag": over(0, "sag")}, {"feed_path": over(5, "bad")}

    for logs in ((good, bad), (bad, good)):
        assert {name: seen.text for name, seen in merged(logs).items()} == {"feed_path": "bad", "sag": "sag"}


def test_a_circuits_figure_is_told_by_its_name():
    """``slot_`` and a number, nothing else."""
    assert [slot_of_quantity(name) for name in ("slot_3", "slot_12", "slot_x", "7", "trigger_on")] == [
        *(3, 12, None, None, None)
    ]


@pytest.mark.parametrize(
    ("name", "soft"),
    [("keyed_a", 1.0), ("before_off", 0.1), ("coil_held", 0.1), ("coil_kick_v", 0.15), ("run_charged", 0.02)],
)
def test_softness_of_figures_that_no_good_install_bounds(name: str, soft: float):
    """A softness beyond what a fault predicts says half a point."""
    assert misfit(name, Seen(1.0 + soft, 0.0, ""), -INF, 1.0) == pytest.approx(0.5)


def test_a_feed_before_its_trigger_asks_though_nothing_failed():
    """4 softnesses of 0.1 ms: the clips are changed over."""
    assert [each.id for each in find_causes({"feed_lead_s": Seen(4e-4, 0.0, "")}, [], {})] == ["clips_swapped"]


def test_two_faults_are_parted_by_a_test_and_one_by_none():
    """A click tells a coil from its feed; a single fault, named twice or not, needs no telling."""
    assert "a click the feed's" in parting(["coil_open", "feed_open"])
    assert parting(["coil_open", "coil_open"]) == parting(["coil_open"]) == ""
    assert parting(["coil_open", "trigger_dead", "feed_open"]).startswith(
        "this log cannot tell these apart: with the key"
    )
