"""What a logger can show of a fault, by the second world's noise-free logs."""

import pytest
from world import draw
from world_causes import Run
from world_shown import alike, asked, clean, differ, truly_fails

#: A session with marks, two channels, circuits switched on one by one (seed looked up).
SEED = 506


def _slow(fault: str | None, marks: bool = True):
    return draw(SEED, fault=fault, grade="slow2", behaviours=(), marks=marks)


def test_a_log_does_not_differ_from_itself():
    """The same install drawn twice shows nothing; a dead feed shows in the current."""
    healthy, again, dead = _slow(None), _slow(None), _slow("feed_open")

    assert differ(healthy, clean(again), clean(healthy)) == []
    assert "battery_a" in differ(dead, clean(dead), clean(healthy))


def test_noise_does_not_decide_what_shows():
    """What the noise-free logger reads is the same whether the case was drawn with noise or without."""
    with_noise, without = _slow("feed_open"), draw(SEED, fault="feed_open", grade="slow2", behaviours=(), noise=False)

    assert differ(with_noise, clean(with_noise), clean(without)) == []


def test_two_channels_cannot_part_a_dead_feed_from_an_open_bus():
    """Neither lets a current flow; an overloaded circuit is told from both."""
    cases = {name: _slow(name) for name in ("feed_open", "ground_open", "slot_overload")}
    logs = {name: clean(case) for name, case in cases.items()}

    assert alike("feed_open", logs, cases["feed_open"]) == {"feed_open", "ground_open"}
    assert alike("slot_overload", logs, cases["slot_overload"]) == {"slot_overload"}


@pytest.mark.parametrize("marks", [False, True])
def test_dead_circuits_need_a_mark_on_two_channels(marks: bool):
    """Without a mark nobody may have switched them on; a battery with too much resistance needs none."""
    assert asked(_slow("feed_open", marks)) == marks
    assert asked(_slow("weak_battery", marks))
    assert truly_fails(_slow(None, marks)) == []


def test_a_charge_asks_where_it_truly_flows():
    """A charger whose voltage lies below the battery's gives nothing with the key off, and leaves nothing to see."""
    below, above = (draw(seed, fault="charging_while_off", grade="slow2", behaviours=()) for seed in (81009, 81007))

    assert below.truth["off_state_drain"] > 0 > above.truth["off_state_drain"]
    assert [asked(below), asked(above)] == [False, True]


@pytest.mark.parametrize(("seed", "fails"), [(91003, True), (91000, False)])
def test_unmarked_circuit_fails_where_it_fails_by_every_step(seed: int, fails: bool):
    """Of two circuits with one step the smaller fits it no better; of five another may be the dead one."""
    case = draw(seed, fault="slot_dead", grade="fast5", behaviours=(), marks=False)

    assert bool(truly_fails(case)) == fails


def test_what_is_named_wrongly_counts_though_it_was_not_asked():
    """A run of which nothing can be asked counts where something else stands first, and only there."""
    group = frozenset(("feed_open", "ground_open"))
    silent = Run("slow2", "feed_open", True, False, group, (), (), (), "")
    right = Run("slow2", "feed_open", True, False, group, ("ground_open", "feed_open"), (), (), "")
    wrong = Run("slow2", "feed_open", True, False, group, ("slot_dead",), (), (), "")
    large = Run("slow2", "feed_open", True, True, group, ("feed_open", "slot_dead"), (), (), "")

    assert [run.counts for run in (silent, right, wrong, large)] == [False, False, True, True]
    assert (right.right, wrong.kind, large.kind) == (True, "wrong", "large")
