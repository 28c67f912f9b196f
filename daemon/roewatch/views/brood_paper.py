"""A brood on paper: its report as a page or a PDF, and the sheet that hangs beside the tank."""

from urllib.parse import quote
from zoneinfo import ZoneInfo

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from roewatch.breeding.count import Counted
from roewatch.room.moment import DAY_MS
from roewatch.views.brood_bar import bar_svg
from roewatch.views.brood_form import brood_here
from roewatch.views.brood_report import Sources, report_html, style_hash
from roewatch.views.brood_words import (
    COUNTS,
    PaperWords,
    bar_for,
    day_words,
    lines,
    tanks_words,
)
from roewatch.views.pages import Desk, theme_of, units_of
from roewatch.views.paper import NoPaperError, pdf

_SHEET_WIDTH = 480
_SHEET_TODOS = 8


def sources_of(desk: Desk) -> Sources:
    """What reports of this room are made from."""
    return Sources(records=desk.records, room=desk.live.room(), broods=desk.broods, past=desk.past)


def report_page(desk: Desk, request: Request) -> Response:
    """The report, as a page or, by its address, as a PDF."""
    brood = brood_here(desk, request.path_params["brood"])
    now_ms, units = desk.live.now_ms(), units_of(request)
    if not request.url.path.endswith(".pdf"):
        theme, back = theme_of(request), f"/broods/{quote(brood.id)}"
        html = report_html(sources_of(desk), brood, now_ms, units, theme=theme, back=back)
        policy = f"default-src 'none'; style-src '{style_hash()}'; frame-ancestors 'none'"
        return HTMLResponse(html, headers={"content-security-policy": policy})
    try:
        paper = pdf(report_html(sources_of(desk), brood, now_ms, units))
    except NoPaperError as fault:
        raise HTTPException(501, str(fault)) from fault
    name = f'inline; filename="brood-{brood.id}.pdf"'
    return Response(paper, media_type="application/pdf", headers={"content-disposition": name})


def brood_sheet(desk: Desk, request: Request) -> Response:
    """One page of A5: what the brood is, what is due, what was counted, and room to write."""
    brood = brood_here(desk, request.path_params["brood"])
    room, now_ms = desk.live.room(), desk.live.now_ms()
    say = PaperWords(now_ms, ZoneInfo(room.zone))
    outlook = desk.broods.outlook(brood, now_ms)
    title = f"Brood {brood.id}: {day_words(brood, now_ms)}"
    bar = bar_svg(bar_for(brood, outlook.forecast, now_ms), title=title, width=_SHEET_WIDTH)
    due = [todo for todo in outlook.todos if todo.due_ms <= now_ms + 7 * DAY_MS]
    return desk.alone(
        request,
        "brood_sheet.html",
        say=say,
        brood=brood,
        parents=brood.parents,
        tanks_words=tanks_words(brood),
        bar=Markup(bar),  # noqa: S704 our own drawing, every text in it escaped
        lines=lines(brood, outlook.forecast, say),
        todos=due[:_SHEET_TODOS],
        counts=[
            {"name": COUNTS[kind], "text": brood.counts[kind].text if kind in brood.counts else ""}
            for kind in Counted
        ],
        printed=f"{room.name}, times in {room.zone}. Printed {say.when(now_ms)}.",
    )
