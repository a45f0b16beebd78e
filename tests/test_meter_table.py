"""A small part of the truth table of hand meters."""

import pytest
import scipy
from meter_table import METERS, RARE, WORLDS, Tally, tally_of

#: Share of all verdicts that may be false passes, and how unlikely a result is that the tests call too many.
ALLOWED, TOO_UNLIKELY = 0.002, 0.001
SESSIONS = 50


@pytest.fixture(scope="module")
def tables() -> dict[tuple[str, str], dict[str, Tally]]:
    """Meter and world -> the counts of each check."""
    return {(meter, world): tally_of(SESSIONS, 7, meter, world) for meter in METERS for world in WORLDS}


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("meter", METERS)
def test_false_passes_are_rare_however_the_meters_error_is_drawn(tables, meter, world):
    """At most 0.2 % of the verdicts are false passes, within what so few sessions can tell."""
    counted = [tally for name, tally in tables[meter, world].items() if name != RARE]
    judged, false = sum(one.judged for one in counted), sum(one.false_pass for one in counted)

    assert judged > 600
    assert scipy.stats.binom.sf(false - 1, judged, ALLOWED) > TOO_UNLIKELY


@pytest.mark.parametrize("meter", METERS)
def test_a_meter_proves_passes_and_failures_of_nearly_every_check(tables, meter):
    """The table says something: with limits around the truth each check passes and fails, but for the crank."""
    found = tables[meter, "rectangular"]
    silent = [name for name, tally in found.items() if name != RARE and not (tally.passed and tally.failed)]

    assert silent == ["crank_minimum"]
    assert found["crank_minimum"].failed
    assert not any(tally.false_fail for tally in found.values())


def test_a_meter_outside_its_limits_is_caught_by_the_table(monkeypatch):
    """Three times the stated error makes false passes that the bound finds, so the bound can fail."""
    monkeypatch.setitem(METERS, "0.5 % + 2", ((0.5, 2.0), (1.0, 3.0)))
    real = __import__("meter_table").Errors.shows

    def worse(self, true, unit):
        """As if the meter were three times as bad as its manual says."""
        stated = self.voltage, self.current
        self.voltage, self.current = (tuple(3 * each for each in pair) for pair in stated)
        shown = real(self, true, unit)[0]
        self.voltage, self.current = stated
        return shown, real(self, true, unit)[1]

    monkeypatch.setattr("meter_table.Errors.shows", worse)
    counted = tally_of(2 * SESSIONS, 7, "0.5 % + 2", "at the limits")
    judged, false = (sum(getattr(one, key) for one in counted.values()) for key in ("judged", "false_pass"))

    assert scipy.stats.binom.sf(false - 1, judged, ALLOWED) < TOO_UNLIKELY
