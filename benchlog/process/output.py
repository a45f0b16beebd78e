"""Standard output that takes any text: a sign or a file name that its encoding lacks does not end the program."""

import codecs
import io
import re
import sys
from typing import TextIO

from benchlog.core.plain import plain

#: What stands in for the signs of our own texts; others become a question mark.
_PLAIN = {"═": "=", "─": "-", "●": "*", "▲": "!", "◐": "~", "○": "o", "–": "-", "−": "-", "±": "+-", "·": "-", "»": ">"}
_PLAIN |= {"Ω": "ohm", "µ": "u", "μ": "u", "°": "deg ", "≥": ">=", "≤": "<=", "…": "...", "→": "->", "’": "'"}
_NAME = "benchlog-plain"
#: Bold, faint and the colours of a verdict, and their end.
_OURS = re.compile(r"(\x1b\[(?:0|1|2|36|1;31|1;33)m)")
#: For the environment of processes that are benchlog's own: polars, which looks at it as each query starts, then
#: unpacks two groups of a Parquet table's rows at a time; more take more memory, one alone leaves a core idle. pydantic
#: looks through every installed package for plugins of its own, of which benchlog has none: 7 ms of a start. What is
#: worked out is small for numpy's own threads, which wait for it in a loop that costs the others their cores.
OF_OURS = {
    "POLARS_ROW_GROUP_PREFETCH_SIZE": "2",
    "PYDANTIC_DISABLE_PLUGINS": "__all__",
    "OPENBLAS_NUM_THREADS": "1",
}


def take_any_text() -> None:
    """Have it write what its encoding lacks in plainer signs, and names that are no text as the bytes they are.

    Standard error does the like by itself.
    """
    codecs.register_error(_NAME, _plainly)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors=_NAME)
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if isinstance(stream, io.TextIOWrapper) and not isinstance(stream, Filtered):
            setattr(sys, name, Filtered(stream))


class Filtered(io.TextIOWrapper):
    """A stream of text that nothing from outside can steer; of our own escapes it lets a terminal have the colours.

    Attributes:
        unfiltered: the stream below it, for what draws on a terminal and keeps foreign text plain by itself.
    """

    def __init__(self, stream: io.TextIOWrapper) -> None:
        self.unfiltered = stream
        super().__init__(
            stream.buffer,
            encoding=stream.encoding,
            errors=stream.errors,
            line_buffering=stream.line_buffering,
            write_through=True,
        )

    def write(self, text: str) -> int:
        """Write the text as it may be shown."""
        self.unfiltered.flush()
        if "\x1b" in text and self.isatty():
            pieces = _OURS.split(text)
            pieces[::2] = [plain(piece) for piece in pieces[::2]]
            super().write("".join(pieces))
        else:
            super().write(plain(text))
        return len(text)

    def close(self) -> None:
        """Leave what is below it open: it is the process's own."""
        self.flush()


def drawn_on(stream: TextIO) -> TextIO:
    """The stream for what draws on a terminal with escapes of its own."""
    below = getattr(stream, "unfiltered", stream)
    return below if isinstance(below, io.TextIOBase) else stream  # type: ignore[return-value]  # a text stream both times


def _plainly(problem: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(problem, UnicodeEncodeError):
        raise problem
    lacking = problem.object[problem.start : problem.end]
    written = b""
    for letter in lacking:
        if "\udca0" <= letter <= "\udcff":  # a byte of a name that is no text
            written += bytes([ord(letter) - 0xDC00])
        elif "\udc80" <= letter <= "\udc9f":  # one that steers a terminal
            written += f"\\x{ord(letter) - 0xDC00:02x}".encode()
        else:
            written += _PLAIN.get(letter, "?").encode("ascii")
    return written, problem.end
