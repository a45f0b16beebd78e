"""A shunt that is not back from its zero yet measures nothing that counts, whatever happens to the bike meanwhile."""

from pathlib import Path

import numpy as np
import pytest
from guided_bike import Bench, Person

import benchlog
from benchlog.analysis.bridge import Bridge, aways_of, told
from benchlog.bench.guided.keys import Pressed
from benchlog.bench.guided.screen import PlainScreen
from benchlog.bench.guided.session import run_session
from benchlog.core.trace import Mark
from benchlog.plan.model import plan_from_mapping
from benchlog.standin import (
    Action,
    Script,
    SimulatedInstall,
    acceptance_script,
    fast_logger,
    plan_toml_of,
    simulate,
    write_csv,
)
from benchlog.verdict.result import Check

SETTLES_S = 60.0


def marks(*texts: tuple[float, str]) -> list[Mark]:
    """As they stand in a log."""
    return [Mark(at_s, text) for at_s, text in texts]


def test_away_lasts_from_the_end_of_a_zero_until_it_is_back():
    """Nothing more is left out at its ends: the zero stays one, and who says that it is back has put it back."""
    (away,) = aways_of(marks((5.0, "zero"), (10.0, "zero end"), (40.0, "key on"), (90.0, "shunt back")))

    assert (away.from_s, away.to_s) == (10.0, 90.0)
    assert not away.touches(5.0, 10.0)


@pytest.mark.parametrize(
    ("texts", "found"),
    [
        ([(5.0, "zero"), (10.0, "zero end")], ()),
        ([(3.0, "shunt back")], ()),
        (
            [(5.0, "zero"), (10.0, "zero end"), (30.0, "zero"), (35.0, "zero end"), (50.0, "shunt back")],
            (Bridge(10.0, 30.0, away=True), Bridge(35.0, 50.0, away=True)),
        ),
        (
            [(5.0, "zero"), (10.0, "zero end"), (20.0, "shunt back"), (60.0, "zero"), (65.0, "zero end")],
            (Bridge(10.0, 20.0, away=True),),
        ),
    ],
    ids=["never marked back", "no zero", "zero taken twice", "a later zero nobody marked back"],
)
def test_what_nobody_marks_back_counts_as_before(texts, found):
    """Only a mark that it is back tells that it was away; a zero in between stays one."""
    assert aways_of(marks(*texts)) == found


def test_words_part_a_bridge_from_a_zero():
    """A reason says which of the two it was."""
    both = [Bridge(3.0, 4.0), Bridge(10.0, 20.0, away=True), Bridge(30.0, 40.0)]

    assert told(both) == (
        "bridged from 3.0 s to 4.0 s and from 30.0 s to 40.0 s, and not back from its zero from 10.0 s to 20.0 s"
    )


def settling(tmp_path: Path, *, said: bool) -> Check:
    """Of a good bike whose key is turned while the shunt is still out of circuit after its zero."""
    early = (
        *(Action(5.0, "zero"), Action(10.0, "note", text="zero end"), Action(40.0, "key on"), Action(90.0, "key off")),
        *(Action(200.0, "zero end", mark=False), *([Action(201.0, "note", text="shunt back")] if said else [])),
    )
    late = acceptance_script(rest_s=320.0, running_s=20.0, settle_s=200.0)
    install = SimulatedInstall()
    made = simulate(install, Script(late.end_s, (*early, *late.actions)), fast_logger(20.0), np.random.default_rng(3))
    log = write_csv(made, tmp_path / f"{said}.csv")
    plan = tmp_path / "plan.toml"
    plan.write_text(plan_toml_of(install, {"settle_max_s": SETTLES_S}), encoding="utf-8")
    (check,) = [one for one in benchlog.check(log, plan=plan).checks if one.id == "settle_time"]
    return check


def test_a_key_turned_while_the_shunt_is_away_fails_no_settling(tmp_path: Path):
    """The drain that comes with the shunt is no drain that settled late; only where nobody said so does it look so."""
    known, unknown = settling(tmp_path, said=True), settling(tmp_path, said=False)

    assert unknown.verdict == "fail"
    assert known.verdict != "fail"


class Zeroing(Person):
    """Takes the zero, too, and turns the key while the shunt is still away."""

    def keys(self, bench: Bench) -> list[Pressed]:
        """Enter wherever it is waited for; the shunt is put back after a minute."""
        step = bench.step
        if step is not None and step.id == "zero_back":
            begun_s = self._seen_s.setdefault("zero_back", bench.now_s)
            if bench.now_s < begun_s + 60.0 or "zero_back" in self._entered:
                return []
            self._entered.add("zero_back")
            bench.act("zero end")
            return ["enter"]
        pressed = super().keys(bench)
        return ["enter"] if pressed == ["skip"] else pressed


def test_the_guided_test_marks_when_the_shunt_is_back(tmp_path: Path):
    """The zero's own marks stand five seconds apart; the shunt counts from the Enter after it."""
    bench = Bench(SimulatedInstall(), spec=fast_logger(50.0), limit_s=170.0, chunk_s=0.5)
    person = Zeroing({"zero": ("zero",)})
    bench.tester = person
    plan = plan_from_mapping({"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}})
    run_session(bench, plan, PlainScreen(lambda _: None), lambda: person.keys(bench), log=tmp_path / "a.csv")

    at = {text: at_s for at_s, text in bench.marks}
    assert list(at)[:3] == ["zero", "zero end", "shunt back"]
    assert at["zero end"] - at["zero"] == pytest.approx(5.0, abs=1.0)
    assert at["shunt back"] - at["zero end"] > 55.0
