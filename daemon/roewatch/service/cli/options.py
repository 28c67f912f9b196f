"""Options that several commands share, and how they find the room file."""

import getpass
import json as jsonlib
import os
import signal
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from roewatch.room.fault import Fault, SettingsError
from roewatch.room.moment import at_ms_of_iso, span_ms_of
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Probe, Room
from roewatch.service.clock import WallClock

if TYPE_CHECKING:
    from roewatch.service.live import RoomRecords
    from roewatch.service.settings.load import Setup

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


def quantity_option(text: str) -> Quantity:
    """The quantity a person typed, refused as the command line refuses."""
    try:
        return Quantity(text.strip().lower())
    except ValueError:
        raise typer.BadParameter(
            f"no quantity {text!r}; there are: {', '.join(Quantity)}"
        ) from None


def stop_on_signal(stop: threading.Event) -> None:
    """Let SIGTERM and Ctrl-C end the work in good order."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())


Json = Annotated[bool, typer.Option("--json", help="One JSON object a line.")]
By = Annotated[
    str | None,
    typer.Option("--by", help="Who does it; else this machine's user.", show_default=False),
]


ProbeId = Annotated[str, typer.Argument(help="The probe's id, as `probe list` shows it.")]


def probe_named(room: Room, probe_id: str) -> Probe:
    """The probe of that id, refused as the command line refuses."""
    for probe in room.probes:
        if probe.id == probe_id:
            return probe
    known = ", ".join(probe.id for probe in room.probes)
    raise typer.BadParameter(f"no probe {probe_id!r}; there are: {known}")


def person(by: str | None) -> str:
    """Who does it: as given, else the user this runs as."""
    try:
        return by or getpass.getuser()
    except (OSError, KeyError):  # a user id without a name, as in a container
        raise typer.BadParameter("say who you are with --by NAME") from None


def setup_of(given: Path | None) -> "Setup":
    """The room the options name. Raises SettingsError."""
    from roewatch.service.settings.load import load_setup  # noqa: PLC0415  # half a second

    return load_setup(room_file(given), os.environ)


@contextmanager
def here(given: Path | None) -> Iterator[tuple["Setup", "RoomRecords"]]:
    """The room and its records. Raises SettingsError; queries raise StoreError."""
    from roewatch.service.live import RoomRecords  # noqa: PLC0415

    setup = setup_of(given)
    records = RoomRecords(setup.storage.path, setup.room)
    try:
        yield setup, records
    finally:
        records.close()


def now_of(records: "RoomRecords") -> int:
    """The room's present moment, in milliseconds: this machine's, or that of its newest reading.

    A demo that ran fast has kept readings of hours that are still to come here. Raises StoreError.
    """
    newest = max((last.at_ms for last in records.latest().values()), default=0)
    return max(WallClock().now_ms(), newest + 1)


def json_line(said: Mapping[str, Any]) -> None:
    """One object on one line of stdout."""
    print(jsonlib.dumps(said, ensure_ascii=False))
