"""`roewatch probe calibrate`: buffers, slope and offset, and the reading watched until it rests."""

import sys
import threading
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.live import Live

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import SECOND_MS, iso
from roewatch.room.quantity import KEPT, Quantity
from roewatch.service.cli.options import (
    Json,
    ProbeId,
    RoomFile,
    here,
    json_line,
    moment_option,
    probe_named,
    room_file,
)
from roewatch.service.clock import WallClock
from roewatch.service.control import NoDaemonError, ask

if TYPE_CHECKING:
    from pathlib import Path

    from roewatch.room.tank import Probe
    from roewatch.service.buffers import Fitted, Point
    from roewatch.service.live import RoomRecords
    from roewatch.service.settings.load import Setup

LOOK_S = 1.0


def calibrate(
    probe: ProbeId,
    room: RoomFile = None,
    point: Annotated[
        list[str] | None,
        typer.Option(
            "--point",
            help="What it read = what is true, e.g. 4.12=4.01@25 (pH of the buffer at 25 °C). "
            "Twice or three times for pH. Without any, you are led through it.",
            show_default=False,
        ),
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", help="When; ISO 8601 with a zone. Now without it.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only tell; write nothing.")] = False,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Use it although the electrode should be replaced.")
    ] = False,
    json: Json = False,
) -> None:
    """Calibrate a probe: into room.toml with its date, and into the journal.

    Exit status: 0 done, 1 the probe or a buffer is not sound and nothing was written,
    2 could not run.
    """
    from roewatch.service.buffers import fitted, point_of  # noqa: PLC0415
    from roewatch.water.refusal import RefusedError  # noqa: PLC0415

    file = room_file(room)
    with here(file) as (setup, records):
        known = probe_named(setup.room, probe)
        if known.derived:
            raise typer.BadParameter(f"{probe} is worked out from other probes; calibrate those")
        began_ms = WallClock().now_ms()
        _tell_soft_water(setup, records, known)
        try:
            if point:
                points = [point_of(text, known.quantity) for text in point]
            else:
                points = _led(setup, records, known)
            done_ms = WallClock().now_ms()
            at_ms = moment_option(at) or done_ms // SECOND_MS * SECOND_MS
            found = fitted(known, points, at_ms)
        except RefusedError as refused:
            print(f"refused: {refused}", file=sys.stderr)
            raise typer.Exit(2) from None
    _tell(known, found, json=json)
    if not found.sound and not anyway:
        print("Not written: mend that first, or use --anyway.", file=sys.stderr)
        raise typer.Exit(1)
    if dry_run:
        return
    begun_ms = at_ms if point else began_ms
    _write(file, setup, known, found, begun_ms)


def _tell_soft_water(setup: "Setup", records: "RoomRecords", probe: "Probe") -> None:
    from roewatch.water.settling import soft_water_advice  # noqa: PLC0415

    if probe.quantity is not Quantity.PH:
        return
    newest = records.latest() if setup.storage.path.exists() else {}
    cells = [
        newest[other.id].value
        for other in setup.room.probes
        if (other.tank, other.quantity) == (probe.tank, Quantity.CONDUCTIVITY)
        and other.id in newest
    ]
    for advice in soft_water_advice(cells[0] if cells else None):
        print(advice, file=sys.stderr)


def _tell(probe: "Probe", found: "Fitted", *, json: bool) -> None:
    line, electrode = found.calibration, found.electrode
    if json:
        row: dict[str, Any] = {
            "probe": probe.id,
            "time": iso(line.at_ms),
            "slope": line.slope,
            "offset": line.offset,
            "found": list(found.found.errors),
            "past": found.found.past.value if electrode else None,
            "sound": found.sound,
            "mind": list(found.mind),
        }
        if electrode is not None:
            row |= {
                "slope_percent": list(electrode.slope_percent),
                "offset_mv": electrode.offset_mv,
                "verdict": electrode.verdict.value,
            }
        json_line(row)
        return
    unit = KEPT[probe.quantity].unit or "pH"
    errors = ", ".join(f"{error:+.2f}" for error in found.found.errors)
    print(f"as found: {errors} {unit} off")
    if electrode is not None:
        percents = ", ".join(f"{percent:.1f}" for percent in electrode.slope_percent)
        print(f"slope {percents} % of a perfect electrode at {electrode.celsius:.1f} °C")
        print(f"offset {electrode.offset_mv:+.1f} mV at pH 7")
        print(f"verdict: {electrode.verdict}")
        print(f"readings since the last calibration: {found.found.past}")
    print(f"slope = {line.slope:.5f}, offset = {line.offset:+.4f} from {iso(line.at_ms)} on")
    for text in found.mind:
        print(text)


def _write(file: "Path", setup: "Setup", probe: "Probe", found: "Fitted", begun_ms: int) -> None:
    from roewatch.service.calibrating import (  # noqa: PLC0415
        NotWrittenError,
        entry_of,
        write_calibration,
    )

    try:
        write_calibration(file, probe.id, found.calibration)
    except NotWrittenError as failed:
        print(f"roewatch: {failed}", file=sys.stderr)
        raise typer.Exit(2) from None
    print(f"written into {file}", file=sys.stderr)
    entry = entry_of(probe, found, begun_ms)
    _enter(setup, entry)


def _enter(setup: "Setup", entry: JournalEntry) -> None:
    """Into the journal: by the daemon, or into the store itself when none runs."""
    from roewatch.storage.kept import Kept  # noqa: PLC0415
    from roewatch.storage.store import Store  # noqa: PLC0415

    try:
        ask(
            setup.storage.path,
            "enter",
            tank=entry.tank,
            deed=entry.deed.value,
            at_ms=entry.at_ms,
            until_ms=entry.until_ms,
            detail=entry.detail,
        )
    except NoDaemonError:
        store = Store.open(setup.storage.path)
        try:
            store.keep(Kept(journal=[entry]))
        finally:
            store.close()
        print("entered into the journal", file=sys.stderr)
        return
    ask(setup.storage.path, "reload")
    print("entered into the journal; the daemon judges by it from now on", file=sys.stderr)


# -- led through it ------------------------------------------------------------------------------


def _led(setup: "Setup", records: "RoomRecords", probe: "Probe") -> list["Point"]:
    """Ask for each buffer, and watch the probe come to rest in it."""
    from roewatch.service.buffers import USUAL_CELSIUS, Point, buffer_ph  # noqa: PLC0415

    if not sys.stdin.isatty():
        raise typer.BadParameter("no terminal to lead you at; give each --point")
    try:
        ask(
            setup.storage.path,
            "enter",
            tank=probe.tank,
            deed=Deed.CALIBRATION.value,
            detail=f"{probe.quantity} probe {probe.id}: begun",
        )
    except NoDaemonError as nobody:
        raise typer.BadParameter(f"nobody hears the probe: {nobody}") from None
    of_ph = probe.quantity is Quantity.PH
    least, most = (2, 3) if of_ph else (1, 1)
    points: list[Point] = []
    while len(points) < least or (len(points) < most and typer.confirm("A third?", err=True)):
        celsius = USUAL_CELSIUS
        if of_ph:
            named = typer.prompt("Buffer (4, 7, 10, or the pH on its bottle)", err=True)
            warmth = "Its temperature, °C"
            celsius = typer.prompt(warmth, default=USUAL_CELSIUS, type=float, err=True)
            true = buffer_ph(named, celsius)
        else:
            true = typer.prompt("The true value, by a better instrument", type=float, err=True)
        put_in = "Rinse the probe, put it in, stir once, then press Enter"
        typer.prompt(put_in, default="", show_default=False, err=True)
        points.append(Point(raw=_rested(records, probe), true=true, celsius=celsius))
    return points


def _rested(records: "RoomRecords", probe: "Probe") -> float:
    """The raw number once it has come to rest. Raises RefusedError when it does not in time."""
    from roewatch.service.resting import rested  # noqa: PLC0415

    never = threading.Event()
    with Live(console=Console(stderr=True), transient=True) as live:
        return rested(
            records,
            probe,
            now_ms=WallClock().now_ms,
            wait=lambda: never.wait(LOOK_S),
            told=live.update,
        )
