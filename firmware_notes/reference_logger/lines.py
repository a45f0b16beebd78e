"""Lines as benchlog reads them: cells with commas, then ``*`` and the XOR of all characters before it in hex."""


def with_checksum(text):
    """``text`` with ``*HH``: the 8-bit XOR of its characters, two upper-case hex digits (as in NMEA 0183)."""
    total = 0
    for code in text.encode():
        total ^= code
    return f"{text}*{total:02X}"


def sample_line(time_us, counts):
    """One sample; a count that could not be read is None and leaves its cell empty."""
    cells = [str(time_us)]
    for count in counts:
        cells.append("" if count is None else str(count))
    return with_checksum(",".join(cells))
