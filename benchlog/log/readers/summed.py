"""Whether the lines of a text end with checksums: two readers ask, and one of them must say no."""

from benchlog.log.readers.lines.checksum import DIGITS, body_of, kind_of

_LINES = 400
#: So many right ones, and as many as the others together, are no chance: a wrong checksum is right one time in 256.
_FEWEST = 3


def summed_kind(head: bytes) -> str | None:
    """The kind of checksum that most lines of a file's beginning carry, rightly; None where they carry none.

    Args:
        head: the first bytes; the last line may be cut.
    """
    lines = [line.rstrip(b"\r") for line in head.split(b"\n")[:-1][:_LINES]]
    samples = [line for line in lines if line and not line.startswith(b"#")]
    for kind in DIGITS:
        told = [line for line in samples if kind_of(line) == kind]
        good = sum(body_of(line, kind)[1] for line in told)
        if good >= _FEWEST and 2 * good > len(samples):
            return kind
    return None
