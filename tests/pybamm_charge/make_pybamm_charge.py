"""Writes the model curves beside it; needs pybamm, which benchlog and its tests do not.

    python3 -m venv /tmp/venv_pybamm && /tmp/venv_pybamm/bin/pip install pybamm==26.10.1.1
    PYBAMM_DISABLE_TELEMETRY=true /tmp/venv_pybamm/bin/python tests/pybamm_charge/make_pybamm_charge.py

The model is pybamm's LOQS lead-acid model with its own parameters (Sulzer et al. 2019): 17 Ah, six cells,
25 degC. It knows no self-discharge. Positive current discharges.
"""

from pathlib import Path

import numpy as np
import pybamm

HERE = Path(__file__).parent
CAPACITY_AH = 17.0
CONCENTRATION = "Initial concentration in electrolyte [mol.m-3]"
FULL = 5650.0


def run(current_a: float, hours: float, points: int, share: float = 1.0) -> pybamm.Solution:
    """A constant discharge from a battery whose electrolyte has this share of its full concentration."""
    model = pybamm.lead_acid.LOQS()
    values = model.default_parameter_values
    values["Current function [A]"] = current_a
    values[CONCENTRATION] = FULL * share
    end_s = hours * 3600
    return pybamm.Simulation(model, parameter_values=values).solve([0, end_s], t_interp=np.linspace(0, end_s, points))


def volts(solution: pybamm.Solution) -> np.ndarray:
    """Across six cells."""
    return solution["Battery voltage [V]"].entries


def main() -> None:
    """Write all curves."""
    slow = run(CAPACITY_AH / 100, 94.0, 95)
    taken = slow["Time [h]"].entries * CAPACITY_AH / 100
    np.savetxt(HERE / "c100.csv", np.column_stack([taken, volts(slow)]), fmt=["%.4f", "%.4f"], delimiter=",",
               header="taken_ah,battery_v", comments="")  # fmt: skip
    rows = []
    for drain_ma, days in ((5.0, 90.0), (20.0, 25.0), (50.0, 10.0)):
        drained = run(drain_ma / 1000, days * 24, 31)
        when = drained["Time [h]"].entries / 24
        acid = drained["X-averaged electrolyte concentration [mol.m-3]"].entries
        rows.append(np.column_stack([np.full(len(when), drain_ma), when, acid, volts(drained)]))
    np.savetxt(HERE / "drains.csv", np.concatenate(rows), fmt=["%g", "%.3f", "%.2f", "%.4f"], delimiter=",",
               header="drain_ma,days,acid_mol_m3,battery_v", comments="")  # fmt: skip
    rest = [(share * 100, float(volts(run(0.0, 1.0, 3, share))[0])) for share in (1.0, 0.75, 0.5, 0.25)]
    np.savetxt(HERE / "rest.csv", rest, fmt=["%g", "%.4f"], delimiter=",",
               header="concentration_pct,battery_v", comments="")  # fmt: skip


if __name__ == "__main__":
    main()
