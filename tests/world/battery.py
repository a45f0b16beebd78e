"""The battery: open-circuit voltage by charge, ohmic resistance, two polarisation branches, surface charge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Open-circuit volts at 0, 25, 50, 75, 100 % of charge, rested.
# flooded: widely printed table; lifepo4: a calculator page's four-cell table; agm: an owner manual's bands, their
# upper edges; gel: from memory, between flooded and agm.
OPEN_CIRCUIT_V = {
    "flooded": (11.89, 12.06, 12.24, 12.45, 12.65),
    "agm": (11.70, 12.00, 12.30, 12.60, 12.95),
    "gel": (11.80, 12.05, 12.30, 12.55, 12.85),
    "lifepo4": (10.00, 12.95, 13.20, 13.32, 13.60),
}


@dataclass
class Battery:
    """One battery as a circuit; ohms, seconds, volts, ampere-hours."""

    chemistry: str
    capacity_ah: float
    charge: float  # 0..1 at the log's first sample
    r0: float  # ohmic, to the posts
    r1: float
    tau1: float
    r2: float
    tau2: float
    surface_v: float  # left from the last charging, at the log's first sample
    surface_max_v: float
    surface_tau: float  # decay at rest
    surface_as: float  # charge that builds or clears most of the surface charge, ampere-seconds
    accept_ohm: float = 0.0  # further resistance while charging: the cells take charge less readily than they give it

    def open_circuit_v(self, charge: float) -> float:
        """Rested volts at a state of charge 0..1."""
        return float(np.interp(charge, (0.0, 0.25, 0.5, 0.75, 1.0), OPEN_CIRCUIT_V[self.chemistry]))


def draw_battery(rng: np.random.Generator, least_ah: float = 4.0) -> Battery:
    """A healthy battery of 4 to 24 Ah.

    Ohmic resistance: about 150 to 300 mΩ·Ah (a 10 Ah motorcycle battery has 12 to 30 mΩ; common practice, no source).
    Branches: r1 0.1 to 0.4 of r0 in 0.1 to 1 s, r2 0.2 to 0.7 of r0 in 8 to 60 s (from memory, as fitted to pulse
    tests). Surface charge: up to 0.7 V above rest right after charging, gone in minutes to hours (rest of 1 to 24 h
    before a voltage counts is common practice). Charging meets 0.4 to 1.5 Ω·Ah more (from memory: 5 to 20 A into a
    nearly full 10 Ah battery at 14.2 V).
    """
    kind = str(rng.choice(["flooded", "agm", "gel", "lifepo4"], p=[0.25, 0.45, 0.1, 0.2]))
    capacity = float(np.round(np.exp(rng.uniform(np.log(max(4.0, least_ah)), np.log(24.0))), 1))
    scale = 0.6 if kind == "lifepo4" else 1.0
    r0 = scale * rng.uniform(0.15, 0.30) / capacity
    surface_max = rng.uniform(0.05, 0.15) if kind == "lifepo4" else rng.uniform(0.3, 0.7)
    return Battery(
        chemistry=kind,
        capacity_ah=capacity,
        charge=rng.uniform(0.82, 0.99),
        r0=r0,
        r1=r0 * rng.uniform(0.1, 0.4),
        tau1=float(np.exp(rng.uniform(np.log(0.1), np.log(1.0)))),
        r2=r0 * rng.uniform(0.2, 0.7),
        tau2=rng.uniform(8.0, 60.0),
        surface_v=0.0,
        surface_max_v=surface_max,
        surface_tau=float(np.exp(rng.uniform(np.log(600.0), np.log(7200.0)))),
        surface_as=capacity * 3600 * rng.uniform(0.004, 0.015),
        accept_ohm=scale * rng.uniform(0.4, 1.5) / capacity,
    )
