"""Checksums at the ends of lines: worked out for all lines of a block at once.

``*HH`` is the checksum of NMEA 0183: the exclusive or of all characters between an optional leading ``$`` and the
``*``, as two hex digits. ``*HHHH`` is the CRC-16/CCITT-FALSE of the same characters: polynomial 0x1021, start value
0xFFFF, nothing reflected, nothing added; "123456789" gives 29B1.

``binascii.crc_hqx`` has this polynomial, one line a call. Over all lines of a block the tables below take 0.06 s of CPU
for 300,000 lines of 48 characters, a call for each line 0.11 s, which recording has not got: with CRC it then takes 2.1
to 3.5 times the CPU of a bare copy and parse, where the tables take 2.2 to 2.5 times on the same busy machine (three
runs in turn of ``tests/benchmarks/record_speed.py --form csv``; the target is 2).
"""

import binascii
import functools

import numpy as np
import numpy.typing as npt

from benchlog.log.readers.raw import Flags, Ints

Octets = npt.NDArray[np.uint8]

#: Kind -> hex digits after the ``*``.
DIGITS = {"xor": 2, "crc": 4}
_STAR, _DOLLAR = ord("*"), ord("$")
_LONGEST = 1024  # characters that the CRC's table covers; a longer line is worked out by itself
_NO_DIGIT = 255


def checksum_of(kind: str, body: bytes) -> int:
    """The checksum of one line's characters, without ``$`` and without ``*`` and what follows.

    Args:
        kind: "xor" or "crc".
        body: the characters.
    """
    if kind == "crc":
        return binascii.crc_hqx(body, 0xFFFF)
    return functools.reduce(lambda value, character: value ^ character, body, 0)


def kind_of(line: bytes) -> str | None:
    """Which kind of checksum a line ends with, right or wrong; None where it has none."""
    for kind, digits in DIGITS.items():
        tail = line[-digits - 1 :]
        if len(line) > digits and tail[:1] == b"*" and all(chr(byte) in "0123456789abcdefABCDEF" for byte in tail[1:]):
            return kind
    return None


def body_of(line: bytes, kind: str) -> tuple[bytes, bool]:
    """A line's characters without ``$`` and checksum, and whether the checksum is right."""
    body, given = line[: -DIGITS[kind] - 1].removeprefix(b"$"), line[-DIGITS[kind] :]
    return body, checksum_of(kind, body) == int(given, 16)


def right(kind: str, octets: Octets, starts: Ints, ends: Ints) -> tuple[Flags, Flags]:
    """Which lines of a block end with a checksum, and with the right one.

    Args:
        kind: "xor" or "crc".
        octets: the block.
        starts, ends: each line's first character and the place of its line end.

    Returns:
        (there, right): one flag a line each.
    """
    digits = DIGITS[kind]
    there = ends - starts > digits
    star = np.where(there, ends - digits - 1, starts)
    there &= octets[star] == _STAR
    given = np.zeros(len(ends), dtype=np.int64)
    for n in range(digits):
        value = _HEX[octets[np.where(there, star + 1 + n, starts)]]
        there &= value != _NO_DIGIT
        given = given * 16 + value
    first = starts + (octets[starts] == _DOLLAR)
    worked_out = _xor if kind == "xor" else _crc
    return there, there & (worked_out(octets, first, np.maximum(np.where(there, star, ends), first)) == given)


def _hex_table() -> Octets:
    table = np.full(256, _NO_DIGIT, dtype=np.uint8)
    for n, (small, great) in enumerate(zip("0123456789abcdef", "0123456789ABCDEF", strict=True)):
        table[ord(small)] = table[ord(great)] = n
    return table


_HEX = _hex_table()


def _xor(octets: Octets, first: Ints, end: Ints) -> Ints:
    """Exclusive or of each ``octets[first:end]``."""
    values = np.bitwise_xor.reduceat(octets, np.minimum(first, len(octets) - 1)).astype(np.int64)
    # each stretch ran on to the next line's first character: what follows its end is taken out again
    for n in range(int((np.append(first[1:], len(octets)) - end).max(initial=0))):
        at = end + n
        beyond = at < np.append(first[1:], len(octets))
        values ^= np.where(beyond, octets[np.minimum(at, len(octets) - 1)], 0)
    return values


def _crc(octets: Octets, first: Ints, end: Ints) -> Ints:
    """CRC of each ``octets[first:end]``: it is linear, so each character adds what its place from the end gives it."""
    lengths = end - first
    if int(lengths.max(initial=0)) >= _LONGEST:
        spans = zip(first.tolist(), end.tolist(), strict=True)
        return np.array([binascii.crc_hqx(octets[a:b].tobytes(), 0xFFFF) for a, b in spans], dtype=np.int64)
    width = max(int(lengths.max(initial=0)), 1)
    width += width % 2
    # all lines to the right of one table; zeros before a line add nothing
    lead = np.zeros(len(octets) + width, dtype=np.uint8)
    lead[width:] = octets
    lines = np.lib.stride_tricks.sliding_window_view(lead, width)[end]
    empty = width - lengths
    most = int(empty.max(initial=0))
    lines[:, :most][np.arange(most) < empty[:, None]] = 0
    values: npt.NDArray[np.uint16] = _crc_tables()[1][lengths]
    pairs = np.ascontiguousarray(lines.view("<u2").T)
    for n, pair in enumerate(pairs):
        values ^= _crc_of_pairs(len(pairs) - 1 - n).take(pair)
    return np.asarray(values, dtype=np.int64)


@functools.cache
def _crc_of_pairs(place: int) -> npt.NDArray[np.uint16]:
    """What two neighbouring characters add, by their place from the end: half as many look-ups as for single ones."""
    by_place = _crc_tables()[0]
    first, second = by_place[2 * place + 1], by_place[2 * place]
    table: npt.NDArray[np.uint16] = (second[:, None] ^ first).ravel()
    return table


@functools.cache
def _crc_tables() -> tuple[npt.NDArray[np.uint16], npt.NDArray[np.uint16]]:
    """(what a character adds, by its place from the end; what the start value adds, by the length)."""
    one = np.array([binascii.crc_hqx(bytes([n]), 0) for n in range(256)], dtype=np.uint16)
    by_place = np.empty((_LONGEST, 256), dtype=np.uint16)
    by_place[0] = one
    for n in range(1, _LONGEST):
        before = by_place[n - 1]
        by_place[n] = (before << 8) ^ one[before >> 8]
    by_length = np.empty(_LONGEST, dtype=np.uint16)
    by_length[0] = 0xFFFF
    for n in range(1, _LONGEST):
        before_one = int(by_length[n - 1])
        by_length[n] = ((before_one << 8) & 0xFFFF) ^ int(one[before_one >> 8])
    return by_place, by_length
