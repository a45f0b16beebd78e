"""What the guided test sees in the stream: each question on good data, on faulty data, and where nothing was done."""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from guided_bike import Bench

from benchlog.bench.guided.history import History
from benchlog.bench.guided.sight import Look, Sight
from benchlog.bench.guided.watch import QUESTIONS, key_is_on
from benchlog.bench.guided.watch_drain import starting_up_s
from benchlog.core.trace import Trace
from benchlog.standin import LoggerSpec, SimulatedCircuit, SimulatedInstall, channel, fast_logger, with_fault


def bench_of(install: SimulatedInstall | None = None, spec: LoggerSpec | None = None) -> Bench:
    """A bike with a 50 Hz logger."""
    return Bench(install or SimulatedInstall(), spec or fast_logger(50.0), chunk_s=0.5)


def run(bench: Bench, history: History, until_s: float) -> None:
    """Let the stream go on to this time."""
    while bench.now_s < until_s:
        history.add(bench._chunk())


def keyed_off(watched_s: float) -> tuple[Bench, History, float]:
    """A bike whose key was on for 5 s, watched until ``watched_s``, and when its key was turned off, s."""
    bench, history = bench_of(), History()
    bench.act("key on")
    run(bench, history, 5.0)
    off_s = bench.act("key off")
    run(bench, history, watched_s)
    return bench, history, off_s


def answer(
    question: str,
    *did: str,
    install: SimulatedInstall | None = None,
    first: tuple[str, ...] = (),
    spec: LoggerSpec | None = None,
    after_s: float = 6.0,
    **more: float,
) -> tuple[Look, float]:
    """The answer some time after ``did``, and when that was done; ``first`` is done 6 s before the question."""
    bench, history = bench_of(install, spec), History()
    run(bench, history, 5.0)
    for text in first:
        bench.act(text)
        run(bench, history, bench.now_s + 6.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), **more)  # type: ignore[arg-type]  # numbers only
    run(bench, history, bench.now_s + 1.0)
    done_s = math.nan
    for text in did:
        done_s = bench.act(text)
        run(bench, history, bench.now_s + after_s)
    return QUESTIONS[question](sight), done_s


def steady(values: Mapping[str, float], lasts_s: float = 20.0) -> History:
    """A stream in which nothing happens."""
    history, time = History(), np.arange(0.0, lasts_s, 0.02)
    history.add(Trace(time, {role: np.full(len(time), x) for role, x in values.items()}, {}))
    return history


@pytest.mark.parametrize(
    ("question", "first", "did", "more"),
    [
        ("key_on", (), "key on", {}),
        ("slot_on", ("key on",), "slot 1 on", {"slot": 1, "planned_a": 3.5}),
        ("slot_off", ("key on", "slot 1 on"), "slot 1 off", {"slot": 1, "planned_a": 3.5}),
        ("crank", ("key on",), "crank", {}),
        ("key_off", ("key on",), "key off", {}),
        ("key_off", ("key on", "crank"), "key off", {}),
    ],
)
def test_what_was_done_is_seen_when_it_was_done(
    question: str, first: tuple[str, ...], did: str, more: dict[str, float]
):
    """On a good bike each action is seen, and placed within 0.3 s of its true time."""
    look, done_s = answer(question, did, first=first, **more)

    assert look.seen is not None
    assert look.seen.at_s == pytest.approx(done_s, abs=0.3)
    assert look.seen.odd == ""


@pytest.mark.parametrize(
    ("question", "first"),
    [
        ("key_on", ()),
        ("key_off", ("key on",)),
        ("slot_on", ("key on",)),
        ("slot_off", ("key on", "slot 1 on")),
        ("crank", ("key on",)),
        ("fuse_out", ()),
        ("fuse_in", ()),
        ("told", ()),
    ],
)
def test_nothing_is_seen_where_nothing_is_done(question: str, first: tuple[str, ...]):
    """Noise is no action, and what only the tester can tell is never seen."""
    bench, history = bench_of(), History()
    run(bench, history, 5.0)
    for text in first:
        bench.act(text)
        run(bench, history, bench.now_s + 6.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), slot=1, planned_a=3.5)
    seen = []
    for _ in range(80):
        run(bench, history, bench.now_s + 0.25)
        seen.append(QUESTIONS[question](sight).seen)

    assert seen == [None] * len(seen)


def test_key_on_without_a_rise_of_the_trigger_asks_for_its_clip():
    """The bike's own load comes on and the trigger does not: the clip on terminal 86 is asked for."""
    history = steady({"battery_a": 0.0, "trigger_v": 0.0, "feed_v": 0.0}, 5.0)
    sight = Sight(history, history.now_s, history.before(history.now_s))
    time = np.arange(5.0, 12.0, 0.02)
    history.add(Trace(time, {"battery_a": np.full(350, 4.2), "trigger_v": np.zeros(350), "feed_v": np.zeros(350)}, {}))

    seen = QUESTIONS["key_on"](sight).seen

    assert seen is not None
    assert "is its clip on terminal 86" in seen.odd


def test_key_on_with_the_trigger_always_live_is_seen_by_the_current():
    """A trigger that was up before shows no rise; the bike's current tells, and the trigger is named."""
    look, done_s = answer("key_on", "key on", install=with_fault(SimulatedInstall(), "trigger_always_live"))

    assert look.seen is not None
    assert look.seen.at_s == pytest.approx(done_s, abs=0.3)
    assert "the trigger was live before" in look.seen.odd


def test_key_on_and_off_are_seen_by_the_battery_alone():
    """With a logger of the battery's voltage alone the key is seen by the step of the bike's own load."""
    spec = LoggerSpec(50.0, (channel("battery_v"),))
    on, on_s = answer("key_on", "key on", spec=spec)
    off, off_s = answer("key_off", "key off", first=("key on",), spec=spec)

    assert on.seen is not None
    assert on.seen.at_s == pytest.approx(on_s, abs=0.3)
    assert off.seen is not None
    assert off.seen.at_s == pytest.approx(off_s, abs=1.0)


@pytest.mark.parametrize(
    ("fault", "stays"), [("backfed_coil", "the trigger and the feed"), ("welded_contact", "the feed")]
)
def test_key_off_that_leaves_a_line_up_is_seen_and_said(fault: str, stays: str):
    """Where the feed stays live after the key-off the key-off is still seen, and what stays up is named."""
    look, _ = answer("key_off", "key off", install=with_fault(SimulatedInstall(), fault), first=("key on",))

    assert look.seen is not None
    assert look.seen.odd in (f"{stays} stays up with the key off", f"{stays} stay up with the key off")


def test_a_slot_far_off_its_plan_is_taken_once_it_stands_and_said():
    """Half as much again as planned is no reason to wait for ever: it is taken, with both figures."""
    circuits = tuple(replace(one, actual_a=6.0) if one.slot == 1 else one for one in SimulatedInstall().circuits)
    look, _ = answer(
        "slot_on",
        "slot 1 on",
        install=SimulatedInstall(circuits=circuits),
        first=("key on",),
        slot=1,
        planned_a=3.5,
    )

    assert look.seen is not None
    assert look.seen.odd == "3.5 A is planned"
    assert look.seen.value == pytest.approx(6.0, abs=0.1)


def test_a_slot_is_seen_by_its_own_channel_whatever_else_comes_on():
    """Where the slot's own current is logged, another load's step is not taken for it."""
    spec = LoggerSpec(50.0, tuple(channel(role) for role in ("battery_v", "battery_a", "feed_v", "slot1_a", "slot2_a")))
    other, _ = answer("slot_on", "slot 2 on", first=("key on",), spec=spec, slot=1, planned_a=3.5)
    own, _ = answer("slot_on", "slot 1 on", first=("key on",), spec=spec, slot=1, planned_a=3.5)

    assert other.seen is None
    assert own.seen is not None
    assert own.seen.by.startswith("its own current")


def test_a_dead_slot_and_a_dead_feed_are_not_seen():
    """No step of current, no slot."""
    dead = replace(SimulatedInstall(), circuits=(SimulatedCircuit(1, "lamp", 3.5, 5, 0.0),))
    slot, _ = answer("slot_on", "slot 1 on", install=dead, first=("key on",), slot=1, planned_a=3.5)
    feed, _ = answer(
        "slot_on",
        "slot 1 on",
        install=with_fault(SimulatedInstall(), "coil_open"),
        first=("key on",),
        slot=1,
        planned_a=3.5,
    )

    assert slot.seen is None
    assert feed.seen is None


def test_a_crank_beyond_the_range_of_the_logger_is_seen_and_said():
    """A starter's current over the channel's full scale is still a crank, and the shunt's bypass is asked for."""
    spec = fast_logger(50.0).changed("battery_a", full_scale=30.0)
    look, _ = answer("crank", "crank", first=("key on",), spec=spec)

    assert look.seen is not None
    assert "beyond the logger's range; bypass the shunt" in look.seen.odd


def test_a_crank_lasts_until_the_starter_lets_go():
    """While the starter turns the step goes on, so that the tester holds it."""
    look, _ = answer("crank", "crank", first=("key on",), after_s=0.75)

    assert look.seen is None
    assert "hold it until the engine fires" in look.waiting


@pytest.mark.parametrize("fault", [None, "load_exceeds_charging", "no_charge"])
def test_the_engine_is_seen_by_what_its_alternator_gives(fault: str | None):
    """A raised voltage or a share of the load shows the engine; without an alternator nothing does."""
    install = SimulatedInstall() if fault is None else with_fault(SimulatedInstall(), fault)
    bench, history = bench_of(install), History()
    for text in ("key on", "slot 1 on", "slot 2 on"):
        run(bench, history, bench.now_s + 4.0)
        bench.act(text)
    run(bench, history, bench.now_s + 4.0)
    before = history.before(history.now_s)
    bench.act("crank")
    run(bench, history, bench.now_s + 3.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), before_crank=before)
    run(bench, history, bench.now_s + 6.0)

    assert (QUESTIONS["engine_on"](sight).seen is None) == (fault == "no_charge")


def test_rest_counts_down_and_then_stands():
    """The rest is done after its time, and says how long is still needed before."""
    bench, history = bench_of(), History()
    run(bench, history, 2.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), need_s=20.0)
    run(bench, history, 12.0)
    early = QUESTIONS["rested"](sight)
    run(bench, history, 25.0)
    late = QUESTIONS["rested"](sight)

    assert early.seen is None
    assert early.waiting == "10 s of rest still needed"
    assert late.seen is not None
    assert late.seen.odd == ""


def test_rest_with_the_feed_live_is_taken_but_said():
    """A feed that is up at rest does not stop the test: it is named and the test goes on."""
    bench, history = bench_of(with_fault(SimulatedInstall(), "inverted_contact")), History()
    run(bench, history, 2.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), need_s=5.0)
    run(bench, history, 15.0)
    seen = QUESTIONS["rested"](sight).seen

    assert seen is not None
    assert seen.odd == "the feed is up with the key off: is the key off?"


def test_rest_waits_for_a_current_that_still_falls():
    """A bike that is not asleep yet is not at rest."""
    bench, history, off_s = keyed_off(34.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), need_s=8.0)
    run(bench, history, off_s + 41.0 + 3.0)

    look = QUESTIONS["rested"](sight)

    assert look.seen is None
    assert "not asleep yet" in look.waiting


def test_sleep_lasts_until_the_drain_has_been_settled_for_long_enough():
    """Settling ends 41 s after the key-off of this bike; the needed stretch counts from there, and is counted down."""
    bench, history, off_s = keyed_off(6.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), need_s=40.0, key_off_s=off_s, limit_ma=1.0)
    run(bench, history, off_s + 41.0 + 20.0)
    early = QUESTIONS["asleep"](sight)
    run(bench, history, off_s + 41.0 + 42.0)
    late = QUESTIONS["asleep"](sight)

    assert early.seen is None
    assert "20 s still needed" in early.waiting
    assert late.seen is not None
    assert late.seen.odd == ""
    # the stand-in's true drain is 0.6 mA
    assert late.seen.value == pytest.approx(0.0006, abs=0.00003)


@pytest.mark.parametrize(
    ("fault", "said"), [("unswitched_device", "the plan allows 1 mA"), ("waking_device", "wakes about every 60 s")]
)
def test_a_drain_above_the_limit_is_said(fault: str, said: str):
    """A drain that the plan does not allow is named, and wake-ups with how often they come."""
    bench, history = bench_of(with_fault(SimulatedInstall(), fault)), History()
    run(bench, history, 2.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), need_s=140.0, key_off_s=0.0, limit_ma=1.0)
    run(bench, history, 165.0)
    seen = QUESTIONS["asleep"](sight).seen

    assert seen is not None
    assert said in seen.odd


@pytest.mark.parametrize(("slot", "falls"), [(1, False), (4, True)])
def test_a_pulled_fuse_is_seen_by_the_fall_of_the_drain(slot: int, falls: bool):
    """The fuse of the circuit that draws 18 mA with the key off shows; that of one that draws nothing does not."""
    bench, history = bench_of(replace(SimulatedInstall(), extra_drain_a=0.018, extra_drain_slot=4)), History()
    run(bench, history, 10.0)
    out = Sight(history, history.now_s, history.before(history.now_s), slot=slot)
    bench.act(f"fuse {slot} out")
    run(bench, history, bench.now_s + 5.0)
    pulled = QUESTIONS["fuse_out"](out).seen
    fallen_a = math.nan if pulled is None else pulled.value
    back = Sight(history, history.now_s, history.before(history.now_s), slot=slot, fallen_a=fallen_a)
    bench.act(f"fuse {slot} in")
    run(bench, history, bench.now_s + 5.0)
    put_in = QUESTIONS["fuse_in"](back).seen

    assert (pulled is not None) == falls
    assert (put_in is not None) == falls
    if pulled is not None:
        assert pulled.value == pytest.approx(0.018, abs=0.0005)


def test_the_end_of_a_wake_up_is_no_fuse():
    """A drain that falls back after a wake-up has not fallen because of a fuse."""
    bench, history = bench_of(with_fault(SimulatedInstall(), "waking_device")), History()
    run(bench, history, 12.0)  # a wake-up lasts from 11.3 s to 13.3 s
    sight = Sight(history, history.now_s, history.before(history.now_s), slot=1)
    run(bench, history, 20.0)

    assert QUESTIONS["fuse_out"](sight).seen is None


def test_the_key_is_read_from_the_first_line_there_is():
    """With a line the line tells, without one the current does."""
    assert key_is_on(steady({"trigger_v": 12.4, "battery_a": 0.0}))
    assert not key_is_on(steady({"trigger_v": 0.0, "battery_a": 4.0}))
    assert key_is_on(steady({"battery_a": 4.0}))
    assert not key_is_on(steady({"battery_a": 0.001}))


def test_points_are_means_of_a_tenth_of_a_second_however_the_stream_is_cut():
    """The points do not depend on how the samples came in batches."""
    time = np.arange(0.0, 3.0, 0.004)
    x = np.sin(time)
    whole, pieces = History(), History()
    whole.add(Trace(time, {"battery_v": x}, {}))
    for part in np.array_split(np.arange(len(time)), 17):
        pieces.add(Trace(time[part], {"battery_v": x[part]}, {}))
    t, mean = whole.points("battery_v", 0.0)

    assert np.array_equal(t, pieces.points("battery_v", 0.0)[0])
    assert np.allclose(mean, pieces.points("battery_v", 0.0)[1], rtol=0, atol=1e-12)
    assert mean[3] == pytest.approx(x[75:100].mean(), abs=1e-12)


def test_a_clock_that_starts_again_makes_a_new_history():
    """A logger that was switched off and on again counts from zero: what was before is not mixed with it."""
    history = steady({"battery_v": 12.6})
    time = np.arange(0.0, 2.0, 0.02)
    again = history.add(Trace(time, {"battery_v": np.full(len(time), 12.4)}, {}))

    assert again
    assert history.level("battery_v", -math.inf) == pytest.approx(12.4)


def starts_up(lasts_s: float) -> History:
    """A drain whose device gets its fuse back at 5 s and draws its starting current for 12 s."""
    history, time = History(), np.arange(0.0, lasts_s, 0.02)
    amps = np.where(time < 5.0, 0.001, np.where(time < 17.0, 3.0 - (time - 5.0) / 6.0, 0.5))
    history.add(Trace(time, {"battery_a": amps}, {}))
    return history


def test_the_next_fuse_waits_for_what_starts_up():
    """After a fuse is back its device is left alone until its current is calm, and no longer than a minute."""
    waits_s = [starting_up_s(starts_up(lasts_s), 5.0) for lasts_s in (14.0, 30.0)]
    never, time = History(), np.arange(0.0, 70.0, 0.02)
    never.add(Trace(time, {"battery_a": np.where(time % 2.0 < 1.0, 1.0, 5.0)}, {}))

    assert waits_s[0] > 0
    assert waits_s[1] == 0.0
    assert starting_up_s(never, 12.0) > 0
    assert starting_up_s(never, 5.0) == 0.0


def test_a_fuse_that_took_nothing_away_asks_for_enter():
    """Where no fall was seen, no return can be: the tester is asked."""
    look, _ = answer("fuse_in", "fuse 1 in", first=("fuse 1 out",), slot=1)

    assert look.seen is None
    assert look.waiting == "Enter when the fuse is back in"
