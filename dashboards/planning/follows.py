"""What follows from the answers: what is not planned, what deserves a second look, currents, drops and limits."""

import re
from collections.abc import Sequence
from typing import Any

from dash import html

from benchlog.core.folding import held_together
from benchlog.plan.model import Plan, slots_in_order
from benchlog.plan.paths import feed_path, ground_path
from benchlog.plan.questions.working_out import WorkedOut
from benchlog.report.plan import CAUTION, budget, circuit_cells, limit_text, path_cells, what_sets
from benchlog.verdict.advice import Advice, advice
from benchlog.verdict.registry.table import check_of, find_check, limits_of, not_planned

_SEVERITY = {"fire": "Fire risk", "warning": "Warning", "note": "Note"}


def follows(found: WorkedOut, remarks: Sequence[Advice]) -> list[Any]:
    """The panel beside the form.

    Args:
        found: what the answers come to. remarks: of its plan, the gravest first.
    """
    plan, why = found.plan_so_far()
    if plan is None:
        return [_not_yet(found, why)]
    return [
        html.P(_summary(plan), className="summary"),
        *([html.P(f"Alternator: {held_together(told)}.")] if (told := budget(plan)) else []),
        *_not_planned(plan, found),
        *_remarks(remarks, plan),
        *_circuits(plan),
        *_paths(plan),
        _limits(plan),
        html.P(CAUTION, className="quiet"),
    ]


def remarks_on(found: WorkedOut) -> list[Advice]:
    """What the plan as a whole has to say; nothing where there is none yet."""
    plan, _ = found.plan_so_far()
    return [] if plan is None else advice(plan)


def _not_yet(found: WorkedOut, why: tuple[str, ...]) -> html.Div:
    if why:
        return html.Div(
            [html.P("These answers do not agree:"), html.Ul([html.Li(text) for text in why])],
            className="problem",
        )
    lacks = [_within(found.states[place].question.text) for place in ("install.bike", "battery.capacity_ah")
             if found.states[place].missing or found.states[place].fault]  # fmt: skip
    return html.Div(
        html.P(f"What follows from the plan stands here once it has the {' and the '.join(lacks)}."), className="empty"
    )


def _within(label: str) -> str:
    """A label within a sentence: units keep their letters."""
    return label[:1].lower() + label[1:]


def _summary(plan: Plan) -> str:
    count = len(plan.circuit)
    judged, missing = len(limits_of(plan)), len(not_planned(plan))
    return (
        f"Planned load {plan.planned_load_a:.4g} A in {count} circuit{'' if count == 1 else 's'}; "
        f"{judged} of {judged + missing} checks have a limit."
    )


def _not_planned(plan: Plan, found: WorkedOut) -> list[Any]:
    missing = not_planned(plan)
    if not missing:
        return []
    lines = [html.Li([html.Strong(_title(each)), f": {held_together(_asked(each, found))}"]) for each in missing]
    return [html.H3("Not planned, and what sets it"), html.Ul(lines)]


def _asked(check_id: str, found: WorkedOut) -> str:
    """What sets a limit, by the words of the form in place of the plan's keys."""

    def in_words(key: re.Match[str]) -> str:
        state = found.states.get(found.asked_at(key[0]))
        return key[0] if state is None else f"“{state.question.text}”"

    return re.sub(r"[a-z]+\.[a-z]\w+", in_words, what_sets(check_id))


def _remarks(remarks: Sequence[Advice], plan: Plan) -> list[Any]:
    lines: list[Any] = []
    if count := len(plan.install.suggested):
        many = "One limit is a suggestion" if count == 1 else f"{count} limits are suggestions"
        lines.append(html.Li(f"{many} that nobody has confirmed yet; confirm what you want, or type your own."))
    # what is not planned, and what is not confirmed, the page says in its own way
    lines[:0] = [
        html.Li([html.Strong(f"{_SEVERITY[one.severity]}: "), held_together(one.text)], className=f"is-{one.severity}")
        for one in remarks
        if one.about not in ("install.suggested", "limits")
    ]
    if not lines:
        return []
    return [html.H3("Worth a second look"), html.Ul(lines, className="remarks")]


def _circuits(plan: Plan) -> list[Any]:
    if not plan.circuit:
        return []
    rows = []
    for circuit in slots_in_order(plan):
        slot, device, planned, may, fuse, wire, drop = circuit_cells(circuit)
        rows.append([f"{slot} {device}", planned, may, f"{fuse}, {wire}", drop])
    heads = ("Slot", "Planned", "May draw", "Fuse, wire", "Drop")
    return [html.H3("Circuits"), _table("The drop of each circuit's own wire is one way.", heads, rows)]


def _paths(plan: Plan) -> list[Any]:
    paths = [(name, path) for name, path in (("Feed", feed_path(plan)), ("Ground", ground_path(plan))) if path]
    if not paths:
        return []
    rows = [[name, *(path_cells(path, plan.planned_load_a)[n] for n in (0, 3, 4))] for name, path in paths]
    caption = "Wire with its joints, fuse and contact."
    return [html.H3("Common wires at the planned load"), _table(caption, ("Path", "Wire", "Resists", "Drop"), rows)]


def _limits(plan: Plan) -> html.Details:
    left = {f"limits.{key}" for key in plan.install.suggested}
    rows = []
    for check_id, limit in limits_of(plan).items():
        origin = "suggested" if left & set(limit.how.split(" and ")) else limit.origin
        rows.append([_title(check_id), limit_text(check_of(check_id).kind, limit), f"{origin}: {limit.how}"])
    caption = "Where each comes from: given, suggested and not confirmed, or derived."
    return html.Details([html.Summary(f"All {len(rows)} limits"), _table(caption, ("Check", "Limit", "From"), rows)])


def _table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> html.Table:
    return html.Table(
        [
            html.Caption(caption),
            html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])),
            html.Tbody(
                [
                    html.Tr([html.Th(row[0], scope="row"), *(html.Td(held_together(each)) for each in row[1:])])
                    for row in rows
                ]
            ),
        ],
        className="draws",
    )


def _title(check_id: str) -> str:
    known = find_check(check_id)
    return check_id if known is None else known.title
