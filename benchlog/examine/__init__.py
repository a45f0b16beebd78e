"""One log against one plan: tells the log's story, then asks each analysis its question at the right place."""

from benchlog.examine.added import added_drain
from benchlog.examine.bypass import lift_bypass
from benchlog.examine.everything import LogFindings, examine
from benchlog.examine.fuse_checks import with_circuits
from benchlog.examine.read_from import key_events, story_notes

__all__ = ["LogFindings", "added_drain", "examine", "key_events", "lift_bypass", "story_notes", "with_circuits"]
