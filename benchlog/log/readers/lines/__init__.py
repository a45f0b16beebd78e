"""Lines of a serial stream: CSV, ``name=value`` pairs or JSON objects, each with an optional checksum."""

from benchlog.log.readers.lines.forms import Form
from benchlog.log.readers.lines.meaning import ADDED_TIME, Meaning
from benchlog.log.readers.lines.parse import LineParser
from benchlog.log.readers.lines.parsed import REASONS, Parsed

__all__ = ["ADDED_TIME", "REASONS", "Form", "LineParser", "Meaning", "Parsed"]
