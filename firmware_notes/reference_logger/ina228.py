"""The INA228, a 20-bit current and voltage monitor on I2C: what this logger needs of its registers.

Register addresses, widths, steps and codes are those of the chip's data sheet, written down from memory: hold them
against the data sheet of the chip you bought before you trust a reading. MicroPython; runs under CPython as well.
"""

CONFIG = 0x00  # 16 bits: bit 15 resets, bit 4 selects the narrow shunt range
ADC_CONFIG = 0x01  # 16 bits: mode, conversion times, averages
VSHUNT = 0x04  # 24 bits: a signed 20-bit number in bits 23 to 4
VBUS = 0x05  # 24 bits: a 20-bit number in bits 23 to 4, never negative
MANUFACTURER_ID = 0x3E
DEVICE_ID = 0x3F

MANUFACTURER = 0x5449
DEVICE = 0x228  # in bits 15 to 4; the lowest four are the revision

RESET = 1 << 15
NARROW = 1 << 4
CONTINUOUS_SHUNT_AND_BUS = 0xB << 12

#: One count of VSHUNT in the wide range (to 163.84 mV) and in the narrow one (to 40.96 mV), and of VBUS.
SHUNT_UV, SHUNT_NARROW_UV, BUS_MV = 0.3125, 0.078125, 0.1953125

#: The ends of a signed 20-bit number: a reading there is over range.
LEAST, MOST = -(1 << 19), (1 << 19) - 1

#: Conversion time in us -> its code; both the shunt and the bus are converted in turn.
CONVERSION_US = {50: 0, 84: 1, 150: 2, 280: 3, 540: 4, 1052: 5, 2074: 6, 4120: 7}


class WrongChip(Exception):
    """Something else answers at this address."""


class Monitor:
    """One chip. Counts are as the chip gives them; the logger file turns them into volts and amperes."""

    def __init__(self, i2c, address, narrow=False, conversion_us=280):
        """Reset and start the chip.

        Args:
            i2c: with ``readfrom_mem_into(address, register, buffer)`` and ``writeto_mem``.
            address: 0x40 to 0x4F.
            narrow: the shunt range of 40.96 mV instead of 163.84 mV.
            conversion_us: a key of ``CONVERSION_US``.

        Raises:
            WrongChip: another chip answers.
            OSError: none answers.
        """
        self._i2c, self._address = i2c, address
        self._two, self._three = bytearray(2), bytearray(3)
        maker, device = self._read16(MANUFACTURER_ID), self._read16(DEVICE_ID)
        if maker != MANUFACTURER or device >> 4 != DEVICE:
            raise WrongChip(f"0x{address:02x}: another chip answers ({maker:04x} {device:04x})")
        self._write16(CONFIG, RESET)
        self._write16(CONFIG, NARROW if narrow else 0)
        code = CONVERSION_US[conversion_us]
        self._write16(ADC_CONFIG, CONTINUOUS_SHUNT_AND_BUS | code << 9 | code << 6 | code << 3)

    def shunt(self):
        """Counts of the shunt's voltage, signed."""
        raw = self._read24(VSHUNT) >> 4
        return raw - (1 << 20) if raw & (1 << 19) else raw

    def bus(self):
        """Counts of the voltage at VBUS."""
        return self._read24(VBUS) >> 4

    def _read16(self, register):
        self._i2c.readfrom_mem_into(self._address, register, self._two)
        return self._two[0] << 8 | self._two[1]

    def _read24(self, register):
        three = self._three
        self._i2c.readfrom_mem_into(self._address, register, three)
        return three[0] << 16 | three[1] << 8 | three[2]

    def _write16(self, register, value):
        self._i2c.writeto_mem(self._address, register, bytes((value >> 8, value & 0xFF)))
