"""What happened on the way: told at once to whoever looks on, and noted in the file."""

import time
from collections import Counter
from collections.abc import Mapping

from benchlog.bench.recording.counts import refused_words
from benchlog.bench.recording.writer import LogWriter

#: A stream that is silent for so long, and for five times its longest silence so far, is told.
SILENT_S = 5.0
#: So long no line was good, and so many were refused meanwhile, before that is told.
REFUSED_S, REFUSED_LINES = 2.0, 20


class Story:
    """Sentences waiting to be shown and noted, and refused lines waiting to be summed up."""

    def __init__(self) -> None:
        self._told: list[str] = []
        self._notes: list[str] = []
        self._refused = Counter[str]()

    def tell(self, text: str) -> None:
        """Say it to whoever looks on."""
        self._told.append(text)

    def note(self, text: str) -> None:
        """Write it in the file, before the next rows."""
        self._notes.append(text)

    def tell_and_note(self, text: str) -> None:
        """Both."""
        self.tell(text)
        self.note(text)

    def refused(self, refused: Mapping[str, int]) -> None:
        """Lines that were refused: noted in sums, not one by one."""
        self._refused.update(refused)

    def note_refused(self) -> None:
        """Note the lines refused since the last time."""
        if words := refused_words(self._refused):
            self.note(words)
        self._refused = Counter()

    def told(self) -> tuple[str, ...]:
        """What was said since the last time."""
        told, self._told = tuple(self._told), []
        return told

    def write(self, writer: LogWriter) -> None:
        """Write the notes, once the file has its header."""
        if writer.size:
            for text in self._notes:
                writer.note(text)
            self._notes = []


class Refusing:
    """Watches for a stream that runs though none of its lines can be used."""

    def __init__(self) -> None:
        self._since: float | None = None
        self._before = Counter[str]()
        self._kept = 0
        self._told = False

    def watch(self, now: float, kept: int, refused: Mapping[str, int], story: Story) -> None:
        """``kept`` and ``refused`` are the tallies so far; said once, until a line is good again."""
        if kept != self._kept or self._since is None:
            self._kept, self._since, self._told = kept, now, False
            self._before = Counter(refused)
            return
        lately = Counter(refused) - self._before
        if self._told or now - self._since < REFUSED_S or lately.total() < REFUSED_LINES:
            return
        self._told = True
        words = refused_words(lately)
        more = "is the baud rate right?"
        if lately["unreadable"] > lately.total() / 2:
            more = "what a channel sends beyond its range, such as OL, must be listed as over_range in its logger file"
        story.tell(f"no line could be used for {now - self._since:.0f} s ({words}); {more}")


class Silence:
    """Watches for a stream that says nothing though its port is there."""

    def __init__(self, now: float) -> None:
        self._last_at = now
        self._longest_s = 0.0
        self._silent = False

    def watch(self, now: float, story: Story) -> None:
        """Nothing has come: told once, when it has been too long."""
        silent_s = now - self._last_at
        if not self._silent and silent_s > max(SILENT_S, 5 * self._longest_s):
            self._silent = True
            story.tell(f"nothing has arrived for {silent_s:.0f} s: is the logger switched on, and the baud rate right?")

    def ended(self, now: float, story: Story, *, begun: bool) -> None:
        """Something came; ``begun`` where it is not the first."""
        silent_s = now - self._last_at
        if self._silent and begun:
            story.tell_and_note(f"the logger was silent for {silent_s:.1f} s, until {time.strftime('%H:%M:%S')}")
        elif begun:
            self._longest_s = max(self._longest_s, silent_s)
        self._silent = False
        self._last_at = now

    def restart(self, now: float) -> None:
        """The connection is there again: its absence was no silence."""
        self._last_at, self._silent = now, False
