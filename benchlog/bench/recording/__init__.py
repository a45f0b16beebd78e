"""Saving a logger's stream: reading the port, judging the lines, writing a log that can be checked as it grows."""

from benchlog.bench.recording.capture import Batch, Capture
from benchlog.bench.recording.counts import Counts, Gap, refused_words
from benchlog.bench.recording.port import PortInfo, ports_there

__all__ = ["Batch", "Capture", "Counts", "Gap", "PortInfo", "ports_there", "refused_words"]
