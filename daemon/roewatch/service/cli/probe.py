"""`roewatch probe`: every probe, what it says now, and how it was calibrated."""

import sys
from collections import Counter
from typing import TYPE_CHECKING, Annotated, Any

import typer

from roewatch.room.moment import iso, span_text
from roewatch.room.quantity import Quantity, shown
from roewatch.service.cli.calibrate import calibrate
from roewatch.service.cli.options import (
    Json,
    ProbeId,
    RoomFile,
    here,
    json_line,
    now_of,
    probe_named,
    setup_of,
)
from roewatch.service.control import NoDaemonError, ask

if TYPE_CHECKING:
    from roewatch.service.settings.load import Setup
    from roewatch.water.drift import Outlook

app = typer.Typer(
    help="Every probe, what it says now, and how it was calibrated.", no_args_is_help=True
)
app.command("calibrate")(calibrate)


@app.command("list")
def list_probes(
    room: RoomFile = None,
    tank: Annotated[
        str | None, typer.Option("--tank", help="Only this tank, or `room`.", show_default=False)
    ] = None,
    json: Json = False,
) -> None:
    """Each probe with its last value and flag, how old that is, and what it sent in vain.

    Without a topic it is no sensor: it is worked out from the tank's others.
    """
    with here(room) as (setup, records):
        now_ms, newest = now_of(records), records.latest()
    refused = _refused(setup)
    topics = {binding.probe: binding.topic for binding in setup.bindings}
    for probe in setup.room.probes:
        if tank is not None and probe.tank != tank:
            continue
        last = newest.get(probe.id)
        row: dict[str, Any] = {
            "probe": probe.id,
            "tank": probe.tank,
            "quantity": probe.quantity.value,
            "topic": topics.get(probe.id),
            "time": iso(last.at_ms) if last else None,
            "age_s": round((now_ms - last.at_ms) / 1000, 1) if last else None,
            "raw": last.raw if last else None,
            "value": last.value if last else None,
            "flag": last.flag.name.lower() if last else None,
            "refused": None if refused is None else refused[topics.get(probe.id, "")],
        }
        if json:
            json_line(row)
            continue
        said = "has never spoken"
        if last is not None:
            age = span_text(now_ms - last.at_ms)
            late = "  LATE" if now_ms - last.at_ms > 5 * probe.every_ms else ""
            flag = str(row["flag"]).replace("_", " ")
            said = f"{shown(probe.quantity, last.value):<12} {flag:<13} {age} ago{late}"
        vain = f"  {row['refused']} refused on {row['topic']}" if row["refused"] else ""
        print(f"{probe.id:<20} {said}{vain}")
    if refused is None:
        print("No daemon runs, so what was refused is not known.", file=sys.stderr)


def _refused(setup: "Setup") -> Counter[str] | None:
    """What each topic sent in vain since the daemon's start; None when no daemon answers."""
    try:
        status = ask(setup.storage.path, "status")
    except NoDaemonError:
        return None
    return Counter({entry["topic"]: entry["count"] for entry in status["refusals"]})


@app.command()
def history(probe: ProbeId, room: RoomFile = None, json: Json = False) -> None:
    """A probe's calibrations: slope and offset, how far it had strayed, when it is due again."""
    from roewatch.service.calibrating import history_of  # noqa: PLC0415
    from roewatch.water.drift import outlook  # noqa: PLC0415

    found = probe_named(setup_of(room).room, probe)
    if not found.calibrations:
        print(f"{probe} was never calibrated: `roewatch probe calibrate {probe}`", file=sys.stderr)
        return
    if found.quantity is not Quantity.PH:
        for plain in found.calibrations:
            row = {"time": iso(plain.at_ms), "slope": plain.slope, "offset": plain.offset}
            text = f"{iso(plain.at_ms)}  slope {plain.slope:.4f}, offset {plain.offset:+.3f}"
            _say(row, text, json=json)
        return
    past = history_of(found.calibrations)
    for one, plain in zip(past, found.calibrations, strict=True):
        row = {
            "time": iso(one.at_ms),
            "slope": plain.slope,
            "offset": plain.offset,
            "slope_percent": round(one.slope_percent, 1),
            "offset_mv": round(one.offset_mv, 1),
            "found": None if one.found is None else round(one.found, 3),
        }
        strayed = "" if one.found is None else f", was {one.found:+.2f} pH off at pH 7"
        text = (
            f"{iso(one.at_ms)}  slope {one.slope_percent:.1f} %, "
            f"offset {one.offset_mv:+.0f} mV{strayed}"
        )
        _say(row, text, json=json)
    if not json:
        _say_outlook(outlook(past))


def _say(row: dict[str, Any], text: str, *, json: bool) -> None:
    if json:
        json_line(row)
    else:
        print(text)


def _say_outlook(seen: "Outlook") -> None:
    drift = "" if seen.per_week is None else f"drift {seen.per_week:+.3f} pH a week; "
    print(
        f"{drift}look at it in one buffer by {iso(seen.check_ms)[:10]}, "
        f"calibrate by {iso(seen.calibrate_ms)[:10]}",
        file=sys.stderr,
    )
    for remark in seen.remarks:
        print(remark, file=sys.stderr)
