"""One log against one plan: tells the log's story, then asks each analysis its question at the right place."""

from benchlog.examine.everything import LogFindings, examine
from benchlog.examine.fuse_checks import with_circuits

__all__ = ["LogFindings", "examine", "with_circuits"]
