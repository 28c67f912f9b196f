"""Options that several commands share, and how they find the room file."""

import os
import signal
import threading
from pathlib import Path
from typing import Annotated

import typer

from roewatch.room.fault import Fault, SettingsError
from roewatch.room.moment import at_ms_of_iso, span_ms_of

RoomFile = Annotated[
    Path | None,
    typer.Option(
        "--room",
        help="The room's settings; else $ROEWATCH_ROOM, ./room.toml or /etc/roewatch/room.toml.",
        show_default=False,
    ),
]


def room_file(given: Path | None) -> Path:
    """The room file to use. Raises SettingsError saying where it was looked for."""
    if given is not None:
        return given
    named = os.environ.get("ROEWATCH_ROOM")
    places = [Path(named)] if named else [Path("room.toml"), Path("/etc/roewatch/room.toml")]
    for place in places:
        if place.is_file():
            return place
    raise SettingsError(
        [
            Fault(
                where=" or ".join(map(str, places)),
                what="no room file there",
                fix="Name one with --room",
            )
        ]
    )


def span_option(text: str) -> int:
    """A span such as `7d` or `90 s`, in milliseconds, refused as the command line refuses."""
    try:
        return span_ms_of(text)
    except ValueError as unreadable:
        raise typer.BadParameter(str(unreadable)) from None


def moment_option(text: str | None) -> int | None:
    """An ISO 8601 moment with a zone, in milliseconds; None stays None."""
    if text is None:
        return None
    try:
        return at_ms_of_iso(text)
    except ValueError as unreadable:
        raise typer.BadParameter(str(unreadable)) from None


def stop_on_signal(stop: threading.Event) -> None:
    """Let SIGTERM and Ctrl-C end the work in good order."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
