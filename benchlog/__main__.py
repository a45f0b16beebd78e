"""The program: Ctrl-C is handled from its first line, before anything slow is loaded."""

import atexit
import gc
import os
import signal
import sys
from types import FrameType

STOPPED = 130  # as a shell counts a Ctrl-C
#: Loading the libraries makes some 100,000 objects that all stay: not looked through for garbage time and again.
_OBJECTS_BETWEEN_LOOKS = 200_000

_status = 0


def main() -> None:
    """Run the command line; a Ctrl-C at any moment is one line on standard error and exit status 130."""
    global _status  # noqa: PLW0603 a process has one
    if not atexit._ncallbacks():  # what was registered last runs first at the end: this ends the process
        atexit.register(_leave)
    try:
        stopped = not _done()
    except SystemExit as end:
        _status = end.code if isinstance(end.code, int) else int(end.code is not None)
        raise
    except BaseException:
        _status = 1
        raise
    if stopped:
        _end()  # out here nothing holds what the work had open any more


def _leave() -> None:
    """End the process once everything is closed: an orderly shutdown of Python takes another tenth of a second."""
    try:
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:
                stream.flush()
    except (OSError, ValueError):
        return  # Python says so in its own way
    os._exit(_status)


def _at_once(_number: int, _frame: FrameType | None) -> None:
    _end()  # nothing is open yet


def _end() -> None:
    try:
        sys.stderr.write("benchlog: stopped\n")
        sys.stderr.flush()
    except OSError:
        pass  # nobody is there to read it
    # everything is closed by now; an orderly shutdown of Python would take half a second more
    os._exit(STOPPED)


def _done() -> bool:
    """Do the work; gives False where a Ctrl-C stopped it."""
    try:
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            # until ``interrupts`` hears it: what is raised while a module is loaded may be lost in Python's clearing up
            signal.signal(signal.SIGINT, _at_once)
        from benchlog.core import interrupts

        interrupts.listen(_at_once)
        try:
            _work()
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException:  # what a library made of it is anybody's guess; Rust's panics are no plain exceptions
            if not interrupts.pressed():
                raise
            return False
        finally:
            interrupts.done()
    except KeyboardInterrupt:
        return False
    except SystemExit as end:
        if end.code != STOPPED:  # what typer makes of it
            raise
        return False
    return True


def _own_environment(more: dict[str, str]) -> None:
    """What this program and the processes that it starts find in their environment; no caller's is changed."""
    for name, value in more.items():
        os.environ.setdefault(name, value)
    os.environ.setdefault("PYTHONSAFEPATH", "1")  # they import nothing from the folder the user is in
    # where this one is killed, what looks after loky's locks takes them away, and would print a page about it
    silent = "ignore::UserWarning:joblib.externals.loky.backend.resource_tracker"
    before = os.environ.get("PYTHONWARNINGS")
    os.environ["PYTHONWARNINGS"] = silent if not before else f"{before},{silent}"


def _work() -> None:
    gc.set_threshold(_OBJECTS_BETWEEN_LOOKS)
    from benchlog.process.output import OF_OURS, take_any_text

    _own_environment(OF_OURS)
    take_any_text()
    from benchlog.cli import app

    app()


if __name__ == "__main__":
    main()
