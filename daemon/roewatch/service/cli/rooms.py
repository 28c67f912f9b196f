"""`roewatch rooms`: every room on a broker at a glance, from what it keeps of each daemon."""

import json as jsonlib
import sys
from collections.abc import Iterable
from threading import Event
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from roewatch.room.moment import at_ms_of_iso
from roewatch.service.cli.options import Json, RoomFile, json_line
from roewatch.service.cli.which_broker import Host, PasswordFile, Port, Username, broker_of
from roewatch.service.clock import WallClock

if TYPE_CHECKING:
    from roewatch.intake.message import Message

STATUSES = "roewatch/+/status"
WATCHING = "watching"


class Seen(NamedTuple):
    """One room's status as the broker keeps it.

    state: `watching`; `waiting` for its clock; `stale` when it should have said more by now, so
    that nobody knows; `stopped`; `gone` without a goodbye; or `unreadable`.
    kept: readings since the daemon's start; None when it does not say. at: when it said this.
    """

    room: str
    state: str
    since: str = ""
    version: str = ""
    kept: int | None = None
    at: str = ""


def rooms(
    room: RoomFile = None,
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.2, max=600.0, help="How long to listen.")
    ] = 2.0,
    host: Host = None,
    port: Port = 1883,
    username: Username = "",
    password_file: PasswordFile = None,
    json: Json = False,
) -> None:
    """Show every room that speaks on a broker, and whether its daemon watches.

    Changes nothing. Exit status: 0 all of them watch, 1 one does not or there is none, 2 could
    not run.
    """
    from roewatch.service.overheard import overhear  # noqa: PLC0415  # network libraries are heavy

    broker = broker_of(room, host=host, port=port, username=username, password_file=password_file)
    now_ms = WallClock().now_ms
    heard = overhear(broker, STATUSES, seconds, now_ms=now_ms, stop=Event())
    found = seen(heard, now_ms())
    if json:
        for one in found:
            json_line(one._asdict())
    else:
        _show(found)
    if not found:
        print(
            f"No room has ever spoken at {broker.address}. May this user read {STATUSES}?",
            file=sys.stderr,
        )
    if not found or any(one.state != WATCHING for one in found):
        raise typer.Exit(1)


def seen(messages: "Iterable[Message]", now_ms: int) -> list[Seen]:
    """The latest status of each room, by name; what is no status of ours is `unreadable`."""
    latest = {message.topic.split("/")[1]: _read(message, now_ms) for message in messages}
    return [latest[name] for name in sorted(latest)]


def _read(message: "Message", now_ms: int) -> Seen:
    name = message.topic.split("/")[1]
    try:
        said = jsonlib.loads(message.payload)
        kept = said.get("counts", {}).get("kept")
        good_until = said.get("good_until")
        stale = good_until is not None and now_ms > at_ms_of_iso(good_until)
        return Seen(
            name,
            "stale" if stale else str(said["state"]),
            str(said["since"]),
            str(said["version"]),
            kept if isinstance(kept, int) else None,
            str(said.get("at", "")),
        )
    except (ValueError, KeyError, AttributeError, RecursionError, TypeError):
        return Seen(name, "unreadable")


def _show(found: list[Seen]) -> None:
    heads = ("room", "state", "since", "version", "readings kept", "said at")
    table = Table(*heads, box=None, pad_edge=False)
    for one in found:
        style = "" if one.state == WATCHING else "bold red"
        kept = "" if one.kept is None else f"{one.kept:,}"
        table.add_row(*(Text(text, style) for text in (*one[:4], kept, one.at)))
    if found:
        Console().print(table)
