"""The page Plan without a browser: the sketch, opening, saving, what follows, and the forms for foreign files."""

import os
from pathlib import Path

import pytest
from foreign_files import FILES, recorded
from page_server import NASTY, SAMPLES, texts
from test_messages_pages import DEADLY, dropped, pages

from benchlog.core.errors import BenchlogError
from benchlog.core.toml_text import tables_of
from benchlog.log.foreign.choices import Choices
from benchlog.log.log import Log
from benchlog.logger.model import load_logger
from benchlog.plan.comments import comments_of
from benchlog.plan.kept import AnotherPlan, kept_plan, kept_plans, plan_file_name, plans_folder
from benchlog.plan.model import load_plan
from dashboards.foreign.connected import choices_of
from dashboards.foreign.looking import lay_loggers, sight_of, unexplained
from dashboards.foreign.sight import SightErrand
from dashboards.foreign.words import MEANINGS, meaning_of, role_and_sign, time_words
from dashboards.planning.connected import as_answered, remade
from dashboards.planning.follows import follows, remarks_on
from dashboards.planning.form import form
from dashboards.planning.opening import open_dropped, open_filed, open_kept
from dashboards.planning.saving import save_plan, written
from dashboards.planning.sketch import Sketch, sketch_of

ANSWERS = {"install.bike": "Larch", "battery.capacity_ah": "11.2"}
TWO = {**ANSWERS, "circuit[1].device": "cool box", "circuit[1].planned_a": "45 W", "circuit[2].device": "horn"}
TWO |= {"circuit[2].planned_a": "4 A", "circuit[2].length_m": "4 ft"}
COMMENTED = """# my own plan
[install]
bike = "Lar#ch" # the red one
[battery]
chemistry = "agm"
capacity_ah = 11.2
[[circuit]]
slot = 3
device = "horn"
planned_a = 4 # measured
[limits]
crank_min_v = 9.6 # suggested: common practice, no source
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data folder of the test's own."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    return tmp_path


@pytest.mark.usefixtures("folder")
def test_a_saved_plan_is_read_back_as_it_was_answered():
    """What is saved is the plan of the answers; opened again, it has the same answers."""
    saved = save_plan(Sketch(TWO, 2), None)
    plan = load_plan(saved.path)
    again, said = open_kept("larch.plan.toml")

    assert [each.device for each in plan.circuit] == ["cool box", "horn"]
    assert plan.circuit[1].length_ft == 4
    assert len(plan.install.suggested) == 12
    assert {place: again.typed[place] for place in TWO} == TWO
    assert said == "Opened: larch.plan.toml."
    assert (again.opened, again.digest) == ("larch.plan.toml", saved.sketch.digest)


@pytest.mark.usefixtures("folder")
def test_another_plan_is_never_replaced_unasked():
    """The same text is no other plan; another one is refused, and replaced only by the digest that was shown."""
    first = save_plan(Sketch(TWO, 2), None)
    save_plan(Sketch(TWO, 2), None)
    other = Sketch({**TWO, "battery.capacity_ah": "12"}, 2)
    with pytest.raises(AnotherPlan, match=r"another plan is kept as larch\.plan\.toml already") as refused:
        save_plan(other, None)
    before = Path(first.path).read_text(encoding="utf-8")
    with pytest.raises(AnotherPlan, match="another plan"):
        save_plan(other, "a digest of something else")
    assert Path(first.path).read_text(encoding="utf-8") == before
    save_plan(other, refused.value.digest)

    assert load_plan(first.path).battery.capacity_ah == 12
    assert [each.name for each in kept_plans()] == ["larch.plan.toml"]


@pytest.mark.parametrize("bike", ["../../etc/passwd", "/", "..", NASTY, "Größe 5", "a" * 300, ".hidden", "\0"])
@pytest.mark.usefixtures("folder")
def test_no_bike_leads_out_of_the_folder(bike):
    """Whatever a bike is called, its plan lies under one plain name in benchlog's own folder."""
    name = plan_file_name(bike)

    assert name.endswith(".plan.toml")
    assert not set("/\\:\0<>") & set(name)
    assert not name.startswith(".")
    assert (plans_folder() / name).resolve().parent == plans_folder().resolve()


@pytest.mark.usefixtures("folder")
def test_a_link_is_no_kept_plan():
    """A link that lies among the plans is neither listed nor opened."""
    plans_folder().mkdir(parents=True)
    os.symlink(SAMPLES / "larch.plan.toml", plans_folder() / "larch.plan.toml")

    assert kept_plans() == []
    assert kept_plan("larch.plan.toml") is None


def test_comments_behind_keys_are_kept_where_the_value_is(folder):
    """A comment goes with its value, also when circuits move; benchlog's own are written anew, others are counted."""
    comments = comments_of(COMMENTED, tables_of(COMMENTED))
    with pages(folder) as context:
        tray = dropped(context, ("mine.plan.toml", COMMENTED.encode()))
        sketch, said = open_dropped(context, {"tray": tray})
    with_another = Sketch({**sketch.typed, "install.bike": "Fir"}, 1, behind=sketch.behind)

    assert comments.alone == 1
    assert [each[-1] for each in comments.behind] == ["the red one", "measured"]
    assert "A comment on a line of its own is not kept" in said
    assert 'bike = "Lar#ch"                 # the red one' in written(sketch)[1]
    assert "# measured" in written(sketch)[1]
    assert "the red one" not in written(with_another)[1]


def test_the_plan_of_a_sheet_is_opened(folder):
    """A sheet's own plan is edited like any other; what is no sheet is said."""
    with pages(folder) as context:
        from store_cases import save_small

        number = save_small(context.store, folder)
        sketch, said = open_filed(context, number)
        with pytest.raises(BenchlogError, match="there is no such sheet; reload this page"):
            open_filed(context, True)

    assert sketch.typed["install.bike"] == "Larch"
    assert said.startswith(f"Opened: the plan of sheet No. {number}.")


@pytest.mark.parametrize(
    "data",
    [None, 7, [], {"typed": 3}, {"typed": {}, "circuits": 99}, {"typed": {}, "circuits": True},
     {"typed": {"x": "y" * 9000}, "circuits": 1},
     {"typed": {f"k{n}": "v" for n in range(900)}, "circuits": 1, "behind": [[1], "x", 5, [1, 2, 3, 4, 5]]}],
)  # fmt: skip
def test_what_a_browser_gives_back_is_not_trusted(data):
    """Anything may stand in a browser's store: it makes a sketch, and its form, of bounded size."""
    sketch = sketch_of(data)

    assert sketch.circuits <= 12
    assert len(sketch.typed) <= 200
    assert all(len(text) <= 4000 for text in sketch.typed.values())
    assert form(sketch)


def test_circuits_come_and_go_with_their_answers():
    """A circuit that is removed takes its answers along; those behind it move up."""
    sketch = Sketch(TWO, 2)
    less = sketch.without_circuit(1)

    assert (less.circuits, less.typed["circuit[1].device"], less.typed["circuit[1].length_m"]) == (1, "horn", "4 ft")
    assert "circuit[2].device" not in less.typed
    assert less.typed["install.bike"] == "Larch"
    assert Sketch(circuits=12).with_circuit().circuits == 12


def test_buttons_make_the_form_anew(folder):
    """New, add and remove say what they did and where to go on; what nobody knows changes nothing."""
    with pages(folder) as context:
        shown = [
            remade(context, why, Sketch(TWO, 2), Sketch(ANSWERS).as_data(), None)
            for why in ("plan-begin", "plan-new", {"part": "add"}, {"part": "remove", "circuit": 2}, {"part": "x"})
        ]

    assert [one[0].typed.get("install.bike") for one in shown] == ["Larch", None, "Larch", "Larch", "Larch"]
    assert [one[1] for one in shown[:4]] == [
        "What you typed before is here again.",
        "The form is empty.",
        "Circuit 3 is added.",
        "Circuit 2 is removed.",
    ]
    assert shown[2][2] == '{"at":"circuit[3].device","part":"ask"}'
    assert shown[3][2] == '{"after":"circuits","part":"add"}'


def test_the_panel_tells_what_follows():
    """Load, what is not planned, warnings, currents and limits; before bike and battery are named, that they are."""
    more = {"feed.unfused_m": "0.5 m", "limits.crank_min_v": "-", "alternator.speed_a": "20", "alternator.bike_a": "9"}
    found = Sketch({**TWO, **more}, 2).found
    told = texts(follows(found, remarks_on(found)))
    early = texts(follows(Sketch().found, []))
    clash = Sketch({**TWO, "limits.charging_min_v": "15"}, 2).found

    assert "Planned load 7.462 A in 2 circuits" in told
    assert "Cranking minimum : “Battery while cranking at least, V”" in told
    assert "Warning: " in told
    assert "16.5\N{NO-BREAK SPACE}A needed, 9\N{NO-BREAK SPACE}A of it by the bike itself; it gives 20" in told
    assert "ABYC E-11 allows 0.18\N{NO-BREAK SPACE}m" in told
    assert "2.77 to 4\N{NO-BREAK SPACE}A" in told
    assert "suggestions that nobody has confirmed" in told
    assert "name of the bike and the capacity in ah" in early
    assert "must be at least charging_min_v (15)" in texts(follows(clash, []))


def test_nothing_on_the_page_turns_texts_into_html():
    """Names and devices stand in the form and beside it letter by letter."""
    sketch = Sketch({**TWO, "install.bike": NASTY, "circuit[1].device": NASTY}, 2)

    assert NASTY in texts(follows(sketch.found, remarks_on(sketch.found)))
    assert NASTY in str(form(sketch))


def test_answers_are_gathered_by_their_places():
    """Values and ids of the fields make the sketch; a field without a value is an empty answer."""
    ids = [[{"at": "install.bike"}, {"at": "battery.capacity_ah"}], [{"at": "relay.suppression"}], []]
    sketch = as_answered(Sketch(circuits=0).as_data(), [["Larch", None], ["diode"], []], ids)

    assert sketch.typed == {"install.bike": "Larch", "relay.suppression": "diode"}


# ---- foreign files


@pytest.mark.parametrize("name", FILES)
def test_each_foreign_file_opens_its_form(folder, name):
    """Seen as foreign, guessed, and read as it was recorded, after at most two corrections by choosing."""
    file, path = FILES[name], folder / f"{name}.csv"
    truth = recorded(file.rate_hz)
    file.write(path, truth)
    first = SightErrand(path).do(lambda *_: None)
    meanings = {int(said.split()[0]): role_and_sign(said.split()[1]) for said in file.corrections}
    choices = Choices(meanings, first.other_time if file.answers else "", "", "0.1 % + 2 digits", "0.5 % + 3 digits")

    sight = SightErrand(path, choices).do(lambda *_: None)
    beside = folder / f"{name}.logger.toml"
    beside.write_text(sight.toml, encoding="utf-8")
    with Log.open(path, load_logger(beside)) as opened:
        trace = opened.trace(-1e9, 1e9)

    assert first.foreign
    assert (first.fault, sight.fault) == ("", "")
    assert len(meanings) + len(file.answers) <= 2
    assert trace.time_s[-1] - trace.time_s[0] == pytest.approx(truth.time_s[-1], abs=1e-3)
    for role in file.roles:
        assert trace.values[role] == pytest.approx(truth.values[role], abs=6e-4)
    assert f"{trace.values['battery_v'][0]:.5g}" in sight.rows[0]


def test_a_log_that_speaks_for_itself_has_no_form(folder):
    """Role names as headers, Parquet, or no table at all open no form: the check says what there is to say."""
    log = folder / "ride.csv"
    log.write_text("time_s,battery_v\n" + "".join(f"{n},12.5\n" for n in range(9)), encoding="utf-8")
    bad = folder / "words.csv"
    bad.write_text("nothing but words\n" * 9, encoding="utf-8")

    assert not SightErrand(log).do(lambda *_: None).foreign
    assert not SightErrand(DEADLY).do(lambda *_: None).foreign
    assert not SightErrand(bad).do(lambda *_: None).toml


def test_what_cannot_be_read_so_is_told_in_the_form(folder):
    """A role twice, no role, a unit that does not suit and an unusable accuracy are each said, and make no file."""
    path = folder / "bench.csv"
    FILES["german"].write(path, recorded(1.0))

    def fault(**given: object) -> str:
        sight = SightErrand(path, Choices(**given)).do(lambda *_: None)  # type: ignore[arg-type]  # as the form gives it
        assert sight.toml == ""
        return sight.fault

    assert fault(columns={5: {"role": "battery_v"}}) == "battery_v stands twice; correct one of them"
    assert "no column has a role yet" in fault(columns={n: {"role": ""} for n in (3, 4, 5, 6)})
    assert fault(columns={4: {"role": "ground_v"}}).startswith(
        "column 4: its numbers are in A, which ground_v cannot be"
    )
    assert "per cent of the reading" in fault(volts="many")
    assert "no format" in fault(time="%q") or "%q" in fault(time="%q")


def test_the_choices_of_a_form_are_whole():
    """Meaning, sign and unit of each column, the time's form and what was typed."""
    made = choices_of([(1, "battery_a charge"), (2, "")], [(1, "mA")], "ms", {"volts": " 1 % ", "odd": "x"})

    assert made == Choices(
        {1: {"role": "battery_a", "positive": "charge", "unit": "mA"}, 2: {"role": "", "positive": "discharge"}},
        "ms",
        "",
        "1 %",
        "",
    )
    assert meaning_of("battery_a", "charge") in dict(MEANINGS)
    assert time_words("%d.%m.%Y %I:%M %p") == "day.month.year hour:minute AM/PM"


def test_a_tray_gives_its_foreign_logs_a_logger_file(folder):
    """A log with a logger file of its own name needs none; the others get theirs for the check, or are refused."""
    path = folder / "bench.csv"
    FILES["unit_row"].write(path, recorded(2.0))
    own = (b'[logger]\nname = "x"\n[[channel]]\ncolumn = 1\nrole = "battery_v"\n',)
    with pages(folder) as context:
        tray_id = dropped(context, ("bench.csv", path.read_bytes()), ("own.csv", b"1\n2\n"), ("own.logger.toml", *own))
        tray = context.trays.get(tray_id)
        (log,) = unexplained(tray)
        lay_loggers(tray, tray.of_kind("log"), lambda _: None)
        laid = sorted(each.name for each in tray.folder.glob("*.toml"))
        known = sight_of(tray, log)
        tray.chosen[log.id] = Choices({n: {"role": ""} for n in range(1, 9)})
        with pytest.raises(BenchlogError, match=r"bench\.csv: no column has a role yet"):
            lay_loggers(tray, [log], lambda _: None)
        left = sorted(each.name for each in tray.folder.glob("*.toml"))
        dropped(context, ("any.logger.toml", *own), tray=tray_id)

        assert (log.name, laid, left) == ("bench.csv", ["bench.logger.toml", "own.logger.toml"], ["own.logger.toml"])
        assert known.foreign
        assert unexplained(tray) == []
