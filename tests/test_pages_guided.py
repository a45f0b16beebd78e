"""The page Live leads a whole guided test on a phone: a stand-in, the test and the page as processes, and Chromium."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from named_port import named_port
from page_browser import serious_faults
from page_server import Serving, made_store, serving
from playwright.sync_api import Page, expect

from benchlog.bench.live import LiveState, LiveStep, running, write_live
from benchlog.bench.presses import PagePresses, press, seen_at
from benchlog.standin.hands import ask, hands_of

#: Gives ``browser`` and ``opened``.
pytest_plugins = ("page_fixtures",)

RUN = "from benchlog.__main__ import main; main()"
#: A mark comes a batch of lines late, so that a fast clock on a busy machine puts it beside its step.
SPEED, PATIENCE_S = "6", 200.0
#: Step -> what a person does to the bike there.
DEEDS = {
    "zero": "zero",
    "zero_back": "zero end",
    "key_on": "key on",
    **{f"slot_{n}_on": f"slot {n} on" for n in (1, 2, 3, 4)},
    "crank": "crank",
    "key_off": "key off",
}
#: Steps that only a press of Done completes.
BY_PRESS = ("prepare", "zero", "zero_back")


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """One server for all tests of this file."""
    with serving(made_store(tmp_path_factory.mktemp("pages") / "data")) as running_page:
        yield running_page


@contextmanager
def beside(served: Serving, folder: Path) -> Iterator[tuple[str, "subprocess.Popen[str]"]]:
    """A stand-in, and a guided test on it whose steps a person does; the port, and the test."""
    environment = {**os.environ, "BENCHLOG_DATA": str(served.data), "PYTHONPATH": str(Path(__file__).parents[1])}
    begin = [sys.executable, "-c", RUN]
    told = folder / "standin.txt"
    with told.open("w", encoding="utf-8") as out:
        stand_in = subprocess.Popen(
            [*begin, "standin", "--speed", SPEED, "--rate", "50", "--seed", "1", "--seconds", f"{PATIENCE_S:g}"],
            stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT, env=environment, cwd=folder,
        )  # fmt: skip
        try:
            port = named_port(told)
            test = subprocess.Popen(
                [*begin, "acceptance", port, "--plan", str(Path(port).with_name("plan.toml")), "--out", "a.csv",
                 "--practise"],
                stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                env=environment, cwd=folder,
            )  # fmt: skip
            try:
                yield port, test
            finally:
                test.kill()
                test.communicate()
        finally:
            stand_in.terminate()
            stand_in.wait(timeout=20)


def led(page: Page, port: str, test: "subprocess.Popen[str]") -> list[str]:
    """Lead the test to its end with the page's buttons and hands on the bike; the steps in their order."""
    hands, steps, done = hands_of(port), list[str](), set[str]()
    assert hands is not None
    until = time.monotonic() + PATIENCE_S
    while test.poll() is None and time.monotonic() < until:
        shown = page.evaluate(
            "(() => { const b = document.querySelector('[data-press]');"
            " return b && [b.dataset.step.split(' ')[1], b.innerText, document.querySelector('.say').innerText]; })()"
        )
        if shown is None:
            time.sleep(0.05)
            continue
        step, words, say = shown
        if not steps or steps[-1] != step:
            steps.append(step)
        if words in ("I have read it", "Yes"):
            page.locator("[data-press]").first.click(timeout=5000)
            expect(page.locator("[data-press]").first).not_to_have_text(words, timeout=10_000)
        elif step not in done and (step in DEEDS or step in BY_PRESS) and not say.startswith("Touch nothing"):
            done.add(step)
            if step in DEEDS:
                ask(hands, DEEDS[step])
            if step in BY_PRESS:
                page.locator("[data-press=enter]").click()
        time.sleep(0.02)
    assert test.poll() is not None, f"it stands at {steps[-1:]}: {page.locator('#live-step').inner_text()}"
    return steps


def test_a_whole_test_is_led_on_a_phone(opened, served: Serving, tmp_path: Path):
    """At 390 px every step, its caution and its buttons are there, and the test comes to its verdict by them alone."""
    with beside(served, tmp_path) as (port, test):
        page, trouble = opened("/live", 390, "light")
        expect(page.locator("[data-press]").first).to_have_text("I have read it")
        faults = serious_faults(page)
        sizes = page.locator("[data-press]").evaluate_all("all => all.map(e => e.getBoundingClientRect().height)")
        wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        steps = led(page, port, test)
        said, _ = test.communicate(timeout=30)

    assert test.returncode in (0, 3), said
    assert steps == [
        *("prepare", "zero", "zero_back", "rest", "key_on"),
        *(f"slot_{n}_on" for n in (1, 2, 3, 4)),
        *("all_on", "crank", "run", "key_off", "sleep"),
    ]
    assert "▲" not in said
    assert min(sizes) >= 72
    assert wide[0] <= wide[1]
    assert faults == []
    assert trouble == []


def state(**more: object) -> LiveState:
    """A test of this process at its third step."""
    step = LiveStep(3, 14, "zero_back", "Shunt back", "Connect the shunt.", ask=str(more.pop("ask", "")))
    return LiveState("a.csv", "/dev/x", 0.0, time.time(), step=step, pid=os.getpid(), **more)  # type: ignore[arg-type]  # fields of the state


def test_a_press_counts_only_at_what_it_was_pressed_at(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    """A press at another step, at another question, or of no such key does nothing; a right one is taken once."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    now = state(ask="is it on?")
    write_live(now)
    taker = PagePresses()

    assert press(now, "enter", "2 zero", "is it on?")
    assert press(now, "enter", seen_at(now.step), "")
    assert not press(now, "quit", seen_at(now.step), "is it on?")
    assert taker.taken(now.step) == []
    assert press(now, "yes", seen_at(now.step), "is it on?")
    assert taker.taken(now.step) == ["yes"]
    assert taker.taken(now.step) == []
    assert running()[0].pid == os.getpid()
    taker.close()
    assert not list((tmp_path / "live").glob("*.keys"))


def test_what_is_no_press_is_not_taken(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    """Half a line, other words and a press of ten minutes ago are left alone; the next whole one counts."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    now = state()
    write_live(now)
    taker = PagePresses()
    path = tmp_path / "live" / f"{os.getpid()}.keys"
    old = f'{{"word": "skip", "step": "3 zero_back", "ask": "", "at": {time.time() - 600}}}\n'
    path.write_text(f'[]\n{{"word": 1}}\n{old}nonsense\n{{"word": "ent', encoding="utf-8")

    assert taker.taken(now.step) == []
    path.write_text(path.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert press(now, "enter", seen_at(now.step), "")
    assert taker.taken(now.step) == ["enter"]
