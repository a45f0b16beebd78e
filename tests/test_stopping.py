"""Ctrl-C is heard once, is lost nowhere, waits where it must, and harms nothing that has other plans with it."""

import signal
import subprocess
import sys

import pytest

from benchlog.core.interrupts import later

#: s after which a script hangs, on however busy a machine.
HANGS_S = 300
#: Presses at a word of the script's, and tells what comes of it; ``looked_after`` waits for whoever looks whether a
#: press was lost. A second press is the same one however slow the machine is.
SCRIPT = """
import os, signal, sys, threading, time
from benchlog.core import interrupts
{before}
interrupts.listen()
interrupts._SAME_PRESS_S = 1e9
def press():
    os.kill(os.getpid(), signal.SIGINT)
looked, look = threading.Event(), interrupts._look_after_it
def then_told():
    look()
    looked.set()
interrupts._look_after_it = then_told
def looked_after():
    looked.wait()
    time.sleep(0)
{work}
"""


def told_by(work: str, before: str = "") -> "subprocess.CompletedProcess[str]":
    """What a script says that presses Ctrl-C itself."""
    script = SCRIPT.format(work=work, before=before)
    return subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=HANGS_S, check=False)


DROPPED = """
try:
    press()
except BaseException:
    pass  # as a library in C may do
try:
    looked_after()
except KeyboardInterrupt:
    print("stopped", interrupts.pressed())
"""

CLEARED = """
class Odd:
    def __del__(self):
        press()
Odd()
try:
    looked_after()
except KeyboardInterrupt:
    print("stopped", interrupts.pressed())
"""


@pytest.mark.parametrize("work", [DROPPED, CLEARED], ids=["dropped", "while an object is cleared away"])
def test_ctrl_c_that_is_lost_is_pressed_again(work: str):
    """Whoever drops it within a library's code does not keep it from the work; nothing is printed about it."""
    done = told_by(work)

    assert (done.stdout, done.stderr) == ("stopped True\n", "")


PUT_AWAY = """
try:
    try:
        press()
        looked_after()
    finally:
        try:
            press()  # a nervous finger
            looked_after()
            raise OSError("odd")
        except OSError:
            looked_after()
            print("put away")
except KeyboardInterrupt:
    print("stopped")
"""


def test_putting_away_is_not_torn():
    """While things are put away because of it, it comes neither again by itself nor by a second press."""
    done = told_by(PUT_AWAY)

    assert (done.stdout, done.stderr) == ("put away\nstopped\n", "")


TAKEN = """
try:
    press()
except KeyboardInterrupt:
    interrupts.answered()
looked_after()
print("went on")
"""


def test_whoever_takes_it_goes_on():
    """A command that has a way of its own to end is not pressed again."""
    assert told_by(TAKEN).stdout == "went on\n"


IGNORED = """
press()
print("went on", signal.getsignal(signal.SIGINT) == signal.SIG_IGN)
"""


def test_work_in_the_background_stays_deaf():
    """A shell that starts work in the background has it ignore Ctrl-C, and so it does."""
    done = told_by(IGNORED, before="signal.signal(signal.SIGINT, signal.SIG_IGN)")

    assert (done.stdout, done.stderr) == ("went on True\n", "")


ENDING = """
interrupts.done()
press()
print("done")
"""


def test_it_comes_too_late_for_work_that_is_done():
    """While Python takes itself down there is nothing to stop: the status is that of the work."""
    done = told_by(ENDING)

    assert (done.stdout, done.stderr, done.returncode) == ("done\n", "", 0)


def test_other_faults_in_passing_are_still_told():
    """What else goes wrong while an object is cleared away is shown as ever."""
    done = told_by("class Odd:\n    def __del__(self):\n        1 / 0\nOdd()\n")

    assert "ZeroDivisionError" in done.stderr


def test_stretch_that_cannot_be_stopped_ends_first():
    """Within ``later`` it is only asked for; at its end it comes, and the handler is as it was."""
    seen = []
    before = signal.getsignal(signal.SIGINT)

    def stretch() -> None:
        with later() as stop:
            seen.append(stop())
            signal.raise_signal(signal.SIGINT)
            seen.append(stop())

    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        stretch()

    assert seen == [False, True]
    assert signal.getsignal(signal.SIGINT) is before


EARLY = """
import os, signal, sys, time, weakref
from benchlog.__main__ import main
class Thing:
    pass
class Press:
    def find_spec(self, name, path=None, target=None):
        if name == "benchlog.core.interrupts":
            thing = Thing()
            self.ref = weakref.ref(thing, lambda _: (os.kill(os.getpid(), signal.SIGINT), time.sleep(0.1)))
            del thing
assert "benchlog.core.interrupts" not in sys.modules
sys.meta_path.insert(0, Press())
sys.argv[1:] = ["schema", "result"]
main()
"""


def test_ctrl_c_is_heard_before_there_is_anything_to_hear_it_with():
    """Pressed while the first module is loaded, where Python drops what is raised, it ends the program all the same."""
    done = subprocess.run([sys.executable, "-c", EARLY], capture_output=True, text=True, timeout=HANGS_S, check=False)

    assert (done.returncode, done.stdout, done.stderr) == (130, "", "benchlog: stopped\n")
