"""One log against one plan: tells the log's story, then asks each analysis its question at the right place."""

from benchlog.examine.everything import LogFindings, examine

__all__ = ["LogFindings", "examine"]
