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

from roewatch.service.cli.options import Json, RoomFile, json_line
from roewatch.service.cli.which_broker import Host, PasswordFile, Port, Username, broker_of
from roewatch.service.clock import WallClock

if TYPE_CHECKING:
    from roewatch.intake.message import Message

STATUSES = "roewatch/+/status"
WATCHING = "watching"


class Seen(NamedTuple):
    """One room's status as the broker keeps it: `watching`, `stopped`, `gone` or `unreadable`.

    kept: readings since the daemon's start; None when it does not say.
    """

    room: str
    state: str
    since: str = ""
    version: str = ""
    kept: int | None = None


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
    found = seen(overhear(broker, STATUSES, seconds, now_ms=WallClock().now_ms, stop=Event()))
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


def seen(messages: "Iterable[Message]") -> list[Seen]:
    """The latest status of each room, by name; what is no status of ours is `unreadable`."""
    latest = {message.topic.split("/")[1]: _read(message) for message in messages}
    return [latest[name] for name in sorted(latest)]


def _read(message: "Message") -> Seen:
    name = message.topic.split("/")[1]
    try:
        said = jsonlib.loads(message.payload)
        kept = said.get("counts", {}).get("kept")
        return Seen(
            name,
            str(said["state"]),
            str(said["since"]),
            str(said["version"]),
            kept if isinstance(kept, int) else None,
        )
    except (ValueError, KeyError, AttributeError, RecursionError):
        return Seen(name, "unreadable")


def _show(found: list[Seen]) -> None:
    table = Table("room", "state", "since", "version", "readings kept", box=None, pad_edge=False)
    for one in found:
        style = "" if one.state == WATCHING else "bold red"
        kept = "" if one.kept is None else f"{one.kept:,}"
        table.add_row(*(Text(text, style) for text in (*one[:4], kept)))
    if found:
        Console().print(table)
