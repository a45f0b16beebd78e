"""An install with the behaviours that were asked for by name."""

from collections.abc import Iterable

from benchlog.core.errors import BenchlogError
from benchlog.standin.behaviours import BEHAVIOURS
from benchlog.standin.install import SimulatedInstall


class NoSuchBehaviour(BenchlogError):
    """A behaviour was asked for that the stand-in cannot show."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(
            f"behaviour: {name!r} is not known; use one of {', '.join(BEHAVIOURS)}; "
            "benchlog standin --help says what each does"
        )


def with_behaviours(install: SimulatedInstall, names: Iterable[str]) -> SimulatedInstall:
    """The install with these behaviours; on top of any fault that it has.

    Raises:
        NoSuchBehaviour: no such behaviour can be shown.
    """
    for name in names:
        if name not in BEHAVIOURS:
            raise NoSuchBehaviour(name)
        install = BEHAVIOURS[name].change(install)
    return install
