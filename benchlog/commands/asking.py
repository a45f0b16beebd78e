"""Questions in the terminal: Enter takes what is suggested; each is asked again until its answer can be used."""

import sys
from collections.abc import Callable
from typing import TypeVar

import typer

from benchlog.core.errors import BenchlogError
from benchlog.core.typed import Unusable, number, yes_or_no

__all__ = ["Asker", "Unusable", "number"]

Answer = TypeVar("Answer")


class Asker:
    """Asks, reads answers, and counts those that were typed.

    Attributes:
        typed: answers that were more than Enter.
        asked: questions put.
    """

    def __init__(self, loss: str) -> None:
        """``loss``: what was not done where the answers end too soon, for the message."""
        self.typed = self.asked = 0
        self._loss = loss

    def ask(self, question: str, read: Callable[[str], Answer], suggestion: str | None = None) -> Answer:
        """One answer.

        Args:
            question: as shown, without its end.
            read: turns an answer into its value, or raises ``Unusable``.
            suggestion: what Enter stands for; None where something must be typed.

        Raises:
            BenchlogError: standard input ends before the answer.
        """
        self.asked += 1
        shown = "" if suggestion is None else f" [{suggestion}]" if suggestion else " [Enter: none]"
        while True:
            typer.echo(f"{question}{shown}: ", nl=False)
            line = sys.stdin.readline()
            if not line:
                typer.echo()
                raise BenchlogError(f"the answers ended before the last question; {self._loss}")
            said = line.strip()
            if said:
                self.typed += 1
            elif suggestion is None:
                typer.echo("  An answer is needed here.")
                continue
            try:
                return read(said or suggestion or "")
            except Unusable as why:
                typer.echo(f"  {why}")

    def yes(self, question: str, suggestion: bool) -> bool:
        """A yes or no."""
        return self.ask(f"{question} (y/n)", yes_or_no, "y" if suggestion else "n")


def line_read(prompt: str) -> str:
    """One line of standard input; raises EOFError at its end."""
    typer.echo(prompt, nl=False)
    sys.stdout.flush()
    line = sys.stdin.readline()
    if not line:
        typer.echo()
        raise EOFError
    return line
