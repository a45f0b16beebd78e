"""A block of whole lines as one array of bytes: looked at and cut down without a loop over its lines."""

from dataclasses import dataclass

import numpy as np

from benchlog.log.readers.lines.checksum import Octets
from benchlog.log.readers.raw import Flags, Ints

_LINE_END = 10


@dataclass(frozen=True, slots=True)
class Block:
    """Whole lines.

    Attributes:
        data: their bytes; each line ends with a line feed.
        octets: the same as an array.
        ends: where the line feeds are.
    """

    data: bytes
    octets: Octets
    ends: Ints

    @classmethod
    def of(cls, data: bytes) -> "Block":
        """Find the lines."""
        octets = np.frombuffer(data, np.uint8)
        return cls(data, octets, np.flatnonzero(octets == _LINE_END))

    def __len__(self) -> int:
        return len(self.ends)

    @property
    def starts(self) -> Ints:
        """Each line's first byte."""
        return np.concatenate(([0], self.ends[:-1] + 1)) if len(self.ends) else self.ends

    @property
    def lengths(self) -> Ints:
        """Bytes of each line, its line feed counted."""
        return self.ends - self.starts + 1

    def lines_at(self, places: Ints) -> Ints:
        """The line that each of these bytes is in."""
        return np.searchsorted(self.ends, places)

    def line(self, n: int) -> bytes:
        """One line, without its line feed."""
        return self.data[int(self.starts[n]) : int(self.ends[n])]

    def only(self, keep: Flags) -> "Block":
        """Some of the lines."""
        if keep.all():
            return self
        return Block.of(self.octets[np.repeat(keep, self.lengths)].tobytes())
