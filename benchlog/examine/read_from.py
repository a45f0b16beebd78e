"""What is said of a log besides its checks: what its key's state was read from, and the key events."""

from typing import TYPE_CHECKING

from benchlog.verdict.result import KeyEvent

if TYPE_CHECKING:
    from benchlog.examine import LogFindings


_SOURCES = {
    "marks": "the marks in the log",
    "key_v": "the key line (key_v)",
    "trigger_v": "the trigger (trigger_v)",
    "feed_v": "the feed (feed_v)",
    "battery_a": "the battery's current (battery_a)",
    "battery_v": "the battery's voltage (battery_v), which is a rough guide",
}


def story_notes(findings: "LogFindings") -> list[str]:
    story = findings.story
    if story.source == "none" and story.marks_contradict:
        return ["no channel shows the key's state, and the marks contradict each other: one of the key was forgotten"]
    if story.source == "none":
        return ["no channel shows the key's state; the log is assumed to be recorded with the key off"]
    text = f"the key's state was read from {_SOURCES[story.source]}"
    if story.marks_contradict:
        text += ", since the marks of the key contradict the others: one was forgotten"
    if story.parked:
        return [f"{text}: off throughout, so this is treated as a parked log"]
    if not story.off:
        text += ": on throughout"
        if not story.sure:
            text += "; it may be a log taken with the key on, or a trigger that the key does not switch"
    return [text]


def key_events(findings: "LogFindings") -> list[KeyEvent]:
    return [
        KeyEvent(log=findings.log, time_s=t.time_s, half_width_s=t.half_width_s, to="on" if t.on else "off")
        for t in findings.story.turns
    ]
