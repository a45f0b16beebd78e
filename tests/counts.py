"""Counts that add up, for the tables of verdicts."""


class Counts:
    """A dataclass whose fields are all numbers."""

    def add(self, other: "Counts") -> None:
        """Add another's."""
        for name in vars(self):
            setattr(self, name, getattr(self, name) + getattr(other, name))
