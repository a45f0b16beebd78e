"""Stand-ins for the test under MicroPython: an I2C bus with INA228 chips held at register level, and a clock.

The registers are written here apart from the driver, as a second account of the data sheet (both from memory).
"""

WIDTH = {0x00: 2, 0x01: 2, 0x02: 2, 0x03: 2, 0x04: 3, 0x05: 3, 0x06: 2, 0x07: 3, 0x08: 3, 0x3E: 2, 0x3F: 2}
READ_ONLY = (0x04, 0x05, 0x06, 0x07, 0x08, 0x3E, 0x3F)
POWER_UP = {0x00: 0x0000, 0x01: 0xFB68, 0x02: 0x1000, 0x03: 0x0000, 0x3E: 0x5449, 0x3F: 0x2281}
ENODEV = 19


class Chip:
    """One INA228 with a true shunt voltage (V) and bus voltage (V) at its pins."""

    def __init__(self):
        self.shunt_v = self.bus_v = 0.0
        self.answers = True
        self.registers = dict(POWER_UP)

    def write(self, register, data):
        if len(data) != WIDTH[register]:
            raise ValueError(f"register 0x{register:02x} takes {WIDTH[register]} bytes")
        if register in READ_ONLY:
            raise ValueError(f"register 0x{register:02x} cannot be written")
        value = 0
        for byte in data:
            value = value << 8 | byte
        if register == 0x00 and value & 0x8000:
            self.registers = dict(POWER_UP)
            return
        self.registers[register] = value

    def read(self, register):
        """The register's bytes, most significant first."""
        value = self.registers.get(register, 0)
        mode = self.registers[0x01] >> 12
        if register == 0x04:
            # bit 1 of the mode: the shunt is converted, bit 0: the bus; a chip that does not convert keeps 0
            value = self._field(self.shunt_v / self._shunt_step_v(), -524288) if mode & 0x2 else 0
        elif register == 0x05:
            value = self._field(self.bus_v / 195.3125e-6, 0) if mode & 0x1 else 0
        width = WIDTH[register]
        return bytes([(value >> 8 * (width - 1 - n)) & 0xFF for n in range(width)])

    def _shunt_step_v(self):
        return 78.125e-9 if self.registers[0x00] & 0x10 else 312.5e-9

    def _field(self, counts, least):
        whole = int(counts + 0.5) if counts >= 0 else -int(-counts + 0.5)
        whole = max(least, min(524287, whole))
        return (whole & 0xFFFFF) << 4


class Bus:
    """An I2C bus with the calls of MicroPython's ``machine.I2C`` that the logger makes."""

    def __init__(self, chips):
        self.chips = chips

    def _chip(self, address):
        chip = self.chips.get(address)
        if chip is None or not chip.answers:
            raise OSError(ENODEV)
        return chip

    def readfrom_mem_into(self, address, register, buffer):
        data = self._chip(address).read(register)
        if len(buffer) != len(data):
            raise ValueError(f"register 0x{register:02x} gives {len(data)} bytes")
        for n, byte in enumerate(data):
            buffer[n] = byte

    def writeto_mem(self, address, register, data):
        self._chip(address).write(register, data)


class Clock:
    """Time that passes only when slept, or by ``cost_us`` each time it is read; wraps as ``ticks_us`` does."""

    PERIOD = 1 << 30

    def __init__(self, start_us=0, cost_us=0):
        self.now_us, self.cost_us = start_us % self.PERIOD, cost_us

    def ticks_us(self):
        self.now_us = (self.now_us + self.cost_us) % self.PERIOD
        return self.now_us

    def ticks_diff(self, later, earlier):
        return ((later - earlier + self.PERIOD // 2) % self.PERIOD) - self.PERIOD // 2

    def ticks_add(self, ticks, by):
        return (ticks + by) % self.PERIOD

    def sleep_us(self, us):
        self.now_us = (self.now_us + us) % self.PERIOD
