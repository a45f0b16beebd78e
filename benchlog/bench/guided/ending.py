"""What is said after a test that came to its end: the result, and in the last lines what to do with it."""

import shlex
from collections.abc import Collection, Iterator
from typing import Literal

from benchlog.bench.guided.leading import Setup
from benchlog.core.printable import one_line
from benchlog.report import words
from benchlog.report.text import render_text
from benchlog.verdict.checks import overall
from benchlog.verdict.registry.table import is_fuse_check
from benchlog.verdict.result import Check, Result

_OPEN = ("not proven", "not seen")


def verdict_of(result: Result, only: Collection[str] = ()) -> Literal["pass", "fail", "not proven"]:
    """The verdict of the whole test, or of the checks that were taken again."""
    return overall([check for check in result.checks if check.id in only]) if only else result.verdict


def can_be_found(result: Result, only: Collection[str] = ()) -> bool:
    """Whether something failed that has a place; a fuse that is too large for its wire is known by the plan alone."""
    judged = [check for check in result.checks if not only or check.id in only]
    return any(check.verdict == "fail" and not is_fuse_check(check.id) for check in judged)


def ending_words(test: Setup, result: Result, *, colour: bool = False) -> str:
    """The result, then its verdict, what failed, the first next test, log and report in the last lines."""
    head = _retest(result, test.only) if test.only else render_text(result, colour=colour)
    return head + "".join(f"{line}\n" for line in _last(test, result))


def _last(test: Setup, result: Result) -> Iterator[str]:
    judged = [check for check in result.checks if not test.only or check.id in test.only]
    failed = [check for check in judged if check.verdict == "fail"]
    if test.only:
        verdict = verdict_of(result, test.only)
        yield f"{words.SHAPES[verdict]} {verdict.upper()} for what was taken again; all else is not judged by this log"
    if failed:
        yield f"Next test: {_next(result, failed)}"
    if can_be_found(result, test.only):
        yield f"To the faulty place: benchlog find {_quoted(test.log)} --plan {_quoted(test.plan_file)}"
    elif again := [check.id for check in judged if check.verdict in _OPEN and not is_fuse_check(check.id)]:
        yield (
            f"What is open, again: benchlog acceptance {_quoted(test.port)} --plan {_quoted(test.plan_file)} "
            f"--only {','.join(again)}"
        )
    yield f"Log: {test.log}"
    yield f"Report: {test.report}"


def _next(result: Result, failed: list[Check]) -> str:
    """Where to look first: the next test of the likeliest cause, else that of the first check that failed."""
    causes = [cause for check in failed for cause in words.causes_of(result, check)]
    if causes:
        return one_line(causes[0].next_test)
    return words.next_test_of(result, failed[0])


def _retest(result: Result, only: Collection[str]) -> str:
    """The checks that were taken again, each with what was found."""
    lines = [f"Retest of {result.bike}"]
    for check in result.checks:
        if check.id in only:
            lines.append(
                f"{words.SHAPES[check.verdict]} {check.verdict.upper()}  {check.title}: {words.because_of(check)}"
            )
    return "".join(f"{one_line(line)}\n" for line in lines)


def _quoted(name: object) -> str:
    return shlex.quote(str(name))
