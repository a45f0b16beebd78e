"""Files that other programs wrote: guessed, corrected, read, and judged."""

import json

import numpy as np
import pytest
from foreign_files import FILES, PLAN, ForeignFile, recorded
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.core.errors import BadLog
from benchlog.log.foreign.dates import clock_format, date_format, date_kind
from benchlog.log.foreign.guess import draft_of
from benchlog.log.foreign.look import look
from benchlog.log.foreign.names import quantity_of, role_of
from benchlog.log.foreign.units import parted_header, unit_in
from benchlog.log.log import Log
from benchlog.logger.model import load_logger, logger_from_mapping

RUN = CliRunner()
ACCURACY = ("0.1 % + 2 digits", "0.5 % + 3 digits")


def described(folder, name: str, file: ForeignFile):
    """The file, and its logger file as ``benchlog logger`` wrote it with these answers."""
    log = folder / f"{name}.csv"
    file.write(log, recorded(file.rate_hz))
    typed = "\n".join((*file.corrections, "", *file.answers, *ACCURACY)) + "\n"
    ran = RUN.invoke(app, ["logger", str(log)], input=typed)
    assert ran.exit_code == 0, ran.output
    return log, folder / f"{name}.logger.toml"


@pytest.mark.parametrize(("name", "file"), FILES.items(), ids=FILES)
def test_guesses_and_two_corrections_read_what_was_recorded(tmp_path, name, file):
    """Each file gives the recorded values, in canonical units and signs, at the recorded times."""
    log, beside = described(tmp_path, name, file)
    truth = recorded(file.rate_hz)

    with Log.open(log, load_logger(beside)) as opened:
        trace = opened.trace(-1e9, 1e9)

    assert len(file.corrections) + len(file.answers) <= 2
    assert trace.time_s - trace.time_s[0] == pytest.approx(truth.time_s, abs=1e-3)
    for role in file.roles:
        assert trace.values[role] == pytest.approx(truth.values[role], abs=6e-4)


@pytest.mark.parametrize(("name", "file"), FILES.items(), ids=FILES)
def test_every_file_reaches_a_verdict(tmp_path, name, file):
    """The check judges by values, among them the bench's drain of 2.1 mA and its rest voltage."""
    log, _ = described(tmp_path, name, file)
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")

    ran = RUN.invoke(app, ["check", str(log), "--plan", str(plan), "--json", "-"])

    assert ran.exit_code in (0, 1, 3), ran.output
    checks = {check["id"]: check for check in json.loads(ran.output)["checks"]}
    assert checks["off_state_drain"]["measured"] == pytest.approx(2.1, abs=0.2)
    assert checks["resting_voltage"]["verdict"] == "pass"


def test_foreign_refusal_names_line_and_command(tmp_path):
    """A foreign file without a logger file is refused with the line of its names, and with what to run."""
    log = tmp_path / "bench.csv"
    FILES["spreadsheet"].write(log, recorded(1.0))

    with pytest.raises(BadLog, match=r"bench\.csv, line 3: no column is known.* run benchlog logger bench\.csv"):
        Log.open(log)


def test_ends_of_answers_write_nothing(tmp_path):
    """Where the answers end too soon there is one message, exit status 2, and no logger file."""
    log = tmp_path / "bench.csv"
    FILES["german"].write(log, recorded(1.0))

    ran = RUN.invoke(app, ["logger", str(log)], input="")

    assert ran.exit_code == 2
    assert "the answers ended before the last question; nothing was written" in ran.output
    assert list(tmp_path.iterdir()) == [log]


def test_unusable_corrections_are_asked_again(tmp_path):
    """An answer that cannot be used is told and asked again; a role that stands twice is not taken."""
    log = tmp_path / "bench.csv"
    FILES["two_columns"].write(log, recorded(1.0))
    typed = "nonsense\n9 feed_v\n3 furlong\n5 battery_v\n\n5 trigger_v\n\n\nmany\n\n"

    ran = RUN.invoke(app, ["logger", str(log)], input=typed)

    assert ran.exit_code == 0, ran.output
    assert ran.output.count("a column's number (1 to 6) and what it is are needed") == 2
    assert '"furlong" is no role, unit or direction' in ran.output
    assert "battery_v stands twice" in ran.output
    assert "per cent of the reading and digits of the last place are needed" in ran.output
    assert load_logger(tmp_path / "bench.logger.toml").channel_of("battery_v").gain_error_pct is None


def test_nothing_known_is_asked_for(tmp_path):
    """Columns without a telling name or value, and times without a unit: no role is no answer, nor is another unit."""
    log = tmp_path / "bare.csv"
    log.write_text("a;b\n" + "".join(f"{n * 10};{n % 2}\n" for n in range(30)), encoding="utf-8")

    ran = RUN.invoke(app, ["logger", str(log)], input="\n2 feed_v\n\nhours\nms\n\n")

    assert ran.exit_code == 0, ran.output
    assert "no column has a role yet" in ran.output
    assert "s, ms or us is needed" in ran.output
    assert load_logger(tmp_path / "bare.logger.toml").time.unit == "ms"


def test_a_rate_is_asked_where_no_column_tells_the_time(tmp_path):
    """Without a time column the samples a second are asked for, as a number above 0."""
    log = tmp_path / "rate.csv"
    log.write_text("Battery V;Battery A\n" + "12.5;1\n12.5;1\n" * 30, encoding="utf-8")

    ran = RUN.invoke(app, ["logger", str(log)], input="\nmaybe\nfast\n10\n\n\n")

    assert ran.exit_code == 0, ran.output
    assert ran.output.count("a number above 0 is needed") == 2
    assert load_logger(tmp_path / "rate.logger.toml").rate_hz == 10


def test_accuracy_is_that_of_the_manual(tmp_path):
    """0.1 % + 2 digits with three decimals is 0.1 % and 2 mV."""
    _, beside = described(tmp_path, "unit_row", FILES["unit_row"])

    volts = load_logger(beside).channel_of("battery_v")

    assert (volts.gain_error_pct, volts.offset_error, volts.resolution) == (0.1, 0.002, 0.001)


def test_a_logger_file_that_is_there_stays(tmp_path):
    """A logger file that lies there is not replaced."""
    log, beside = described(tmp_path, "utf16", FILES["utf16"])
    before = beside.read_bytes()

    ran = RUN.invoke(app, ["logger", str(log)], input="\n\n\n\n")

    assert ran.exit_code == 2
    assert "there is a logger file already" in ran.output
    assert beside.read_bytes() == before


def test_direction_that_no_value_tells_is_asked(tmp_path):
    """Where neither the voltage nor rest tells which way a current flows, the user is asked."""
    log = tmp_path / "amps.csv"
    log.write_text("time_s;I_batt (A)\n" + "".join(f"{n};{n % 3}.5\n" for n in range(60)), encoding="utf-8")
    draft = draft_of(look(log))

    ran = RUN.invoke(app, ["logger", str(log)], input="\nmaybe\nn\n\n")

    assert draft.meant[2].unsure
    assert '"y" or "n" is needed' in ran.output
    assert ran.exit_code == 0, ran.output
    assert load_logger(tmp_path / "amps.logger.toml").channel_of("battery_a").positive == "charge"


@pytest.mark.parametrize(
    ("days", "clocks", "form", "unsure"),
    [
        (["30.11.2026"], [], "%d.%m.%Y", False),
        (["3.4.2026"], [], "%d.%m.%Y", False),
        (["11/30/2026"], [], "%m/%d/%Y", False),
        (["30/11/26"], [], "%d/%m/%y", False),
        (["03/04/2026"], ["1:05 PM"], "%m/%d/%Y", True),
        (["03/04/2026"], ["13:05"], "%d/%m/%Y", True),
        (["2026/04/03"], [], "%Y/%m/%d", False),
    ],
)
def test_date_formats(days, clocks, form, unsure):
    """A date's form follows its numbers, and AM and PM; where both orders fit, it is to be asked."""
    assert date_kind(days) == "date"
    assert date_format(days, clocks) == (form, unsure)


def test_clock_formats():
    """Times of day with and without seconds, in two halves of the day or one."""
    assert clock_format(["13:05"]) == "%H:%M"
    assert clock_format(["13:05:07,25"]) == "%H:%M:%S"
    assert clock_format(["1:05:07 PM"]) == "%I:%M:%S %p"


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [
        *(("I_bat (mA)", "I_bat", "mA"), ("U [V]", "U", "V")),
        *(("Battery Volts", "Battery", "V"), ("batt_mV", "batt", "mV")),
        *(("Temp / °C", "Temp", "degC"), ("Feed", "Feed", None)),
    ],
)
def test_units_in_headers(header, name, unit):
    """A unit behind a name is found in brackets, behind a slash, a space or an underscore."""
    assert parted_header(header) == (name, unit)


@pytest.mark.parametrize(
    ("header", "role"),
    [
        ("Kl. 86 (V)", "trigger_v"),
        ("Relais 87 [V]", "feed_v"),
        ("Masse V", "ground_v"),
        ("Ruhestrom mA", "drain_a"),
        ("Slot 3 A", "slot3_a"),
        ("Fuse 2 (V)", "slot2_v"),
        ("ignition volts", "key_v"),
        ("Akku Temp °C", "battery_c"),
        ("Channel 4 V", None),
    ],
)
def test_roles_from_names(header, role):
    """English and German words, and terminals' numbers, name a role; a channel's number names none."""
    unit = parted_header(header)[1]

    assert role_of(header, quantity_of(header, unit), ()) == role


def test_unit_spellings():
    """Units are known in the spellings of meters."""
    assert [unit_in(text) for text in ("[mA]", "Volts", "µA", "VDC", "furlong")] == ["mA", "V", "uA", "V", None]


def test_midnight_is_passed(tmp_path):
    """Times of day go on behind midnight."""
    log = tmp_path / "night.csv"
    log.write_text("at,u\n23:59:58,12.6\n23:59:59,12.6\n00:00:00,12.5\n00:00:01,12.5\n", encoding="utf-8")
    night = logger_from_mapping(
        {"time": {"column": "at", "format": "%H:%M:%S"}, "channel": [{"column": "u", "role": "battery_v"}]}
    )

    with Log.open(log, night) as opened:
        trace = opened.trace(-1e9, 1e9)

    assert np.diff(trace.time_s).tolist() == [1.0, 1.0, 1.0]
