"""What is drawn of a log, on disk: the whole log in buckets and what was found in it, ready in a moment."""

import io
import json
import secrets
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np

from benchlog.core.files import replace
from benchlog.core.trace import Band, Overview, Trace
from benchlog.report.figures import MOST_EVENTS
from benchlog.store.seal import sealed, unsealed
from benchlog.verdict.evidence import LoadPoint, LogEvidence, Settling, Span

#: Changes when what is written changes; older files are made anew.
FORM = 3


def write_drawn(path: Path, evidence: LogEvidence) -> None:
    """Write whole or not at all, under a seal; a folder that cannot be written to only costs the next reader time."""
    overview = evidence.overview
    arrays: dict[str, Any] = {
        "start_s": overview.start_s,
        "end_s": overview.end_s,
        "rows": overview.rows,
        "gap_s": overview.gap_s,
    }
    for role, band in overview.bands.items():
        arrays |= {f"{role}.min": band.min, f"{role}.mean": band.mean, f"{role}.max": band.max}
    for kind, traces in (("in", evidence.pull_ins), ("out", evidence.drop_outs)):
        for n, trace in enumerate(traces[:MOST_EVENTS]):
            arrays[f"{kind}{n}.time_s"] = trace.time_s
            arrays |= {f"{kind}{n}.{role}": value for role, value in trace.values.items()}
    head = {
        "form": FORM,
        "log": evidence.log,
        "roles": evidence.roles,
        "step_s": overview.step_s,
        "spans": [asdict(span) for span in evidence.spans],
        "pull_in_at_s": evidence.pull_in_at_s[:MOST_EVENTS],
        "drop_out_at_s": evidence.drop_out_at_s[:MOST_EVENTS],
        "battery_points": [[asdict(p) for p in group] for group in evidence.battery_points],
        "feed_points": [asdict(p) for p in evidence.feed_points],
        "ground_points": [asdict(p) for p in evidence.ground_points],
        "settlings": [asdict(s) for s in evidence.settlings],
        "samples": evidence.samples,
        "zero_offsets": dict(evidence.zero_offsets),
    }
    arrays["head"] = np.frombuffer(json.dumps(head).encode(), dtype=np.uint8)
    drawing = io.BytesIO()
    np.savez(drawing, allow_pickle=False, **arrays)
    content = sealed(path.name, drawing.getvalue())
    if content is None:
        return
    part = path.with_name(f".{secrets.token_hex(8)}.part")
    try:
        part.write_bytes(content)
        replace(part, path)
    except OSError:
        with suppress(OSError):
            part.unlink()


def read_drawn(path: Path) -> LogEvidence | None:
    """What ``write_drawn`` left; None where there is none of this form, or nobody here made it. Areas are NaN."""
    content = unsealed(path)
    if content is None:
        return None
    try:
        with np.load(io.BytesIO(content), allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
        head = json.loads(arrays.pop("head").tobytes())
        if head["form"] != FORM:
            return None
        return _evidence(head, arrays)
    except (OSError, ValueError, KeyError, TypeError, EOFError, BadZipFile):
        return None  # not there, cut short, or of another version: made anew


def _evidence(head: dict[str, Any], arrays: dict[str, Any]) -> LogEvidence:
    rows = arrays["rows"]
    unknown, none = np.full(len(rows), np.nan), np.zeros(len(rows), dtype=np.int64)
    bands = {
        role: Band(arrays[f"{role}.min"], arrays[f"{role}.mean"], arrays[f"{role}.max"], unknown, unknown, none)
        for role in head["roles"]
    }
    overview = Overview(arrays["start_s"], arrays["end_s"], rows, bands, arrays["gap_s"], head["step_s"])
    return LogEvidence(
        log=head["log"],
        overview=overview,
        roles=tuple(head["roles"]),
        spans=tuple(Span(**span) for span in head["spans"]),
        pull_ins=_traces(arrays, "in", len(head["pull_in_at_s"])),
        drop_outs=_traces(arrays, "out", len(head["drop_out_at_s"])),
        pull_in_at_s=tuple(head["pull_in_at_s"]),
        drop_out_at_s=tuple(head["drop_out_at_s"]),
        battery_points=tuple(tuple(LoadPoint(**p) for p in group) for group in head["battery_points"]),
        feed_points=tuple(LoadPoint(**p) for p in head["feed_points"]),
        ground_points=tuple(LoadPoint(**p) for p in head["ground_points"]),
        settlings=tuple(Settling(**s) for s in head["settlings"]),
        samples=int(head["samples"]),
        zero_offsets={str(role): float(offset) for role, offset in head["zero_offsets"].items()},
    )


def _traces(arrays: dict[str, Any], kind: str, count: int) -> tuple[Trace, ...]:
    found = []
    for n in range(count):
        start = f"{kind}{n}."
        values = {name[len(start) :]: array for name, array in arrays.items() if name.startswith(start)}
        found.append(Trace(values.pop("time_s"), values, {}))
    return tuple(found)
