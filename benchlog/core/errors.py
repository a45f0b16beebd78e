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


class BadPlan(BenchlogError):
    """A plan file that cannot be used.

    Attributes:
        faults: every fault found, each with its path in the file.
    """

    def __init__(self, where: str, faults: Sequence[str]) -> None:
        self.where, self.faults = where, tuple(faults)
        super().__init__(_listed(f"{where}: the plan cannot be used", self.faults))


class BadLogger(BenchlogError):
    """A logger file that cannot be used; all its faults at once."""

    def __init__(self, where: str, faults: Sequence[str]) -> None:
        self.where, self.faults = where, tuple(faults)
        super().__init__(_listed(f"{where}: the logger file cannot be used", self.faults))


class BadAnswers(BenchlogError):
    """A file of answers that cannot be used; all its faults at once."""

    def __init__(self, where: str, faults: Sequence[str]) -> None:
        self.where, self.faults = where, tuple(faults)
        super().__init__(_listed(f"{where}: the answers cannot be used", self.faults))


class BadReadings(BenchlogError):
    """A file of meter readings that cannot be used; all its faults at once."""

    def __init__(self, where: str, faults: Sequence[str]) -> None:
        self.where, self.faults = where, tuple(faults)
        super().__init__(_listed(f"{where}: the meter readings cannot be used", self.faults))


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


def _listed(head: str, faults: Sequence[str]) -> str:
    return head + "".join(f"\n  {fault}" for fault in faults)
