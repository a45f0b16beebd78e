"""Standard output that takes any text: a sign or a file name that its encoding lacks does not end the program."""

import codecs
import io
import sys

#: What stands in for the signs of our own texts; others become a question mark.
_PLAIN = {"═": "=", "─": "-", "●": "*", "▲": "!", "◐": "~", "○": "o", "–": "-", "−": "-", "±": "+-", "·": "-", "»": ">"}
_PLAIN |= {"Ω": "ohm", "µ": "u", "μ": "u", "°": "deg ", "≥": ">=", "≤": "<=", "…": "...", "→": "->", "’": "'"}
_NAME = "benchlog-plain"
#: For the environment of processes that are benchlog's own: polars, which looks at it as each query starts, then
#: unpacks two groups of a Parquet table's rows at a time; more take more memory, one alone leaves a core idle.
OF_OURS = {"POLARS_ROW_GROUP_PREFETCH_SIZE": "2"}


def take_any_text() -> None:
    """Have it write what its encoding lacks in plainer signs, and names that are no text as the bytes they are.

    Standard error does the like by itself.
    """
    codecs.register_error(_NAME, _plainly)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors=_NAME)


def _plainly(problem: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(problem, UnicodeEncodeError):
        raise problem
    lacking = problem.object[problem.start : problem.end]
    written = b""
    for letter in lacking:
        if "\udc80" <= letter <= "\udcff":  # a byte of a name that is no text
            written += bytes([ord(letter) - 0xDC00])
        else:
            written += _PLAIN.get(letter, "?").encode("ascii")
    return written, problem.end
