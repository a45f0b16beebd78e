"""Why a check failed: faults declared once, each with what it predicts, and how well the log agrees with it."""

from benchlog.verdict.causes.fit import find_causes
from benchlog.verdict.causes.seen import Seen, merged

__all__ = ["Seen", "find_causes", "merged"]
