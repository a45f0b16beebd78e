"""What is taken out of a block of lines before its cells are read: each step on the whole block at once."""

from collections.abc import Callable

import numpy as np

from benchlog.log.readers.lines.block import Block
from benchlog.log.readers.lines.checksum import DIGITS, right
from benchlog.log.readers.raw import Flags

_TAB, _LINE_END, _SPACE, _DOLLAR, _LAST_ASCII = 9, 10, 32, ord("$"), 126


def cut(data: bytes) -> tuple[bytes, bytes]:
    """Whole lines, and the line without an end."""
    end = end_of_whole(data)
    return data[:end], data[end:]


def end_of_whole(data: bytes) -> int:
    """Where the last whole line ends; 0 where none is whole."""
    return max(data.rfind(b"\n"), data.rfind(b"\r")) + 1


def line_ends(data: bytes) -> bytes:
    """The same with a line feed alone at each line's end."""
    return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in data else data


def single_spaces(data: bytes) -> bytes:
    """Lines whose cells have one space between them and none at the ends."""
    data = data.replace(b"\t", b" ")
    while b"  " in data:
        data = data.replace(b"  ", b" ")
    return data.removeprefix(b" ").replace(b"\n ", b"\n").replace(b" \n", b"\n")


def odd_lines(block: Block, is_header: Callable[[bytes], bool]) -> Flags | None:
    """Lines with bytes that no text has: control characters, or what is no UTF-8 and no header either."""
    bad: Flags | None = None
    odd = (block.octets < _SPACE) & (block.octets != _TAB)
    if int(np.count_nonzero(odd)) > len(block):
        bad = np.zeros(len(block), dtype=bool)
        bad[block.lines_at(np.flatnonzero(odd & (block.octets != _LINE_END)))] = True
    if block.data.isascii():
        return bad
    bad = np.zeros(len(block), dtype=bool) if bad is None else bad
    for n in np.unique(block.lines_at(np.flatnonzero(block.octets > _LAST_ASCII))).tolist():
        line = block.line(n)
        try:
            line.decode()
        except UnicodeDecodeError:
            bad[n] |= not is_header(line)
    return bad


def checked(block: Block, kind: str) -> tuple[Block, int, int]:
    """Lines with the right checksum, without it and without a leading ``$``.

    Returns:
        (lines, how many had no checksum, how many had a wrong one).
    """
    there, good = right(kind, block.octets, block.starts, block.ends)
    counts = int((~there).sum()), int((there & ~good).sum())
    block = block.only(good)
    if not len(block):
        return block, *counts
    keep = np.ones(len(block.octets), dtype=bool)
    for n in range(1, DIGITS[kind] + 2):
        keep[block.ends - n] = False
    starts = block.starts
    keep[starts[block.octets[starts] == _DOLLAR]] = False
    return Block.of(block.octets[keep].tobytes()), *counts


def of_width(data: bytes, separator: str, width: int) -> tuple[bytes, int, int]:
    """Lines with just so many cells.

    Returns:
        (lines, how many had fewer, how many had more).
    """
    block = Block.of(data)
    places = np.flatnonzero(block.octets == ord(separator))
    counts = np.bincount(block.lines_at(places), minlength=len(block)) + 1
    few, many = counts < width, counts > width
    return block.only(~(few | many)).data, int(few.sum()), int(many.sum())


def goes_on(first_cells: list[bytes]) -> bool:
    """Whether the first line's first cell is whole, judged by those below it: as long, or one step before."""
    first, second = first_cells[:2]
    if len(first) == len(second):
        return True
    try:
        numbers = [float(cell) for cell in first_cells]
    except ValueError:
        return False
    if len(numbers) < 3:
        return False
    step, next_step = numbers[1] - numbers[0], numbers[2] - numbers[1]
    return next_step > 0 and next_step / 4 <= step <= next_step * 4
