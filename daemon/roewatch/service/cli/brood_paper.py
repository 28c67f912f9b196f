"""`roewatch brood report` and `compare`: what a brood was, and what all of them say together."""

import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from roewatch.breeding.compare import Attempted, Factor, Group, compared
from roewatch.breeding.tally import Success
from roewatch.service.cli.brood_given import Which, desk
from roewatch.service.cli.options import Json, RoomFile, json_line

if TYPE_CHECKING:
    from roewatch.breeding.brood import Brood

papers = typer.Typer()


@papers.command("report")
def report(
    which: Which,
    to: Annotated[
        Path | None,
        typer.Option("--to", help="A file ending in .html or .pdf; else HTML to stdout."),
    ] = None,
    room: RoomFile = None,
) -> None:
    """Everything about one brood on one page: timeline, graphs, counts, alarms, water, plan."""
    from roewatch.views.brood_report import Sources, report_html  # noqa: PLC0415
    from roewatch.views.paper import NoPaperError, pdf  # noqa: PLC0415
    from roewatch.views.week import Past  # noqa: PLC0415

    if to is not None and to.suffix not in {".html", ".pdf"}:
        raise typer.BadParameter(f"{to} ends in neither .html nor .pdf", param_hint="--to")
    with desk(room) as here:
        brood = here.brood(which)
        past = Past(windows_of=here.setup.windows_of, named_of=here.setup.stage_named)
        sources = Sources(
            records=here.records,
            room=here.setup.room,
            broods=here.book,
            past=past,
            judged=False,
        )
        page = report_html(sources, brood, here.now_ms)
    if to is None:
        print(page)
        return
    if to.suffix == ".html":
        to.write_text(page, encoding="utf-8")
    else:
        try:
            to.write_bytes(pdf(page))
        except NoPaperError as missing:
            raise typer.BadParameter(str(missing), param_hint="--to") from None
    print(f"wrote {to}", file=sys.stderr)


@papers.command("compare")
def compare(
    factor: Annotated[Factor, typer.Option("--by", help="What to sort them by.")] = Factor.WATER,
    success: Annotated[
        Success, typer.Option("--what", help="Which success to compare.")
    ] = Success.HATCHED,
    species: Annotated[
        str | None,
        typer.Option("--species", help="A sheet's name; else the one with most broods."),
    ] = None,
    room: RoomFile = None,
    json: Json = False,
) -> None:
    """Which water, warmth, pair or food gave the better broods, or that one cannot say yet."""
    with desk(room) as here:
        broods = [brood for brood in here.book.broods() if brood.spawned_ms is not None]
        chosen = species if species is not None else _usual(broods)
        attempts = [
            Attempted(brood=brood, celsius=here.book.eggs_celsius(brood, here.now_ms))
            for brood in broods
            if brood.species == chosen
        ]
    if species is not None and not attempts:
        known = ", ".join(sorted({brood.species for brood in broods})) or "none yet"
        raise typer.BadParameter(f"no brood of {species!r} has spawned; there are: {known}")
    found = compared(attempts, factor, success)
    if json:
        from roewatch.views.brood_wire import comparison_json  # noqa: PLC0415

        json_line(comparison_json(found, chosen))
        return
    print(f"{chosen or 'no brood yet'}, {success} by {factor}")
    for group in found.groups:
        print(f"  {_group_line(group)}")
    print(found.verdict)
    for words in found.mixed_up:
        print(f"But {words}.")
    for brood_id, why in found.left_out.items():
        print(f"left out: {brood_id}, {why}", file=sys.stderr)


def _usual(broods: "list[Brood]") -> str:
    counted = Counter(brood.species for brood in broods)
    return counted.most_common(1)[0][0] if counted else ""


def _group_line(group: Group) -> str:
    broods = f"{len(group.tallies)} brood{'s' if len(group.tallies) != 1 else ''}"
    if group.share is None:
        return f"{group.name}: {broods}, {group.trials:g} in all; too few for an interval"
    share = group.share
    return (
        f"{group.name}: {100 * share.value:.0f} % (95 % interval {100 * share.low:.0f} to "
        f"{100 * share.high:.0f}), {broods}, {group.trials:g} in all"
    )
