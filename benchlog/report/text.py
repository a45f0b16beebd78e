"""The result as a job sheet for a terminal: what needs work first, 80 columns."""

from collections.abc import Iterable, Iterator, Sequence

from benchlog.core.printable import one_line
from benchlog.report import words
from benchlog.verdict.result import Cause, Check, Result, Verdict

_MIN_WIDTH = 40
_HEADINGS: dict[Verdict, str] = {
    "fail": "FAIL",
    "not proven": "NOT PROVEN",
    "not seen": "NOT SEEN",
    "pass": "PASS",
    "not planned": "NOT PLANNED",
}
# terminal colours only underline what word and shape already say
_COLOURS: dict[Verdict, str] = {
    "fail": "1;31",
    "not proven": "1;33",
    "not seen": "1",
    "pass": "36",
    "not planned": "2",
}


def render_text(
    result: Result, *, width: int = 80, colour: bool = False, walks: Sequence[words.Walk] | None = None
) -> str:
    """The result as plain text, no line wider than ``width`` columns (40 at least); ends with a newline.

    Args:
        walks: what pulled fuses tell, for a result from the store; None for that of its evidence.
    """
    sheet = _Sheet(max(width, _MIN_WIDTH), colour, several_logs=len({c.log for c in result.checks if c.log}) > 1)
    lines = sheet.lines(result, words.walks_of(result) if walks is None else walks)
    return "\n".join(line.rstrip() for line in lines) + "\n"


class _Sheet:
    def __init__(self, width: int, colour: bool, several_logs: bool) -> None:
        self.width, self.colour, self.several_logs = width, colour, several_logs

    def lines(self, result: Result, walks: Sequence[words.Walk]) -> Iterator[str]:
        yield from self._leader(f"Install check: {result.bike}", f"benchlog {result.benchlog_version}", " ")
        yield "═" * self.width
        yield ""
        head = f"{words.SHAPES[result.verdict]} {_HEADINGS[result.verdict]}"
        yield self._paint(head, result.verdict)
        for danger in words.dangers(result):
            yield from self._wrapped(f"DANGER: {danger}", "  ")
        for sentence in (words.verdict_sentence(result), words.score_sentence(result), words.closest_sentence(result)):
            if sentence:
                yield from self._wrapped(sentence, "  ")
        told: set[str] = set()
        for verdict in words.READING_ORDER:
            yield from self._group(result, verdict, told)
        yield from self._other_causes([cause for cause in result.causes if cause.id not in told])
        yield from self._key_off_draws(walks)
        yield from self._section("Record")
        yield from self._wrapped(words.key_sentence(result), "  ")
        for note in result.notes:
            where = note.log if note.line is None else f"{note.log}, line {note.line}"
            yield from self._wrapped(f"{where}: {note.text}", "  · ", "    ")
        yield ""
        yield "═" * self.width
        yield from self._wrapped(
            "Caution: shorts, batteries, hot and moving parts and exhaust gas can hurt. The service manual, local "
            "rules and licensed practice come before this sheet.",
            "",
        )
        yield from self._end(result)

    def _end(self, result: Result) -> Iterator[str]:
        """What stays on the screen: verdict and failures."""
        yield ""
        head = f"{words.SHAPES[result.verdict]} {_HEADINGS[result.verdict]}"
        yield self._paint(head, result.verdict)
        for danger in words.dangers(result):
            yield from self._wrapped(f"DANGER: {danger}", "  ")
        for check in result.checks:
            if check.verdict == "fail":
                yield from self._wrapped(f"{words.SHAPES['fail']} {check.title}: {check.because}", "  ", "    ")

    def _group(self, result: Result, verdict: Verdict, told: set[str]) -> Iterator[str]:
        checks = [check for check in result.checks if check.verdict == verdict]
        if not checks:
            return
        yield from self._section(f"{_HEADINGS[verdict]}, {len(checks)}", verdict)
        for position, check in enumerate(checks):
            if position:
                yield ""
            yield from self._check(check)
            if verdict in ("fail", "not proven", "not seen"):
                yield from self._causes(words.causes_of(result, check), told)
            if test := words.next_test_of(result, check):
                yield from self._wrapped(f"→ {test}", "    ", "      ")

    def _check(self, check: Check) -> Iterator[str]:
        measured = words.measured_words(check)
        if check.measured is None and check.verdict == "not planned":
            measured = ""
        first, *rest = self._leader(f"{words.SHAPES[check.verdict]} {check.title}", measured, "·")
        yield self._paint(first[:1], check.verdict) + first[1:]
        yield from rest
        yield from self._wrapped(words.because_of(check), "    ")
        margin = words.margin_words(check)
        source = words.source_words(check) if self.several_logs else ""
        # the sentence has the limit already
        facts = [words.planned_words(check), f"{margin} the limit" if margin else "", source]
        if any(facts):
            yield from self._wrapped("; ".join(fact for fact in facts if fact), "    ")

    def _causes(self, causes: Iterable[Cause], told: set[str]) -> Iterator[str]:
        for cause in causes:
            if cause.id in told:
                yield from self._wrapped(f"→ {words.likeliness(cause)} cause, as above: {cause.text}", "    ", "      ")
                continue
            told.add(cause.id)
            yield from self._cause(cause)

    def _cause(self, cause: Cause) -> Iterator[str]:
        yield from self._wrapped(
            f"→ {words.likeliness(cause)} cause: {cause.text} ({words.fit_words(cause)})", "    ", "      "
        )
        for found in cause.evidence:
            yield from self._wrapped(f"found: {found}", "      ", "        ")
        yield from self._wrapped(f"next test: {cause.next_test}", "      ", "        ")

    def _other_causes(self, causes: list[Cause]) -> Iterator[str]:
        if causes:
            yield from self._section("Worth a look")
            for cause in causes:
                yield from self._cause(cause)

    def _key_off_draws(self, walks: Sequence[words.Walk]) -> Iterator[str]:
        if walks:
            yield from self._section(words.WALK_TITLE)
        for name, rows in walks:
            if len(walks) > 1:
                yield from self._wrapped(f"{name}:", "  ")
            for circuit, drawn, share in rows:
                yield from self._leader(f"  {circuit}", f"{drawn}; {share}" if share else drawn, "·")

    def _section(self, title: str, verdict: Verdict | None = None) -> Iterator[str]:
        yield ""
        head = f"── {title} "
        line = head + "─" * (self.width - len(head))
        yield self._paint(line, verdict) if verdict else line

    def _leader(self, left: str, right: str, fill: str) -> Iterator[str]:
        """``left`` and ``right`` at the two edges, dots between; on lines of their own where they do not fit."""
        left, right = one_line(left), one_line(right)
        room = self.width - _cells(left) - _cells(right) - 2
        if not right:
            yield from self._wrapped(left, "", "  ")
        elif room >= 3:
            yield f"{left} {fill * room} {right}"
        else:
            yield from self._wrapped(left, "", "  ")
            for line in self._wrapped(right, "    "):
                yield " " * (self.width - _cells(line)) + line

    def _wrapped(self, text: str, first: str, then: str | None = None) -> Iterator[str]:
        then = first if then is None else then
        line, lead = first, first
        for word in one_line(text).split(" "):
            while word:
                gap = "" if line == lead else " "
                if _cells(line + gap + word) <= self.width:
                    line, word = line + gap + word, ""
                elif line != lead:
                    yield line
                    line = lead = then
                else:  # a word wider than the sheet is cut
                    room = _fitting(word, self.width - _cells(lead))
                    yield lead + word[:room]
                    word, line, lead = word[room:], then, then
        if line != lead:
            yield line

    def _paint(self, text: str, verdict: Verdict) -> str:
        return f"\x1b[{_COLOURS[verdict]}m{text}\x1b[0m" if self.colour else text


def _cells(text: str) -> int:
    """Columns that the text takes; letters of some scripts take two."""
    from rich.cells import cell_len  # only those who render text pay for it

    return cell_len(text)


def _fitting(word: str, columns: int) -> int:
    """How many leading characters fit, one at least."""
    count = 1
    while count < len(word) and _cells(word[: count + 1]) <= columns:
        count += 1
    return count
