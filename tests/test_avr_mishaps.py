"""The AVR logger's real image under simavr when something goes wrong: what is lost is told, and all else goes on."""

import re

import numpy as np
import polars as pl
import pytest
from avr_fixtures import QUIET, Built, built, expected, names, random_scene, run_board

__all__ = ["built"]

#: What the lines of ``QUIET`` hold of the chips.
QUIET_CELLS = ["3600", "10080", "100", "10000"]


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
    assert any("t_us 0 on: the chips' bus is free again" in note for note in ran.notes)


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


def test_a_program_that_hangs_is_started_anew(built: Built):
    """Caught in a loop, the board is reset by its watchdog within 0.3 s; cause and gap are told, and all goes on."""
    loop = re.search(r"^0000(\w{4}) [tT] __stop_program", names(built.image), re.MULTILINE)
    assert loop is not None
    ran = run_board(built, QUIET, 3.0, "--hang", f"0x{loop[1]}", happenings=[(1_000_000, "hang", 0)])
    first, second = ran.starts()

    assert ran.notes[1] == "the logger started after it had hung (watchdog)"
    assert 0 <= 249 - len(first) <= 2
    assert (3.0 - 1.0 - len(second) / 250) < 0.3
    assert all("" not in row[1:9] for row in second[1:])
