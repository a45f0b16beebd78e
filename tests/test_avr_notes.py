"""The AVR logger's notes: its budgets are what benchlog's own arithmetic gives, and its wiring is the source's."""

import re
from pathlib import Path

import pytest
from test_firmware import rows_below

from benchlog.bench.listening.prospects import prospects
from benchlog.core.numbers import number
from benchlog.core.uncertainty import COVERAGE_K, Accuracy, combine, conformity, rectangular
from benchlog.logger.model import load_logger
from benchlog.plan.model import load_plan

ROOT = Path(__file__).parent.parent
AVR = ROOT / "firmware_notes" / "avr"
LOGGER = load_logger(AVR / "avr.logger.toml")
NOTES = (AVR / "README.md").read_text(encoding="utf-8")


def test_the_worked_budget_adds_up():
    """Each u is its half-width over root 3, and the sums are those of benchlog's own accuracy (JCGM 100:2008)."""
    rows = {row[0].split(":")[0]: row[1:] for row in rows_below("avr/README.md", "| part |")}
    for half, u in (cells[at : at + 2] for cells in rows.values() for at in (0, 2)):
        if half:
            assert rectangular(float(half)) == pytest.approx(float(u), rel=0.005)
    for at, role in ((1, "drain_a"), (3, "battery_a")):
        channel = LOGGER.channel_of(role)
        assert channel is not None
        stated = Accuracy(channel.gain_rel or 0.0, channel.offset_canonical or 0.0, channel.resolution_c or 0.0)
        noise = float(rows["noise of the mean (type A)"][at])
        zero = float(rows["the offset after a zero (type A of the zero, and half a step)"][at])
        after = combine(rectangular(stated.gain_rel * 840), zero, stated.resolution_u * 1e6, noise)

        assert zero >= stated.resolution_u * 1e6
        assert combine(stated.level_u(0.84e-3) * 1e6, noise) == pytest.approx(
            float(rows["together, no zero"][at]), rel=0.005
        )
        assert after == pytest.approx(float(rows["together, with a zero"][at]), rel=0.005)


def test_what_the_budget_says_of_a_milliampere_follows():
    """0.840 mA against 1 mA passes with the small shunt, zero or none, and is open with the large one."""
    rows = {row[0].split(":")[0]: row[1:] for row in rows_below("avr/README.md", "| part |")}
    u_ma = {(name, at): float(rows[name][at]) / 1000 for name in rows if name.startswith("together") for at in (1, 3)}

    verdicts = {key: conformity(0.840, u, None, 1.0) for key, u in u_ma.items()}
    assert set(verdicts.values()) == {"pass", "not proven"}
    assert all((verdict == "pass") == (at == 1) for (_, at), verdict in verdicts.items())
    for (_, _), u in u_ma.items():
        expanded = COVERAGE_K * u
        shown = f"{expanded:.3f}" if expanded < 1 else f"{expanded:.1f}"
        assert f"± {shown} mA" in NOTES


def test_table_of_what_it_can_prove_is_the_commands():
    """Limits and uncertainties of the table are those that ``ports --listen --plan`` works out for the sample plan."""
    found = {
        one.check.title[0].lower() + one.check.title[1:]: one
        for one in prospects(load_plan(ROOT / "sample_data" / "larch.plan.toml"), LOGGER, 250.0)
    }
    rows = rows_below("avr/README.md", "| to prove |")

    assert len(rows) == 12
    for title, limit, uncertainty in rows:
        one = found[title]
        assert one.can, title
        assert one.expanded is not None
        unit = one.check.kind.unit
        most = one.limit.max if one.limit.min is None else one.limit.min
        assert (limit, uncertainty) == (f"{most:g} {unit}", f"± {number(float(f'{one.expanded:.2g}'))} {unit}")


def test_columns_are_those_of_the_image():
    """The wiring table names each column that the image's header has, and each role of the logger file, once."""
    header = re.search(r"t_us,[a-z0-9_,]+", (AVR / "lines.c").read_text(encoding="utf-8"))
    assert header is not None
    wired = {row[1]: row[2] for row in rows_below("avr/README.md", "| input |")}

    assert list(header[0].split(",")) == [
        "t_us",
        "shunt1",
        "bus1",
        "shunt2",
        "bus2",
        *list(wired)[4:],
        "dropped",
        "mark",
    ]
    assert {column: role for column, role in wired.items() if role != "none"} == {
        str(channel.column): channel.role for channel in LOGGER.channel if channel.role != "mark"
    }


def test_scales_follow_from_the_parts():
    """Counts to units: 1.25 mV and 2.5 uV a step; 1,100 mV in 1,024 steps, four sums, one divider of 16."""
    scale = {channel.role: channel.scale for channel in LOGGER.channel}

    assert (scale["battery_v"], scale["battery_a"], scale["drain_a"]) == (1.25, 2.5, 2.5)
    assert scale["ground_v"] == 1100 / 1024 / 4
    assert scale["trigger_v"] == 1100 / 1024 / 4 * (150 + 10) / 10


def quoted(pattern: str) -> float:
    """A figure that the notes quote."""
    found = re.search(pattern, NOTES)
    assert found is not None, pattern
    return float(found[1])


def test_figures_of_protection_and_draw_are_ohms_law():
    """A kilovolt over 150 kOhm, 12.6 V over a divider, 100 Ohm before an input, a full shunt: as the notes say."""
    assert 6 < 1000 / 150 < quoted(r"no more than (\d+) mA")
    assert quoted(r"divider at the battery (\d+) µA") == pytest.approx(12.6 / 160e3 * 1e6, abs=0.5)
    assert quoted(r"change the reading by ([\d.]+) %") == pytest.approx(100 / 830e3 * 100, abs=0.0005)
    assert quoted(r"exceeds (\d+) A") == pytest.approx(32767 * 2.5e-6 / 0.75e-3, abs=0.5)
    assert quoted(r"every ([\d.]+) minutes") == pytest.approx((1 << 32) / 60e6, abs=0.05)
    # two ends of 4 ms, and one side at 95 %
    assert quoted(r"pull-in closer than ([\d.]+) ms") == pytest.approx(1.645 * 4 * (2 / 3) ** 0.5, abs=0.05)
