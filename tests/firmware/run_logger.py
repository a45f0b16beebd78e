"""Run under MicroPython: the reference logger against chips whose pins follow a table from standard input.

Standard input: ``start_us,period_us,cost_us`` and then a line a sample: six pin voltages in V (battery bus and shunt,
feed bus, drain shunt, trigger bus, ground shunt), and the address of a chip that is silent at it, or 0.
Standard output: what the logger sends.
"""

import sys

from chip import Bus, Chip, Clock
from ina228 import Monitor
from sampler import Sampler

ADDRESSES = (0x40, 0x41, 0x44)

start_us, period_us, cost_us = [int(cell) for cell in sys.stdin.readline().split(",")]
chips = {address: Chip() for address in ADDRESSES}
clock = Clock(start_us, cost_us)
monitors = [Monitor(Bus(chips), address, narrow=address == 0x41) for address in ADDRESSES]
rows = [line.split(",") for line in sys.stdin.read().split("\n") if line]


class Pins:
    """Before each sample puts the next row on the chips' pins."""

    def __init__(self):
        self.row = 0

    def sleep_us(self, us):
        clock.sleep_us(us)

    def next(self):
        cells = rows[self.row]
        self.row += 1
        for n, address in enumerate(ADDRESSES):
            chips[address].bus_v, chips[address].shunt_v = float(cells[2 * n]), float(cells[2 * n + 1])
            chips[address].answers = int(cells[6]) != address


pins = Pins()


class Stepping(Sampler):
    """The sampler, with the pins changed just before each sample."""

    def _one(self):
        pins.next()
        super()._one()


Stepping(monitors, sys.stdout.write, clock.ticks_us, clock.ticks_diff, clock.ticks_add, pins.sleep_us, period_us).run(
    len(rows)
)
