"""The AVR logger's real image under simavr: each line is what the chips and pins gave, and every mishap is told.

Registers, steps and timing of the chips are the data sheet's, from memory, on both sides.
"""

import re
import subprocess
from pathlib import Path

import numpy as np
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
    names,
    random_scene,
    run_board,
)

from benchlog.log.log import Log
from benchlog.logger.model import load_logger

__all__ = ["built"]


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


def test_the_counter_wraps_at_thirty_two_bits(built: Built):
    """Over the wrap of the clock the stamps go on 4 ms apart, modulo 2^32, and no sample is lost."""
    symbol = re.search(r"^00(80\w{4}) b now_us", names(built.image), re.MULTILINE)
    assert symbol is not None
    nearly = (1 << 32) - 500_000
    ran = run_board(built, QUIET, 2.0, "--clock", f"0x{symbol[1]}", happenings=[(1_001_000, "clock", nearly)])
    after = [int(row[0]) for row in ran.samples][255:]

    assert min(after) < 4000 < max(after)
    assert set(np.diff(after) % (1 << 32)) == {4000}


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
