"""What is said before the first step and after a test that did not come to its end."""

import shlex
from collections.abc import Sequence
from pathlib import Path


def opening_words(
    log: Path, *, by_itself: bool, resumed: bool, fire_risks: Sequence[str] = (), only: Sequence[str] = ()
) -> str:
    """What is said before the first step; fuses that do not protect their wires come before all else."""
    lines = [f"FIRE RISK: {risk}" for risk in fire_risks]
    lines += [f"{'Resuming in' if resumed else 'Recording to'} {log}"]
    if only:
        lines.append(f"A retest: only the steps that {', '.join(only)} need{'s' if len(only) == 1 else ''}.")
    if by_itself:
        lines.append("A stand-in is at this port: it does the steps itself; no key needs pressing.")
    return "\n".join(lines)


def closing_words(port: str, plan: Path, log: Path, *, lost: bool) -> str:
    """What is said after a test that did not come to its end."""
    how = "The logger's stream has ended" if lost else "Stopped"
    return (
        f"\n{how}; what was recorded is kept in {log}.\n"
        "Resume later:\n"
        f"  benchlog acceptance {_quoted(port)} --plan {_quoted(plan)} --out {_quoted(log)} --resume\n"
        "Or check what there is:\n"
        f"  benchlog check {_quoted(log)} --plan {_quoted(plan)}\n"
        "Whatever the log lacks is then not seen, which is not a pass."
    )


def _quoted(name: str | Path) -> str:
    """Quoted for a shell."""
    return shlex.quote(str(name))
