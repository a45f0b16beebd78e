"""The words, shapes and numbers that the text report and the page share."""

from typing import Protocol

from benchlog.core.numbers import number, sides, with_uncertainty
from benchlog.core.numbers import unit_suffix as suffix_of
from benchlog.verdict.evidence import KeyOffDraw
from benchlog.verdict.registry.key_off import lacks_before
from benchlog.verdict.registry.table import find_check, is_fuse_check
from benchlog.verdict.result import Cause, Check, Result, Verdict

#: What needs attention first.
READING_ORDER: tuple[Verdict, ...] = ("fail", "not proven", "not seen", "pass", "not planned")

#: Beside each verdict word, so that no verdict hangs on colour.
SHAPES: dict[Verdict, str] = {"pass": "●", "fail": "▲", "not proven": "◐", "not seen": "○", "not planned": "–"}

#: How a log from before the install is given in a terminal; a page has another way and says that.
NAME_BEFORE = "name it with --before"

CAUTIONS: tuple[str, ...] = (
    "A short across the battery can melt tools and start a fire: take the battery's negative lead off before "
    "working on the wiring, and put it back last.",
    "Batteries give off gas and hold acid or lithium cells: no flames, wear eye protection, charge only as the "
    "battery's maker says.",
    "Engine, exhaust, chain and fan are hot or moving: keep hands, leads and clothing clear.",
    "Exhaust gas kills: run the engine only in the open air.",
    "This report compares measured values with a plan. It does not replace the bike's service manual, local "
    "rules or a licensed person where the law asks for one; where they differ, they win.",
)


def measured_words(check: Check) -> str:
    """The measured value with its uncertainty and unit; ``no value`` where there is none."""
    if check.measured is None:
        return "no value"
    return with_uncertainty(check.measured, check.uncertainty) + unit_suffix(check)


def because_of(check: Check, give_before: str = NAME_BEFORE) -> str:
    """The check's sentence; where a log is missing, with how it is given here.

    Args:
        give_before: how a log from before the install is given, as a clause.
    """
    if lacks_before(check.id, check.because):
        return f"{check.because.removesuffix('.')}; {give_before}."
    return check.because


def unit_suffix(check: Check) -> str:
    """The unit with a space before it; nothing for a plain count."""
    return suffix_of(check.unit)


def limit_words(check: Check) -> str:
    """The limit in words, such as ``at most 0.3 V``; empty where the check has none."""
    low, high = (check.limit.min, check.limit.max) if check.limit else (None, None)
    unit = unit_suffix(check)
    if low is not None and high is not None and low > high:
        return f"at least {number(low)}{unit} and at most {number(high)}{unit}: no value can meet it"
    return f"{words}{unit}" if (words := sides(low, high)) else ""


def planned_words(check: Check) -> str:
    """The planned value itself, where the plan has one."""
    return "" if check.planned is None else f"planned {number(check.planned)}{unit_suffix(check)}"


def margin_words(check: Check) -> str:
    """How far inside or outside the limit, in per cent of it; empty where that is not known."""
    if check.margin_pct is None:
        return ""
    if check.margin_pct == 0:
        return "on the limit"
    size = abs(check.margin_pct)
    shown = f"{size:.0f}" if size >= 9.95 else f"{size:.1f}"
    return f"{shown} % {'inside' if check.margin_pct > 0 else 'outside'}"


def source_words(check: Check) -> str:
    """The log and the stretch of it behind the figure."""
    if check.log is None:
        return ""
    if check.from_s is None or check.to_s is None:
        return check.log
    # a relay's window is milliseconds long, a drain's is minutes
    decimals = 1 if check.to_s - check.from_s >= 1 else 3
    return f"{check.log}, {check.from_s:.{decimals}f} to {check.to_s:.{decimals}f} s"


def planned_count(result: Result) -> int:
    """How many checks the plan has a limit for."""
    score = result.score
    return score.passed + score.fail + score.not_proven + score.not_seen


def verdict_sentence(result: Result) -> str:
    """What the overall verdict means for this install."""
    planned, score = planned_count(result), result.score
    of = f"of {planned} planned checks"
    if result.verdict == "fail":
        return f"{score.fail} {of} failed: the install does not do all that was planned."
    if planned == 0:
        return "The plan gives no limits, so nothing was judged."
    if result.verdict == "not proven":
        return f"Nothing failed, but {score.not_proven + score.not_seen} {of} are still open."
    return f"All {planned} planned checks passed: the install does what was planned."


def score_sentence(result: Result) -> str:
    """The count of each verdict, and the share of planned checks that passed."""
    score = result.score
    counts = [
        f"{count} {word}"
        for word, count in (
            ("failed", score.fail),
            ("not proven", score.not_proven),
            ("not seen", score.not_seen),
            ("not planned", score.not_planned),
        )
        if count
    ]
    share = "" if score.percent is None else f" ({score.percent:.1f} %)"
    return "; ".join([f"{score.passed} of {planned_count(result)} planned checks passed{share}", *counts])


def closest_sentence(result: Result) -> str:
    """Which check has the smallest margin, and how large it is; empty where none is named."""
    found = [check for check in result.checks if check.id == result.score.closest]
    if not found:
        return ""
    what = "Worst miss" if (found[0].margin_pct or 0.0) < 0 else "Smallest margin"
    return f"{what}: {found[0].title}, {margin_words(found[0]) or 'not known'} the limit"


def key_sentence(result: Result) -> str:
    """How often the key was turned."""
    on = sum(event.to == "on" for event in result.key_events)
    off = len(result.key_events) - on
    return f"Key events: {len(result.key_events)} ({on} on, {off} off)" if result.key_events else "Key events: none"


def open_reasons(result: Result, give_before: str = NAME_BEFORE) -> list[tuple[Verdict, list[str], str]]:
    """What is open and no cause explains, worst first: verdict, the titles of the checks, and the reason they share.

    Args:
        give_before: as in ``because_of``.
    """
    explained = {check_id for cause in result.causes for check_id in cause.explains}
    rest = [c for c in result.checks if c.verdict in ("fail", "not proven", "not seen") and c.id not in explained]
    same: dict[tuple[Verdict, str], list[str]] = {}
    for check in sorted(rest, key=lambda check: READING_ORDER.index(check.verdict)):
        reason = " ".join(filter(None, (because_of(check, give_before), next_test_of(result, check))))
        same.setdefault((check.verdict, reason), []).append(check.title)
    return [(verdict, titles, because) for (verdict, because), titles in same.items()]


def causes_of(result: Result, check: Check) -> list[Cause]:
    """The causes that explain this check, best fit first."""
    return [cause for cause in result.causes if check.id in cause.explains]


def next_test_of(result: Result, check: Check) -> str:
    """What to do about a failed check that no cause explains, as a sentence; "" for every other."""
    known = find_check(check.id)
    if check.verdict != "fail" or known is None or causes_of(result, check):
        return ""
    test = known.kind.first_test
    if is_fuse_check(check.id):
        return f"Next: {test}."
    return f"None of the known faults explains it. Next test: {test}."


def dangers(result: Result) -> list[str]:
    """What must be said before anything else: each fuse that does not protect its wire."""
    return [check.because for check in result.checks if check.verdict == "fail" and is_fuse_check(check.id)]


def likeliness(cause: Cause) -> str:
    """``likely`` or ``possible``, by the fit."""
    return "likely" if cause.fit > 0.5 else "possible"


def fit_words(cause: Cause) -> str:
    """How well the cause explains what was found."""
    return f"fit {cause.fit * 100:.0f} %"


class Walked(Protocol):
    """A log in which fuses may have been pulled: its evidence, or what a record keeps of it."""

    @property
    def key_off_draws(self) -> tuple[KeyOffDraw, ...]:
        """What each circuit draws."""

    @property
    def key_off_drain_ma(self) -> float | None:
        """The drain that they are shares of, mA."""


#: A log's name, and for each circuit its name, current and share of the drain.
Walk = tuple[str, list[tuple[str, str, str]]]
WALK_TITLE = "What each circuit draws with the key off"
WALK_COLUMNS = ("Circuit", "Current", "Share")


def walk_caption(log: str) -> str:
    """What stands over the table of one log."""
    return f"By pulling one fuse after another, in {log}. ± is the expanded uncertainty (k = 2)."


def walks_of(result: Result) -> list[Walk]:
    """The table of each log in which fuses were pulled with the key off; a stored result has none."""
    logs = result.evidence.logs if result.evidence is not None else ()
    return [(log.log, rows) for log in logs if (rows := draw_rows(log))]


def draw_rows(log: Walked) -> list[tuple[str, str, str]]:
    """What each circuit draws with the key off: name, current and share of the drain; empty without pulled fuses.

    Where a fuse was pulled more than once the last time counts. What no fuse took away comes last.
    """
    last = {draw.slot: draw for draw in log.key_off_draws}
    rows = [(_circuit(draw), _drawn(draw), _share(draw.share if draw.told else None)) for draw in last.values()]
    drain_ma = log.key_off_drain_ma
    if rows and drain_ma is not None and drain_ma > 0:
        rest_ma = drain_ma - sum(draw.draw_ma for draw in last.values() if draw.told)
        rows.append(("rest, not removed by any fuse", f"{number(max(rest_ma, 0.0))} mA", _share(rest_ma / drain_ma)))
    return rows


def _circuit(draw: KeyOffDraw) -> str:
    return f"slot {draw.slot}, {draw.device}" if draw.device else f"slot {draw.slot}"


def _drawn(draw: KeyOffDraw) -> str:
    figure = f"{with_uncertainty(draw.draw_ma, draw.uncertainty_ma)} mA"
    if not draw.told:
        return f"{figure}, not distinguishable from zero"
    return f"{figure}, in pulses" if draw.pulses else figure


def _share(share: float | None) -> str:
    return "" if share is None else f"{100 * min(max(share, 0.0), 1.0):.0f} % of the drain"
