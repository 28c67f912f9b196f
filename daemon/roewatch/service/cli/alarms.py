"""`roewatch alarms`: what is wrong, who has it, and how well the alarms serve."""

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from roewatch.alarms.alarm import Alarm, AlarmChange, State
from roewatch.alarms.line import line_of
from roewatch.alarms.rationale import title_of
from roewatch.room.moment import iso, span_text
from roewatch.service.cli.options import (
    By,
    Json,
    RoomFile,
    here,
    json_line,
    now_of,
    person,
    setup_of,
    span_option,
)
from roewatch.service.control import ask

if TYPE_CHECKING:
    from roewatch.service.settings.load import Setup
    from roewatch.storage.reader import Records

app = typer.Typer(
    help="What is wrong, who has it, and how well the alarms serve.", no_args_is_help=True
)

Number = Annotated[int, typer.Argument(help="The alarm's number, as `alarms list` shows it.")]
Numbers = Annotated[list[int], typer.Argument(help="Numbers, as `alarms list` shows them.")]
Tank = Annotated[
    str | None, typer.Option("--tank", help="Only this tank, or `room`.", show_default=False)
]
Why = Annotated[str, typer.Option("--why", help="The reason; it is kept and shown.")]
MOST = 100_000


@app.command("list")
def list_open(room: RoomFile = None, tank: Tank = None, json: Json = False) -> None:
    """Every alarm that is not back to normal, most urgent first."""
    with here(room) as (setup, records):
        found = records.alarms(open_only=True, tank=_tank(setup, tank), limit=MOST)
    found.sort(key=lambda alarm: (alarm.priority.rank, alarm.raised_ms))
    _tell(found, json=json)
    if not found:
        print("No open alarm.", file=sys.stderr)


@app.command()
def acknowledge(numbers: Numbers, room: RoomFile = None, by: By = None) -> None:
    """Say that somebody has seen these alarms; their reminders and escalation end."""
    _each(room, numbers, "acknowledge", by=person(by))


@app.command()
def shelve(
    number: Number,
    why: Why,
    for_: Annotated[str, typer.Option("--for", help="How long, at most a day, e.g. 2h.")],
    room: RoomFile = None,
    by: By = None,
) -> None:
    """Silence one alarm for a while; it asks again by itself if its condition still holds."""
    _each(room, [number], "shelve", for_ms=span_option(for_), why=why, by=person(by))


@app.command()
def unshelve(numbers: Numbers, room: RoomFile = None, by: By = None) -> None:
    """End the silence of shelved alarms now."""
    _each(room, numbers, "unshelve", by=person(by))


@app.command("out-of-service")
def out_of_service(number: Number, why: Why, room: RoomFile = None, by: By = None) -> None:
    """Silence one alarm for repairs, until somebody returns it to service."""
    _each(room, [number], "out-of-service", why=why, by=person(by))


@app.command("return")
def return_to_service(numbers: Numbers, room: RoomFile = None, by: By = None) -> None:
    """Put alarms back in service; they ask again if their condition holds."""
    _each(room, numbers, "return", by=person(by))


@app.command()
def reset(numbers: Numbers, room: RoomFile = None, by: By = None) -> None:
    """Close alarms that stayed open after harm to eggs or fry, once you have looked."""
    _each(room, numbers, "reset", by=person(by))


@app.command()
def history(
    number: Annotated[
        int | None, typer.Argument(help="One alarm's whole life, with its notices.")
    ] = None,
    room: RoomFile = None,
    tank: Tank = None,
    last: Annotated[str, typer.Option("--last", help="How far back, e.g. 30d.")] = "7d",
    json: Json = False,
) -> None:
    """Alarms raised lately; or with a number, that alarm's changes, notices and receipts."""
    back_ms = span_option(last)
    with here(room) as (setup, records):
        from_ms = now_of(records) - back_ms
        if number is not None:
            _tell_life(records, number, json=json)
            return
        found = records.alarms(tank=_tank(setup, tank), from_ms=from_ms, limit=MOST)
        _tell(reversed(found), json=json)
        if not found:
            print(f"No alarm was raised since {iso(from_ms)}.", file=sys.stderr)


@app.command()
def performance(
    room: RoomFile = None,
    last: Annotated[str, typer.Option("--last", help="How far back, e.g. 30d.")] = "30d",
    json: Json = False,
) -> None:
    """How well the alarms served: how many, how fast answered, which to mend."""
    from roewatch.alarms.performance import (  # noqa: PLC0415
        performance_data,
        performance_text,
    )
    from roewatch.views.performance_page import performance_over  # noqa: PLC0415

    back_ms = span_option(last)
    with here(room) as (setup, records):
        to_ms = now_of(records)
        found = performance_over(records, to_ms - back_ms, to_ms, setup.room.zone)
    if json:
        json_line(performance_data(found))
    else:
        print(performance_text(found))


def _each(room: RoomFile, numbers: Iterable[int], do: str, **what: Any) -> None:
    """Ask the daemon for one errand per alarm. Raises NoDaemonError, NotDoneError."""
    setup = setup_of(room)
    for number in numbers:
        ask(setup.storage.path, do, number=number, **what)
        print(f"alarm {number}: {do} done", file=sys.stderr)


def _tank(setup: "Setup", tank: str | None) -> str | None:
    known = [found.id for found in setup.room.tanks] + ["room"]
    if tank is not None and tank not in known:
        raise typer.BadParameter(f"no tank {tank!r}; there are: {', '.join(known)}")
    return tank


def _row(alarm: Alarm) -> dict[str, Any]:
    return {
        "number": alarm.number,
        **line_of(alarm, alarm.raised_ms),
        "since": iso(alarm.since_ms),
        "returned": None if alarm.returned_ms is None else iso(alarm.returned_ms),
        "acknowledged_by": alarm.acknowledged_by or None,
        "shelved_until": None if alarm.shelved_until_ms is None else iso(alarm.shelved_until_ms),
        "why": alarm.shelved_why or None,
    }


def _tell(found: Iterable[Alarm], *, json: bool) -> None:
    for alarm in found:
        if json:
            json_line(_row(alarm))
            continue
        title = title_of(alarm.kind, alarm.quantity)
        print(
            f"{alarm.number:>5}  {alarm.priority:<7} {_state(alarm):<15} {alarm.tank:<5} "
            f"{iso(alarm.raised_ms)[:16]}Z  {title}: {alarm.message}"
        )


def _state(alarm: Alarm) -> str:
    if alarm.state is State.SUPPRESSED:
        return "suppressed"
    return alarm.state.value


def _tell_life(records: "Records", number: int, *, json: bool) -> None:
    alarm = records.alarm(number)
    if alarm is None:
        raise typer.BadParameter(f"no alarm {number} was ever raised")
    for change in records.changes(number):
        _tell_change(change, json=json)
    for notice, receipt in records.told(number):
        row = {
            "notice": notice.id,
            "time": iso(notice.made_ms),
            "about": notice.about.value,
            "contact": notice.contact,
            "way": notice.way,
            "outcome": receipt.outcome.value if receipt else None,
            "reason": receipt.reason if receipt else "",
            "attempts": receipt.attempt if receipt else 0,
        }
        if json:
            json_line(row)
        else:
            became = f"{row['outcome']} {row['reason']}".strip() if receipt else "not yet sent"
            print(f"{row['time']}  told {notice.way} ({notice.about}): {became}")


def _tell_change(change: AlarmChange, *, json: bool) -> None:
    alarm = change.alarm
    if json:
        row = _row(alarm) | {"time": iso(change.at_ms), "before": change.before.value}
        json_line(row)
        return
    lasted = span_text(change.at_ms - alarm.raised_ms)
    by = f" by {alarm.acknowledged_by}" if alarm.state is State.ACKNOWLEDGED else ""
    print(f"{iso(change.at_ms)}  after {lasted}: {_state(alarm)}{by}. {alarm.message}")
