"""The result of a check: the one object that text, HTML, JSON, the store and the pages are made from."""

from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr

from benchlog.core.note import Note

if TYPE_CHECKING:
    import pandas as pd

    from benchlog.verdict.evidence import Evidence

Verdict = Literal["pass", "fail", "not proven", "not seen", "not planned"]
VERDICTS: tuple[Verdict, ...] = ("pass", "fail", "not proven", "not seen", "not planned")


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Limit(_Frozen):
    """What the plan allows, in the check's unit; a side that is None is open."""

    min: float | None = None
    max: float | None = None


class Check(_Frozen):
    """One comparison of a measured value with a limit of the plan."""

    id: str
    title: str
    verdict: Verdict
    measured: float | None = None
    unit: str
    uncertainty: float | None = Field(default=None, description="expanded, k = 2, in `unit`")
    planned: float | None = Field(default=None, description="the planned value itself, where the plan has one")
    limit: Limit | None = None
    margin_pct: float | None = Field(
        default=None, description="distance from the limit in per cent of it; negative is outside"
    )
    log: str | None = Field(default=None, description="the log behind the figure")
    from_s: float | None = None
    to_s: float | None = None
    because: str = Field(description="one plain sentence")


class Score(_Frozen):
    """How many checks ended how."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    passed: int = Field(alias="pass")
    fail: int
    not_proven: int
    not_seen: int
    not_planned: int
    percent: float | None = Field(description="passed of planned checks; null where none is planned")
    closest: str | None = Field(description="the check with the smallest margin")


class KeyEvent(_Frozen):
    """The key was turned."""

    log: str
    time_s: float
    half_width_s: float
    to: Literal["on", "off"]


class Cause(_Frozen):
    """A fault that explains what failed or was not seen."""

    id: str
    text: str
    explains: list[str]
    evidence: list[str]
    next_test: str
    fit: float = Field(ge=0, le=1)


class Result(_Frozen):
    """Everything one check of one install found."""

    benchlog_version: str
    bike: str
    verdict: Literal["pass", "fail", "not proven"]
    score: Score
    key_events: list[KeyEvent]
    checks: list[Check]
    causes: list[Cause]
    notes: list[Note]

    _evidence: "Evidence | None" = PrivateAttr(default=None)

    @property
    def evidence(self) -> "Evidence | None":
        """The logs behind it, for drawing; no part of its JSON, so None for a result that was stored or read back."""
        return self._evidence

    def with_evidence(self, evidence: "Evidence") -> "Result":
        """The same result with the logs behind it."""
        result = self.model_copy()
        result._evidence = evidence
        return result

    def check(self, check_id: str) -> Check:
        """The check with this id.

        Raises:
            KeyError: no check of this result has it.
        """
        for check in self.checks:
            if check.id == check_id:
                return check
        raise KeyError(check_id)

    def to_json(self) -> str:
        """The result as JSON text (the form of ``benchlog check --json``)."""
        return self.model_dump_json(by_alias=True, indent=2)

    def to_frame(self) -> "pd.DataFrame":
        """One row a check; the limit in the columns ``limit_min`` and ``limit_max``."""
        import pandas as pd  # heavy; only those who ask for a frame pay for it

        rows = []
        for check in self.checks:
            row = check.model_dump()
            limit = row.pop("limit") or {"min": None, "max": None}
            rows.append({**row, "limit_min": limit["min"], "limit_max": limit["max"]})
        frame = pd.DataFrame(rows)
        numbers = ["measured", "uncertainty", "planned", "margin_pct", "from_s", "to_s", "limit_min", "limit_max"]
        return frame.astype(dict.fromkeys(numbers, "float64"))
