"""`roewatch brood`: one attempt from conditioning to moved-on fry, on its clocks."""

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from roewatch.breeding.record import BroodAct, written
from roewatch.room.stage import Stage
from roewatch.service.cli.brood_act import acts, tell
from roewatch.service.cli.brood_given import At, Desk, Which, desk
from roewatch.service.cli.brood_paper import papers
from roewatch.service.cli.options import By, Json, RoomFile, json_line, person, setup_of
from roewatch.service.control import ask

app = typer.Typer(
    help="Broods: start one, record what happens, and see what its clocks say.",
    no_args_is_help=True,
)

_WORDS = "a word or two; kept with the brood and compared by"


@app.command()
def start(  # noqa: PLR0913, PLR0917  # options, by name
    tank: Annotated[str, typer.Argument(help="The tank it begins in.")],
    species: Annotated[
        str | None,
        typer.Option("--species", help="A species sheet's name; else the tank's."),
    ] = None,
    parents: Annotated[str, typer.Option("--parents", help=f"Pair or group: {_WORDS}.")] = "",
    water: Annotated[str, typer.Option("--water", help=f"The water's recipe: {_WORDS}.")] = "",
    food: Annotated[str, typer.Option("--food", help=f"What they are fed: {_WORDS}.")] = "",
    light: Annotated[
        str, typer.Option("--light", help="When the lamp is on, by the room's clock: 07:00-21:00.")
    ] = "",
    plan: Annotated[str, typer.Option("--plan", help="What is meant to happen, in words.")] = "",
    tanks: Annotated[str, typer.Option("--tanks", help="Further tanks, with commas.")] = "",
    stage: Annotated[
        Stage, typer.Option("--stage", help="The stage its tanks go into.")
    ] = Stage.CONDITIONING,
    number: Annotated[
        str | None,
        typer.Option("--number", help="Its number; else the next of the year.", show_default=False),
    ] = None,
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Begin a brood in a tank; prints its number."""
    with desk(room) as here:
        if species is None:
            species = next((t.species for t in here.setup.room.tanks if t.id == tank), "")
        told = {
            "species": species, "parents": parents, "water": water, "food": food,
            "light": light, "plan": plan, "tanks": tanks, "stage": stage.value,
        }  # fmt: skip
        said: dict[str, Any] = {
            "act": BroodAct.STARTED.value,
            "by": person(by),
            "tank": tank,
            "fields": {name: text.strip() for name, text in told.items() if text.strip()},
        }
        at_ms = here.moment(at)
        if at_ms is not None:
            said["at_ms"] = at_ms
        if number is not None:
            said["brood"] = number
        kept = here.send(said)
        if json:
            json_line(written(kept[0]))
            return
        tell(here, None, kept)


@app.command("list")
def list_broods(
    room: RoomFile = None,
    everything: Annotated[bool, typer.Option("--all", help="Ended ones too.")] = False,
    json: Json = False,
) -> None:
    """The broods under way, with what each asks for next."""
    from roewatch.service.cli.brood_said import brood_object, heading, todo_object  # noqa: PLC0415

    with desk(room) as here:
        found = [brood for brood in here.book.broods() if brood.open or everything]
        sheets = here.book.sheets()
        for brood in found:
            seen = here.book.outlook(brood, here.now_ms)
            following = next((todo for todo in seen.todos if not todo.flag), None)
            if json:
                todo = todo_object(following, here.now_ms) if following else None
                json_line(brood_object(brood, seen, sheets) | {"next": todo})
                continue
            print(heading(brood, sheets, here.now_ms))
            if following is not None:
                print(f"    next: {following.words}")
        if not found:
            print(
                "No brood is under way; begin one with `roewatch brood start TANK`.",
                file=sys.stderr,
            )


@app.command()
def show(
    which: Which,
    room: RoomFile = None,
    json: Json = False,
) -> None:
    """One brood: its clocks with their windows, its to-dos, counts and records."""
    from roewatch.service.cli import brood_said as said  # noqa: PLC0415

    with desk(room) as here:
        brood = here.brood(which)
        seen = here.book.outlook(brood, here.now_ms)
        zone, now_ms = here.zone, here.now_ms
        if json:
            records = [said.record_object(r, brood) for r in here.book.records(brood.id)]
            todos = [said.todo_object(todo, now_ms) for todo in seen.todos]
            whole = said.brood_object(brood, seen, here.book.sheets())
            json_line(whole | {"todos": todos, "records": records})
            return
        for line in said.brood_lines(brood, seen, here.book.sheets(), zone, now_ms):
            print(line)
        near, later = said.sorted_out(seen.todos, now_ms)
        print("To do" if near else "Nothing to do within a day")
        for todo in near:
            print("\n".join(said.todo_lines(todo, zone, now_ms)))
        if later:
            print(f"  and {len(later)} later: roewatch brood todo {brood.id} --days 60")
        print("Records")
        print("\n".join(said.record_lines(brood, zone, now_ms)))


@app.command()
def todo(
    which: Annotated[
        str | None,
        typer.Argument(help="One brood's number or tank; else all.", show_default=False),
    ] = None,
    days: Annotated[float, typer.Option("--days", min=0, help="How far ahead to look.")] = 2.0,
    room: RoomFile = None,
    json: Json = False,
) -> None:
    """What the broods ask for, soonest first. Exit status 1 when something is late."""
    from roewatch.service.cli.brood_said import todo_lines, todo_object  # noqa: PLC0415

    with desk(room) as here:
        asked = _asked(here, which)
        until_ms = here.now_ms + round(days * 86_400_000)
        near = [one for one in asked if min(one.due_ms, one.from_ms) <= until_ms]
        for one in near:
            if json:
                json_line(todo_object(one, here.now_ms))
            else:
                print("\n".join(todo_lines(one, here.zone, here.now_ms)))
        late = any(one.late_ms(here.now_ms) > 0 for one in near)
    if not near:
        print(f"Nothing to do within {days:g} days.", file=sys.stderr)
    raise typer.Exit(1 if late else 0)


def _asked(here: Desk, which: str | None) -> tuple[Any, ...]:
    if which is None:
        return here.book.todos(here.now_ms)
    return here.book.outlook(here.brood(which), here.now_ms).todos


@app.command()
def calendar(
    to: Annotated[
        Path | None, typer.Option("--to", help="A file; else stdout.", show_default=False)
    ] = None,
    room: RoomFile = None,
) -> None:
    """The to-dos of all broods as an iCalendar file (RFC 5545), as the pages' feed has it."""
    text = ask(setup_of(room).storage.path, "calendar")
    if to is None:
        sys.stdout.write(text)
        return
    to.write_bytes(text.encode())
    print(f"{to}: written", file=sys.stderr)


app.registered_commands += papers.registered_commands
app.registered_commands += acts.registered_commands
