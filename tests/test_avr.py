"""The AVR logger's real image under simavr: each line is what the chips and pins gave, and every mishap is told.

Registers, steps and timing of the chips are the data sheet's, from memory, on both sides.
"""

import re
import subprocess
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from avr_fixtures import (
    CELLS,
    CYCLES,
    FIRMWARE,
    LOGGER,
    QUIET,
    Built,
    Ran,
    build_image,
    built,
    expected,
    random_scene,
    run_board,
)

from benchlog.log.log import Log
from benchlog.logger.model import load_logger

__all__ = ["built"]


#: What the lines of ``QUIET`` hold of the chips.
QUIET_CELLS = ["3600", "10080", "100", "10000"]


@pytest.fixture(scope="module")
def twenty_seconds(built: Built) -> Ran:
    """Voltages anywhere in and beyond every range, with noise, at the full rate."""
    return run_board(built, random_scene(np.random.default_rng(1), 20.0), 20.0, "--noise", 1)


def test_every_sample_is_what_chips_and_pins_gave(twenty_seconds: Ran):
    """Sample for sample, time and all eight readings are those that the board handed out; none is missing."""
    true = expected(twenty_seconds.truth)
    got = [row[:9] for row in twenty_seconds.samples]

    assert got == true[: len(got)]
    assert 0 <= len(true) - len(got) <= 2  # the last ones were not on the line yet
    assert len(got) >= 4995
    assert {row[9] for row in twenty_seconds.samples} == {"0"}
    assert got[0][1:5] == ["", "", "", ""]  # the first sample sets the chips up
    assert not any("" in row for row in got[1:])


def test_pace_is_held_to_five_microseconds(twenty_seconds: Ran):
    """Samples begin 4 ms apart, each within 5 us of its stamp; the last conversion ends 1.7 ms later."""
    cycles = twenty_seconds.truth["cycle"].to_numpy()
    late = cycles - cycles[0] - np.arange(len(cycles)) * CYCLES

    assert np.abs(late).max() <= 80
    assert (twenty_seconds.truth["conversions"][:-1] == 16).all()


def test_readings_are_the_voltages_at_the_pins(built: Built):
    """Without noise each count is the voltage in steps at the middle of its conversion, and ends at the range's end."""
    scene = random_scene(np.random.default_rng(2), 4.0)
    ran = run_board(built, scene, 4.0)
    truth = ran.truth[1:-1]

    for n, (name, step, least) in enumerate(
        [("shunt1", 2500, -32768), ("bus1", 1250, 0), ("shunt2", 2500, -32768), ("bus2", 1250, 0)]
    ):
        at = truth[f"{name}_us"].to_numpy()
        volts = scene[np.searchsorted(scene[:, 0], at, side="right") - 1, n + 1]
        true = np.clip(np.floor(volts / step + 0.5), least, 32767)
        begun_us = truth["cycle"].to_numpy() / 16

        assert np.array_equal(truth[name].to_numpy(), true)
        # a value is never older than the three conversions that may lie between its middle and its reading
        assert ((at > begun_us - 1800) & (at < begun_us + 600)).all()
    held = run_board(built, [[0, 0, 0, 0, 0, 0, 275, 550, 1101]], 0.1)
    assert held.samples[-1][5:9] == ["0", str(4 * 255), str(4 * 511), str(4 * 1023)]


def test_a_monitor_that_goes_leaves_its_cells_empty_and_comes_back(built: Built):
    """From the first unanswered sample on only that chip's cells are empty; it is set up anew within 0.1 s."""
    ran = run_board(built, QUIET, 3.0, happenings=[(1_000_500, "absent", 1), (2_000_500, "present", 1)])
    empty = [int(row[0]) for row in ran.samples if row[3] == "" and int(row[0]) > 4000]

    assert [row[:9] for row in ran.samples] == expected(ran.truth)[: len(ran.samples)]
    assert empty == list(range(empty[0], empty[-1] + 1, 4000))
    assert (empty[0] - 1_000_500) in range(-4000, 8000)
    assert (empty[-1] - 2_000_500) in range(0, 104_000)
    assert all(row[1] and row[2] for row in ran.samples[1:])
    assert [re.sub(r"\d{6,}", "T", note) for note in ran.notes[1:]] == [
        "from t_us T on: monitor 0x41 does not answer, its cells are empty",
        "from t_us T on: monitor 0x41 answers again",
    ]


def test_both_monitors_absent_leave_the_converter_going(built: Built):
    """Without any chip the board's own four inputs are logged all the same, and two notes say what is missing."""
    ran = run_board(built, QUIET, 1.0, happenings=[(0, "absent", 0), (0, "absent", 1)])

    assert {tuple(row[1:9]) for row in ran.samples} == {("", "", "", "", "2924", "2604", "2564", "44")}
    assert [note.partition(": ")[2] for note in ran.notes[1:]] == [
        "monitor 0x40 does not answer, its cells are empty",
        "monitor 0x41 does not answer, its cells are empty",
    ]


def test_another_chip_is_not_taken_for_the_monitor(built: Built):
    """A chip with another identity at the address leaves its cells empty, and a note says so."""
    ran = run_board(built, QUIET, 1.0, happenings=[(0, "other", 0x2270)])

    assert {tuple(row[1:3]) for row in ran.samples} == {("", "")}
    assert ran.notes[1].endswith("monitor 0x40 is another chip, its cells are empty")


def test_a_monitor_that_lost_its_settings_is_set_up_anew(built: Built):
    """One whose supply failed for a moment would convert too slowly unseen; within a second it is put right."""
    ran = run_board(built, QUIET, 3.0, happenings=[(1_200_000, "restarted", 0)])

    assert ran.notes[1] == "from t_us 2004000 on: monitor 0x40 had lost its settings, it is set up anew"
    assert len(ran.notes) == 2
    # 0.588 ms each again: a shunt reading is never older than 1.8 ms
    late = ran.truth.filter(pl.col("cycle") > 16 * 2_100_000)
    assert (late["cycle"] / 16 - late["shunt1_us"]).max() < 1800


@pytest.mark.parametrize("clocks", [1, 4, 9])
def test_a_held_bus_is_clocked_free(built: Built, clocks: int):
    """A chip that holds the data line is clocked until it lets go; no zero it left behind is taken for a reading."""
    ran = run_board(built, QUIET, 2.0, happenings=[(1_000_000, "hold", clocks)])
    empty = [row for row in ran.samples[1:] if "" in row[1:9]]

    assert 1 <= len(empty) <= 2
    assert {tuple(row[1:9]) for row in ran.samples[1:] if row not in empty} == {
        ("3600", "10080", "100", "10000", "2924", "2604", "2564", "44")
    }
    assert all(cell in ("", full) for row in empty for cell, full in zip(row[1:5], QUIET_CELLS, strict=True))
    assert [int(row[0]) for row in ran.samples] == list(range(4000, 4000 * len(ran.samples) + 1, 4000))
    assert ran.notes[1].endswith(f"the chips' bus is free again, clocked {clocks} times; cells before are empty")


def test_a_bus_that_stays_held_is_told_and_found_free_again(built: Built):
    """Held for good, the bus costs the chips' cells alone; let go, it is in use again within about a second."""
    ran = run_board(built, QUIET, 5.0, happenings=[(1_000_000, "hold", 0), (3_000_000, "let go", 0)])
    empty = [int(row[0]) for row in ran.samples[1:] if row[1] == ""]

    assert len(ran.samples) >= 1248
    assert 996_000 <= empty[0] < 1_010_000
    assert 2_996_000 <= empty[-1] < 4_100_000
    assert {row[5] for row in ran.samples} == {"2924"}
    assert [note.partition(": ")[2] for note in ran.notes[1:]] == [
        "the chips' bus is held low and cannot be clocked free, cells are empty",
        "the chips' bus is free again, clocked 0 times; cells before are empty",
    ]


def test_a_reset_in_the_middle_of_a_byte_leaves_no_dead_bus(built: Built):
    """Wherever in a transfer the processor is reset, a chip that goes on sending is clocked free and read again."""
    # a sample begins 4.674 ms after a start and every 4 ms; its transfers take 0.6 ms, and each reset holds 1 ms
    happenings, at = [], 0
    for n in range(48):
        at += 4674 + 8 * 4000 + 11 * n + (1000 if n else 0)
        happenings.append((at, "brown-out", 1))
    ran = run_board(built, QUIET, at / 1e6 + 0.1, happenings=happenings)
    starts = ran.starts()

    assert len(starts) == 49
    for rows in starts:
        assert len(rows) >= 7
        assert all("" not in row[1:9] for row in rows[1:])
    assert ran.truth["clocks"].max() > 0  # a chip did wait for clocks
    assert sum("brown-out" in note for note in ran.notes) == 48


def test_after_a_brown_out_a_new_start_is_told_and_nothing_else_is_lost(built: Built):
    """A supply that fails for 0.3 s in a crank costs that time: the cut line ends, a header and the cause follow."""
    scene = random_scene(np.random.default_rng(3), 4.0)
    ran = run_board(built, scene, 4.0, happenings=[(2_001_234, "brown-out", 300)])
    first, second = ran.starts()
    at = next(n for n, line in enumerate(ran.lines) if "brown-out" in line)

    assert ran.notes == [
        "the logger started (power on)",
        "the logger started after its supply had fallen too low (brown-out)",
    ]
    assert ran.lines[at - 1].startswith("t_us,")
    true = [expected(ran.truth.filter(pl.col("start") == n)) for n in (0, 1)]
    assert [row[:9] for row in first] == true[0][: len(first)]
    assert [row[:9] for row in second] == true[1][: len(second)]
    assert len(true[0]) - len(first) <= 2
    assert len(first) + len(second) >= 920


def test_the_counter_wraps_at_thirty_two_bits(built: Built):
    """Over the wrap of the clock the stamps go on 4 ms apart, modulo 2^32, and no sample is lost."""
    symbol = re.search(r"^00(80\w{4}) b now_us", names(built), re.MULTILINE)
    assert symbol is not None
    nearly = (1 << 32) - 500_000
    ran = run_board(built, QUIET, 2.0, "--clock", f"0x{symbol[1]}", happenings=[(1_001_000, "clock", nearly)])
    after = [int(row[0]) for row in ran.samples][255:]

    assert min(after) < 4000 < max(after)
    assert set(np.diff(after) % (1 << 32)) == {4000}


def names(built: Built) -> str:
    """The image's symbols."""
    return subprocess.run(["avr-nm", built.image], capture_output=True, text=True, check=True).stdout


def test_a_line_that_is_too_slow_drops_samples_and_counts_them(built: Built):
    """At 115,200 baud the lines do not fit: each gap in the stamps is counted in the line that follows, and noted."""
    slow = build_image(built.folder / "slow", "-DBAUD=115200UL", "-DUART_MAY_BE_TOO_SLOW")
    ran = run_board(
        built, [[0, -80_000_000, 12_600_000, -80_000_000, 12_500_000, 1000, 1000, 1000, 1000]], 8.0, image=slow
    )
    times = np.array([int(row[0]) for row in ran.samples])
    dropped = np.array([int(row[9]) for row in ran.samples])

    assert dropped[-1] > 100
    # all that is missing between two stamps is counted by the second
    assert np.array_equal(np.diff(times) // 4000 - 1, np.diff(dropped))
    told = [int(note.split()[0]) for note in ran.notes if "dropped" in note]
    assert 0 < dropped[-1] - sum(told) < 50
    assert len(told) >= 3


def test_lines_that_cannot_fit_do_not_compile(built: Built):
    """A rate whose longest lines exceed nine tenths of the line's speed is refused when the image is built."""
    with pytest.raises(AssertionError, match="the lines do not fit the baud rate"):
        build_image(built.folder / "refused", "-DRATE_HZ=500")


def test_buttons_set_marks_once_however_their_contacts_bounce(built: Built):
    """Zero and its end, a short press, and a long one for the bridged shunt: each is one mark, 20 ms late at most."""
    turns = [(1.0, "zero"), (1.2, "zero"), (2.0, "zero"), (2.1, "zero"), (2.5, "mark"), (2.7, "mark")]
    turns += [(3.0, "mark"), (4.5, "mark"), (5.0, "mark"), (5.1, "mark"), (5.5, "mark"), (7.0, "mark")]
    ran = run_board(built, QUIET, 8.0, happenings=[(int(at * 1e6), what, 0) for at, what in turns])
    marks = [(int(row[0]) / 1e6, row[10]) for row in ran.samples if row[10]]

    assert [text for _, text in marks] == ["zero", "zero end", "press 1", "shunt bridged", "press 2", "shunt free"]
    assert [at for at, _ in marks] == pytest.approx([1.012, 2.012, 2.712, 4.012, 5.112, 6.512], abs=0.015)


def test_a_spike_on_a_button_is_no_mark(built: Built):
    """An edge shorter than 16 ms, as ignition noise couples into a long wire, sets nothing."""
    ran = run_board(built, QUIET, 2.0, happenings=[(1_000_000, "zero", 0), (1_010_000, "zero", 0)])

    assert [row[10] for row in ran.samples if row[10]] == []


def test_flash_and_memory_are_as_the_notes_say(built: Built, twenty_seconds: Ran):
    """The image leaves room for the boot loader, the stack keeps half of the memory free, and the notes quote both."""
    told = subprocess.run(["avr-size", built.image], capture_output=True, text=True, check=True).stdout
    text, data, bss = (int(number) for number in told.splitlines()[1].split()[:3])
    notes = (FIRMWARE / "README.md").read_text(encoding="utf-8")
    quoted = re.search(r"([\d,]+) bytes of flash .*?([\d,]+) bytes of memory .*?stack .*?([\d,]+) bytes", notes)
    assert quoted is not None
    flash, memory, stack = (int(figure.replace(",", "")) for figure in quoted.groups())
    used = 2048 - twenty_seconds.figures["memory_untouched"] - data - bss

    assert (text + data, data + bss) == pytest.approx((flash, memory), rel=0.05)  # a compiler's next release differs
    assert used <= stack * 1.2
    assert text + data < 30_720
    assert data + bss + used < 1400


def test_source_takes_no_heap():
    """Nothing is allocated while the logger runs: no call of malloc and its relatives in any file."""
    for source in FIRMWARE.glob("*.[ch]"):
        assert not re.search(r"\b(malloc|calloc|realloc|free|alloca)\s*\(", source.read_text(encoding="utf-8")), source
    assert len(CELLS) == 8


def test_lines_in_a_file_are_a_log_as_they_are(twenty_seconds: Ran, tmp_path: Path):
    """What a memory card keeps of the stream is read by its logger file, checksums and all, sample for sample."""
    card = tmp_path / "CARD.TXT"
    card.write_text("\n".join(twenty_seconds.lines), encoding="latin-1")
    rows = twenty_seconds.samples

    with Log.open(card, load_logger(LOGGER)) as log:
        assert log.reader == "stream"
        trace = log.trace(log.start_s, log.end_s)
    assert len(trace) == len(rows)
    assert trace.time_s == pytest.approx(np.array([int(row[0]) / 1e6 for row in rows]))
    bus = np.array([float(row[2] or "nan") for row in rows])
    assert trace.values["battery_v"] == pytest.approx(bus * 1.25e-3, nan_ok=True)
    assert trace.over["battery_a"].tolist() == [row[1] in ("32767", "-32768") for row in rows]
