"""The logger on an RP2040 board: runs at power-up and sends lines over USB."""

import sys
import time

from ina228 import Monitor
from machine import I2C, Pin
from sampler import Sampler

RATE_HZ = 250
BATTERY, FEED_AND_DRAIN, TRIGGER_AND_GROUND = 0x40, 0x41, 0x44


def main():
    """Start the chips, then sample for ever; a chip that is missing is told each second until it answers."""
    i2c = I2C(0, sda=Pin(4), scl=Pin(5), freq=400_000)
    while True:
        try:
            monitors = (
                Monitor(i2c, BATTERY),
                Monitor(i2c, FEED_AND_DRAIN, narrow=True),
                Monitor(i2c, TRIGGER_AND_GROUND),
            )
            break
        except Exception as problem:  # whatever it is, the tester beside the bike must read it
            sys.stdout.write(f"# note: no monitor: {problem}\r\n")
            time.sleep(1)
    period_us = 1_000_000 // RATE_HZ
    Sampler(monitors, sys.stdout.write, time.ticks_us, time.ticks_diff, time.ticks_add, time.sleep_us, period_us).run()


main()
