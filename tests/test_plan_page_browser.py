"""A person who knows the bike and no TOML, in a real browser: from an empty folder to a plan and a verdict."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from foreign_files import FILES, recorded
from page_browser import serious_faults
from page_server import Serving, serving
from person import DEVICES, KNOWS, MOST_TYPED, knows_of_circuit
from playwright.sync_api import Page, expect

from benchlog.plan.model import load_plan
from benchlog.verdict.registry.table import not_planned

#: Gives ``browser`` and ``opened``.
pytest_plugins = ("page_fixtures",)
OF_A_CIRCUIT = ("Device", "Load in amperes or watts", "Length of the wire, one way")


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """One server over an empty data folder."""
    with serving(tmp_path_factory.mktemp("plan") / "data") as running:
        yield running


def _typed(page: Page, answers: list[tuple[str, int, str]]) -> int:
    """Type each answer into the field of its label (the n-th of that name); gives how many were typed."""
    count = 0
    for label, nth, text in answers:
        if text:
            page.get_by_label(label, exact=True).nth(nth).fill(text)
            count += 1
    return count


def _fits(page: Page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("width", [1280, 390])
def test_person_without_toml_reaches_a_verdict(opened, served, tmp_path, width):
    """Six circuits take at most 40 typed answers; the plan has every limit, the foreign log is judged by it."""
    page, trouble = opened("/plan", width)
    bike = f"Larch {width}"
    count = _typed(page, [(label, 0, text) for label, text in {**KNOWS, "Name of the bike": bike}.items()])
    for number in range(1, len(DEVICES) + 1):
        if number > 1:
            page.get_by_role("button", name="Add a circuit").press("Enter")
            expect(page.get_by_label("Device", exact=True).nth(number - 1)).to_be_focused()
        count += _typed(page, [(label, number - 1, knows_of_circuit(number, label)) for label in OF_A_CIRCUIT])
    expect(page.locator(".follows .summary")).to_contain_text("in 6 circuits")
    expect(page.locator(".doubt").first).to_contain_text("0.4 m of wire from battery + to the feed fuse")
    assert _fits(page)
    assert serious_faults(page) == []
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("#plan-saved")).to_contain_text("Saved: ")
    plan = load_plan(served.data / "plans" / f"larch-{width}.plan.toml")

    assert count <= MOST_TYPED
    assert set(not_planned(plan)) <= {"feed_in_crank"}  # "any" is suggested: not judged
    assert [each.device for each in plan.circuit] == [each[0] for each in DEVICES]
    assert (plan.circuit[0].planned_w, plan.circuit[1].length_ft, plan.circuit[2].length_m) == (45, 4, 0.46)
    assert len(plan.install.suggested) == 12
    _check_foreign_log(page, tmp_path, bike)
    assert trouble == []


def _check_foreign_log(page: Page, folder: Path, bike: str) -> None:
    """Drop a foreign log in, take the guesses, and have it checked by the plan that was saved."""
    log = folder / "bench.csv"
    FILES["german"].write(log, recorded(2.0))
    page.get_by_role("link", name="Check a log with it").click()
    expect(page.locator("#drop-files")).to_have_count(1)
    page.locator("#drop-files").set_input_files(log)
    form = page.locator(".foreign")
    expect(form.get_by_role("table")).to_contain_text("battery_v / V")
    kept = f"saved here: {bike.lower().replace(' ', '-')}.plan.toml"
    page.get_by_role("combobox", name="Plan", exact=True).select_option(label=kept)
    form.get_by_label("Accuracy of the voltages").fill("0.1 % + 2 digits")
    form.get_by_label("Accuracy of the voltages").press("Enter")

    assert _fits(page)
    assert serious_faults(page) == []
    page.get_by_role("button", name="Check", exact=True).click()
    expect(page.locator("h1")).to_have_text(bike)
    expect(page.locator(".verdict")).to_be_visible()
    assert serious_faults(page) == []


def test_nothing_typed_is_lost_over_a_reload_and_nothing_is_replaced_unasked(opened, served):
    """A reload brings the answers back; another plan under the same name is replaced by a second word only."""
    page, trouble = opened("/plan")
    _typed(page, [("Name of the bike", 0, "Fir"), ("Capacity in Ah", 0, "6000")])
    expect(page.locator(".doubt").first).to_contain_text("was 6 Ah meant?")
    page.reload()
    expect(page.locator("#plan-said")).to_have_text("What you typed before is here again.")
    expect(page.get_by_label("Capacity in Ah")).to_have_value("6000")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("#plan-saved")).to_contain_text("Still needed, or not usable as it is: circuit 1: Device")
    page.get_by_role("button", name="Remove circuit 1").press("Enter")
    expect(page.get_by_role("button", name="Add a circuit")).to_be_focused()
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("#plan-saved")).to_contain_text("Saved: ")
    page.get_by_label("Capacity in Ah").fill("6")
    page.get_by_role("button", name="Confirm all limits").click()
    expect(page.get_by_label("Fuse block while cranking")).to_have_value("any")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("#plan-saved")).to_contain_text("Another plan is kept as fir.plan.toml already")
    path = served.data / "plans" / "fir.plan.toml"
    before = load_plan(path)
    page.get_by_role("button", name="Replace the plan that is there").click()
    expect(page.locator("#plan-saved")).to_contain_text("Saved: ")
    after = load_plan(path)

    assert (before.battery.capacity_ah, len(before.install.suggested)) == (6000, 12)
    assert (after.battery.capacity_ah, after.install.suggested) == (6, ())
    assert trouble == []


def test_a_plan_is_opened_from_a_file_or_refused_in_words(opened, tmp_path):
    """A file that is no plan is told with its faults, and the form stays; a plan fills the form."""
    page, trouble = opened("/plan", 390)
    _typed(page, [("Name of the bike", 0, "Elm")])
    bad, good = tmp_path / "bad.toml", tmp_path / "good.toml"
    bad.write_text("[install]\nbike = “Larch”\n", encoding="utf-8")
    good.write_text('[install]\nbike = "Yew"\n[battery]\nchemistry = "gel"\ncapacity_ah = 9\n', encoding="utf-8")
    page.get_by_text("Open a plan, or begin a new one").press("Enter")
    page.locator("#drop-files").set_input_files(bad)
    expect(page.locator("#plan-said")).to_contain_text("line 2: has typographic quotes")
    expect(page.get_by_label("Name of the bike")).to_have_value("Elm")
    page.locator("#drop-files").set_input_files(good)
    expect(page.locator("#plan-said")).to_contain_text("Opened: good.toml.")
    expect(page.get_by_label("Name of the bike")).to_have_value("Yew")
    expect(page.get_by_label("Kind of battery")).to_have_value("gel")
    page.get_by_role("button", name="Bring back what was there").press("Enter")
    expect(page.get_by_label("Name of the bike")).to_have_value("Elm")

    assert _fits(page)
    assert trouble == []


def test_a_failed_check_keeps_its_files(opened, tmp_path):
    """One logger file for logs that differ is refused by name, with what to do; the way back still has all files."""
    page, trouble = opened("/")
    names = ("a.csv", "b.csv", "c.csv")
    for n, name in enumerate(names):
        rows = "".join(f"{row}{',1' * n},12.5\n" for row in range(9))
        (tmp_path / name).write_text(f"t{',x' * n},U{n}\n{rows}", encoding="utf-8")
    (tmp_path / "mine.logger.toml").write_text(
        '[logger]\nname = "x"\n[time]\ncolumn = "t"\nunit = "s"\n[[channel]]\ncolumn = "U0"\nrole = "battery_v"\n'
    )
    (tmp_path / "p.toml").write_text('[install]\nbike = "Yew"\n[battery]\nchemistry = "gel"\ncapacity_ah = 9\n')
    page.locator("#drop-files").set_input_files([tmp_path / name for name in (*names, "mine.logger.toml", "p.toml")])
    expect(page.locator(".tray li")).to_have_count(5)
    page.get_by_role("button", name="Check", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("mine.logger.toml was used for all of these logs.")
    page.get_by_role("link", name="Back to these files").click()
    expect(page.locator(".tray li")).to_have_count(5)
    page.get_by_role("button", name="Take mine.logger.toml out").click()
    expect(page.locator(".foreign")).to_have_count(3)

    assert trouble == []


def test_long_advice_stays_within_a_phone(opened):
    """All bikes in a list: words of an advice that are longer than a line are broken, not cut."""
    page, _ = opened("/season", 390)
    page.evaluate(
        """() => { document.querySelector('main').innerHTML = `<table class="checks"><tbody><tr><td data-label="To do
        first"><div><span class="badge v-soon">measure again soon, since the limit is crossed by the end of next month
        </span></div></td></tr></tbody></table>`; }"""
    )

    assert _fits(page)
