"""The hand-over sheet: the rider's page first, then one or two of figures, to be signed here or on paper."""

from datetime import tzinfo
from typing import Any

from dash import Dash, Output, dcc, html, no_update

from benchlog.core.contact import MOST_CONTACT, keep_contact, kept_contact
from benchlog.core.errors import BenchlogError
from benchlog.report import words
from benchlog.store import Record
from benchlog.store.listing import search_words
from dashboards.context import Context
from dashboards.looked import behind
from dashboards.parts.attributes import attributes
from dashboards.parts.badge import badge
from dashboards.parts.boxes import boxes
from dashboards.parts.checks import check_table
from dashboards.parts.danger import dangers
from dashboards.parts.draws import draws_section
from dashboards.parts.next_steps import next_steps
from dashboards.pressed import data, on_press, values
from dashboards.record_page import for_rider, record_boxes
from dashboards.words.times import spoken, zone_of

#: A name and a few lines; the sheet has no room for more.
MOST_NAME, MOST_NOTES = 80, 600


def sheet_page(context: Context, number: int, zone: tzinfo) -> tuple[str, list[Any]]:
    """Title and content.

    Raises:
        BenchlogError: there is no such record.
    """
    record = behind(context, f"record {number}").record
    assert record is not None  # a record's source gives a record
    result = record.result
    logs = ", ".join(f"{log.name} (SHA-256 {log.sha256[:12]}…)" for log in record.logs)
    content: list[Any] = [
        dcc.Store(id="source", data=f"record {number}"),
        html.Header(
            [
                html.P("Hand-over sheet", className="kind"),
                html.H1(record.bike),
                html.P([badge(result.verdict), html.Span(words.verdict_sentence(result))], className="verdict"),
                *dangers(result),
                html.Div(
                    [
                        html.Button(
                            "Print this sheet",
                            type="button",
                            className="button",
                            **attributes(data_print="1"),
                        ),
                        html.A("Back to the result", href=f"/record/{number}"),
                    ],
                    className="row links screen-only",
                ),
            ],
            className="top",
        ),
        html.Div(for_rider(record, zone), id="rider-page"),
        html.Section(
            [
                html.H2("The sheet"),
                boxes([*record_boxes(record, zone), ("Score", f"{words.score_sentence(result)}."), ("Logs", logs)]),
                boxes([("Hash of this sheet", record.hash), ("Last hash in the store", context.store.head()[1])]),
            ]
        ),
        next_steps(result),
        *found_and_mended(record),
        html.Section([html.H2("Checks"), check_table(result, {})]),
        draws_section(record.walks),
        html.Section([html.H2("Cautions"), html.Ul([html.Li(text) for text in words.CAUTIONS])], className="cautions"),
        html.Section([html.H2("Hand-over"), html.Div(signed(record, zone), id="signed")], className="handover"),
        html.Section([*_sign_form(), *_contact_form()], className="form screen-only"),
    ]
    return f"{record.bike}, hand-over sheet {number}", content


def found_and_mended(record: Record) -> list[html.Section]:
    """What a search for a fault's place found, and what was mended; nothing where none is kept."""
    told = [*record.corrected_searches, *record.searches]
    if not told:
        return []
    lines = [html.Li(sentence(search_words(search, record.number))) for search in told]
    return [html.Section([html.H2("Found and mended"), html.Ul(lines)])]


def sentence(text: str) -> str:
    """A line as a sentence."""
    return f"{text[:1].upper()}{text[1:]}."


def signed(record: Record, zone: tzinfo) -> list[Any]:
    """The signatures given, and one empty set of boxes for a pen."""
    given = [
        boxes(
            [("Signed by", s.by), ("Date", spoken(s.at, zone)), *([("Notes", s.notes)] if s.notes else [])],
            className="signature",
        )
        for s in record.signatures
    ]
    paper = html.Dl(
        [
            html.Div([html.Dt(name), html.Dd()], className=f"line {size}".strip())
            for name, size in (("Signed by", ""), ("Date", ""), ("Notes", "tall"))
        ],
        className="print-only" if given else "pen",
    )
    return [*given, paper]


def _contact_form() -> list[Any]:
    return [
        html.H2("Whom the rider calls"),
        html.P(
            "The installer, with a telephone number; kept on this computer for every rider's page.", className="fact"
        ),
        html.Label(
            [
                html.Span("Whom to call"),
                dcc.Input(id="contact", type="text", maxLength=MOST_CONTACT, value=kept_contact()),
            ]
        ),
        html.Button("Keep it", id="keep-contact", type="button", className="button"),
        html.P(id="contact-said", role="status"),
    ]


def keep(context: Context, source: object, text: object, zone: tzinfo) -> tuple[html.Section | None, str]:
    """Keep the contact; gives the rider's page anew, None where nothing was kept, and what is to be said."""
    try:
        record = behind(context, source).record
        kept = keep_contact(str(text or ""))
        return None if record is None else for_rider(record, zone), f"Kept: {kept}."
    except BenchlogError as problem:
        return None, f"{str(problem)[:1].upper()}{str(problem)[1:]}."


def _sign_form() -> list[Any]:
    return [
        html.H2("Sign here"),
        html.P(
            "A signature holds for this sheet as it stands and cannot be taken back. A wrong one is corrected by "
            "another that says so.",
            className="fact",
        ),
        html.Label([html.Span("Name"), dcc.Input(id="sign-by", type="text", maxLength=MOST_NAME, autoComplete="name")]),
        html.Label([html.Span("Notes"), dcc.Textarea(id="sign-notes", maxLength=MOST_NOTES, rows=3)]),
        html.Button("Sign the sheet", id="sign", type="button", className="button"),
        html.P(id="sign-said", role="status"),
    ]


def sign(context: Context, source: object, by: object, notes: object, zone: tzinfo) -> tuple[list[Any] | None, str]:
    """Sign; gives the signatures anew, None where nothing was signed, and what is to be said.

    Args:
        source: ``record N``. by, notes: as typed.
    """
    name, text = str(by or "").strip(), str(notes or "").strip()
    if not name:
        return None, "A name is needed: write who signs."
    if len(name) > MOST_NAME or len(text) > MOST_NOTES:
        return None, f"At most {MOST_NAME} characters for the name and {MOST_NOTES} for the notes fit on the sheet."
    try:
        record = behind(context, source).record
        if record is None:
            return None, "Only a saved sheet can be signed; save it first."
        context.store.sign(record.number, name, text)
        return signed(context.store.record(record.number), zone), f"Signed by {name}."
    except BenchlogError as problem:
        return None, str(problem)


def register(app: Dash, context: Context) -> None:
    """Connect the forms."""

    @on_press(
        app,
        "keep-contact",
        [Output("rider-page", "children"), Output("contact-said", "children")],
        [*values("contact"), *data("source", "here")],
    )
    def _keep(text, source, here):  # type: ignore[no-untyped-def]  # Dash calls it by position
        anew, said = keep(context, source, text, zone_of((here or {}).get("zone")))
        return no_update if anew is None else anew, said

    said = [Output("signed", "children"), Output("sign-said", "children")]
    boxes_left = [Output("sign-by", "value"), Output("sign-notes", "value")]

    @on_press(app, "sign", [*said, *boxes_left], [*values("sign-by", "sign-notes"), *data("source", "here")])
    def _sign(by, notes, source, here):  # type: ignore[no-untyped-def]  # Dash calls it by position
        anew, said = sign(context, source, by, notes, zone_of((here or {}).get("zone")))
        return (no_update, said, no_update, no_update) if anew is None else (anew, said, "", "")
