"""The search with a running logger: a test that a free clip can take is measured live on the stand-in."""

import re
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from test_standin_probe import GOOD, NOT_BEFORE, SLOTS
from typer.testing import CliRunner

from benchlog import standin
from benchlog.bench.clip import Clips
from benchlog.cli import app
from benchlog.core.errors import BenchlogError
from benchlog.find.answers import read_answers
from benchlog.find.as_json import expected
from benchlog.find.beliefs import Knowledge
from benchlog.find.hunt import Hunt, Reply
from benchlog.find.terminal import lead
from benchlog.logger.model import Logger, load_logger
from benchlog.plan.model import load_plan
from benchlog.standin.lines import LineForm
from benchlog.standin.probing.installs import install_at
from benchlog.standin.probing.meter import Probes
from benchlog.standin.probing.places import placed
from benchlog.standin.serving import Standin

FAULT = placed("open", "feed fuse", SLOTS)


@pytest.fixture(scope="module")
def knowledge(tmp_path_factory: pytest.TempPathFactory) -> Knowledge:
    """Of the stand-in's plan."""
    plan = tmp_path_factory.mktemp("plan") / "plan.toml"
    plan.write_text(standin.plan_toml_of(GOOD, NOT_BEFORE), encoding="utf-8")
    return Knowledge(load_plan(plan))


@pytest.fixture
def running() -> Iterator[Standin]:
    """A running stand-in whose feed fuse is blown, all on."""
    install = install_at(GOOD, lambda name: standin.with_fault(GOOD, name), FAULT)
    bike, over = standin.LiveBike(install, standin.live_logger(100), np.random.default_rng(1)), threading.Event()
    with Standin(bike, LineForm(), plan_toml="# a plan\n", speed=20.0) as standing:
        standing.probes = Probes(bike, GOOD, FAULT)
        for what in ("key on", "all on"):
            bike.act(what)
        thread = threading.Thread(target=lambda: list(standing.run(over.is_set)))
        thread.start()
        yield standing
        over.set()
        thread.join()


def meant(running: Standin) -> Logger:
    """What the stand-in's columns mean."""
    return load_logger(running.logger)


def test_free_clip_takes_a_test(
    tmp_path: Path, knowledge: Knowledge, running: Standin, monkeypatch: pytest.MonkeyPatch
):
    """With the feed clip moved to the fuse's far end, Enter measures it: shown beside what is expected, and kept."""
    clips = Clips(running.port, meant(running), watch_s=0.5)
    hunt, said, answers = Hunt(knowledge), [], tmp_path / "answers.toml"
    question = knowledge.questions["voltage fuse out to battery -, all on"]
    monkeypatch.setattr(Hunt, "next_question", lambda hunt: question if not hunt.replies else None)

    def typed(_: str) -> str:
        assert "Put the logger's feed clip on fuse out and press Enter to measure" in said[-1]
        running.probes.answer("clip feed fuse out", read=True)
        return ""

    lead(hunt, answers, typed, said.append, clips)
    told = "\n".join(said)

    assert "A good install shows 11" in told
    assert "Measured: " in told
    assert hunt.replies[0].value == pytest.approx(0.0, abs=0.05)
    assert read_answers(answers, knowledge.questions) == hunt.replies


def test_logger_takes_only_what_it_can(knowledge: Knowledge, running: Standin):
    """What it measures as it is clamped on, or with one clip moved; no drop between two points."""
    clips = Clips(running.port, meant(running))

    def offered(name: str) -> str:
        question = knowledge.questions[name]
        good = expected(question, knowledge.good[name])
        return clips.offers(question, float(good["max"] or 0) - float(good["min"] or 0))

    assert offered("voltage 30 to battery -, all on") == "Put the logger's feed clip on 30 and press Enter to measure"
    assert (
        offered("voltage block to battery -, all on")
        == "The logger's feed_v clip sits on block: press Enter to measure"
    )
    assert offered("voltage battery + to battery -, running").startswith(
        "The logger's battery_v clip sits on battery +:"
    )
    assert offered("drain without device 1") == "The logger has it on drain_a: press Enter to measure"
    assert offered("voltage 30 to 87, all on") == ""
    assert offered("current slot 1, all on") == ""
    assert clips.offers(knowledge.questions["drain"], 1e-6) == ""


def test_logger_without_a_file_has_no_stated_accuracy(knowledge: Knowledge, running: Standin):
    """Its columns are found by their names, and what it shows has no half-width."""
    clips = Clips(running.port, watch_s=0.5)
    question = knowledge.questions["voltage battery + to battery -, running"]
    shown = clips.take(question)

    assert shown.value == pytest.approx(12.8, abs=0.2)
    assert shown.half_width is None


def test_nothing_that_comes_is_told(knowledge: Knowledge, running: Standin, monkeypatch: pytest.MonkeyPatch):
    """A channel without a reading ends in a message, not in an answer."""
    clips = Clips(running.port, meant(running), watch_s=0.5)
    monkeypatch.setattr(clips, "_watched", lambda _: {"feed_v": np.array([np.nan])})

    with pytest.raises(BenchlogError, match=r"no reading of feed_v came within 0.5 s; look at the clip"):
        clips.take(knowledge.questions["voltage 30 to battery -, all on"])


def test_command_measures_at_the_port(tmp_path: Path, running: Standin, monkeypatch: pytest.MonkeyPatch):
    """``find --port`` on the log of a drain: Enter takes it from the stand-in, which describes its own channels."""
    monkeypatch.setattr("benchlog.bench.clip.DRAIN_S", 0.5)
    leak = install_at(GOOD, lambda name: standin.with_fault(GOOD, name), placed("leak", "device 3", SLOTS))
    made = standin.simulate(
        leak, standin.acceptance_script(rest_s=60), standin.live_logger(100), np.random.default_rng(3), NOT_BEFORE
    )
    standin.write_csv(made, tmp_path / "leak.csv")
    (tmp_path / "plan.toml").write_text(made.plan_toml, encoding="utf-8")
    words = ["find", str(tmp_path / "leak.csv"), "--plan", str(tmp_path / "plan.toml"), "--port", running.port]
    refused = CliRunner().invoke(app, words, input="\nq\n")  # with all on the small range is over
    running.bike.act("key off")
    running.probes.answer("wait 600", read=False)
    done = CliRunner().invoke(app, words, input="\nq\n")

    assert refused.exit_code == done.exit_code == 3
    assert "no reading of drain_a came" in refused.output
    assert "The logger has it on drain_a: press Enter to measure" in done.output
    assert re.search(r"Measured: [\d.]+ mA, within [\d.]+ mA", done.output)


def test_a_shown_value_counts_as_an_answer(knowledge: Knowledge):
    """An open fuse measured as 0 V at its far end and 12.7 V before it is the first suspect."""
    hunt = Hunt(knowledge)
    hunt.replies = [Reply("voltage fuse in to battery -, all on", 12.7)]
    hunt.replies += [Reply("voltage fuse out to battery -, all on", 0.0)]

    assert hunt.suspects()[0].place in ("feed fuse", "fuse out to 30", "87 to block")
