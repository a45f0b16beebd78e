"""Samples at an even pace: reads every chip, stamps the time, sends lines in bunches."""

from lines import sample_line, with_checksum

HEADER = "t_us,battery_bus,battery_shunt,feed_bus,drain_shunt,trigger_bus,ground_shunt"
HEADER_EVERY = 2000  # lines; who starts to listen late learns the columns
BUNCH = 8  # lines a write: one at a time costs more than reading the chips


class Sampler:
    """Reads three monitors: battery, feed and drain, trigger and ground."""

    def __init__(self, monitors, write, ticks_us, ticks_diff, ticks_add, sleep_us, period_us):
        """Nothing is read yet.

        Args:
            monitors: three ``Monitor``; each gives its bus and its shunt.
            write: takes text.
            ticks_us, ticks_diff, ticks_add, sleep_us: of MicroPython's ``time``, or stand-ins for it.
            period_us: between samples.
        """
        self._monitors, self._write = monitors, write
        self._ticks_us, self._diff, self._add, self._sleep_us = ticks_us, ticks_diff, ticks_add, sleep_us
        self._period_us = period_us
        self._waiting = []
        self._sent = 0

    def run(self, samples=None):
        """Sample until ``samples`` are sent; for ever if None."""
        due = self._ticks_us()
        while samples is None or self._sent < samples:
            now = self._ticks_us()
            left = self._diff(due, now)
            if left > 0:
                self._sleep_us(left)
            elif left < -self._period_us:
                due = now  # too slow for this pace: the time stamps tell, and nothing is caught up
            self._one()
            due = self._add(due, self._period_us)
        self._flush()

    def _one(self):
        if self._sent % HEADER_EVERY == 0:
            self._waiting.append(with_checksum(HEADER))
        time_us = self._ticks_us()
        counts = []
        for monitor in self._monitors:
            try:
                counts.append(monitor.bus())
                counts.append(monitor.shunt())
            except OSError:
                # a chip that does not answer leaves its cells empty; the others go on
                del counts[(len(counts) // 2) * 2 :]
                counts += [None, None]
        self._waiting.append(sample_line(time_us, counts))
        self._sent += 1
        if len(self._waiting) >= BUNCH:
            self._flush()

    def _flush(self):
        if self._waiting:
            self._write("\r\n".join(self._waiting) + "\r\n")
            self._waiting = []
