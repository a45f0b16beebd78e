"""What goes wrong because of the input: one base class, so that the command line can tell it from a bug."""

from collections.abc import Sequence

#: Of a table that ends whoever reads it.
DAMAGED_INSIDE = "is damaged inside and cannot be read; copy it again, or save the log as CSV"


class BenchlogError(Exception):
    """Unusable input. The text says what, where, what was needed and what to do."""


class CannotWrite(BenchlogError):
    """A file that cannot be written.

    Attributes:
        why: what the system says, such as "no space left on device".
    """

    def __init__(self, where: str, what: str, why: str) -> None:
        self.why = why
        super().__init__(
            f"{where}: {what} cannot be written ({why}); name a folder that exists, has room, and that you can write to"
        )


class BadFile(BenchlogError):
    """A file of settings or answers that cannot be used; all its faults at once.

    Attributes:
        what: the kind of file, for the message.
        where: its name. faults: every fault found, each with its path in the file.
    """

    what = "the file"

    def __init__(self, where: str, faults: Sequence[str]) -> None:
        self.where, self.faults = where, tuple(faults)
        super().__init__(f"{where}: {self.what} cannot be used" + "".join(f"\n  {fault}" for fault in self.faults))


class BadPlan(BadFile):
    """A plan file that cannot be used."""

    what = "the plan"


class BadLogger(BadFile):
    """A logger file that cannot be used."""

    what = "the logger file"


class BadAnswers(BadFile):
    """A file of answers that cannot be used."""

    what = "the answers"


class BadReadings(BadFile):
    """A file of meter readings that cannot be used."""

    what = "the meter readings"


class BadLog(BenchlogError):
    """A log that cannot be used.

    Attributes:
        where: the log's name, with the line where one is to blame.
    """

    def __init__(self, where: str, problem: str) -> None:
        self.where = where
        super().__init__(f"{where}: {problem}")


class UnknownColumns(BadLog):
    """Nothing in the log says what its columns mean, or how it tells the time: a logger file must."""


class MissingColumns(BadLog):
    """The logger file names columns that the log lacks.

    Attributes:
        columns: those, as the logger file names them.
    """

    def __init__(self, where: str, problem: str, columns: Sequence[str | int]) -> None:
        self.columns = tuple(columns)
        super().__init__(where, problem)


def reason_of(problem: Exception) -> str:
    """Why the system could not do something, in its words, to stand inside a message."""
    return str(getattr(problem, "strerror", None) or problem).lower()
