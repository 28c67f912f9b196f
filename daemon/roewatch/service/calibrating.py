"""Calibrating: a new calibration goes into the room file, the one place that calibrations live.

The file is a person's: only the new lines are put in, everything else stays as it was written, and
what comes out is read back and compared before it takes the old file's place.
"""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import iso
from roewatch.room.quantity import KEPT
from roewatch.room.tank import Calibration, Probe
from roewatch.service.buffers import Fitted
from roewatch.service.settings.entries import ProbeEntry
from roewatch.service.settings.lines import lines_of
from roewatch.service.settings.rewriting import put
from roewatch.water.drift import Calibrated
from roewatch.water.electrode import millivolts_of


class NotWrittenError(Exception):
    """The room file could not be given the calibration; the text says what to add by hand."""


_CELSIUS = 25.0  # a calibration line does not say at what warmth it was made; mV are told for this


def history_of(calibrations: Sequence[Calibration]) -> list[Calibrated]:
    """A pH probe's calibrations, in order of time, as the electrode saw them.

    found: how far the calibration before would read from the true pH 7 by then.
    """
    past: list[Calibrated] = []
    before: Calibration | None = None
    for one in calibrations:
        raw_at_7 = (7.0 - one.offset) / one.slope
        found = None if before is None else raw_at_7 * before.slope + before.offset - 7.0
        past.append(
            Calibrated(
                at_ms=one.at_ms,
                slope_percent=100.0 / one.slope,
                offset_mv=millivolts_of(raw_at_7, celsius=_CELSIUS),
                found=found,
            )
        )
        before = one
    return past


def entry_text(calibration: Calibration) -> str:
    """The calibration as a table of its own, for the end of its probe's entry."""
    return (
        "[[probe.calibrations]]\n"
        f'at = "{iso(calibration.at_ms)}"\n'
        f"slope = {calibration.slope:.5f}\n"
        f"offset = {calibration.offset:.4f}\n"
    )


def found_words(probe: Probe, found: Fitted) -> str:
    """What a calibration found, in one line: `pH probe a3-ph: slope 1.02, offset -0.1 (…)`."""
    line = found.calibration
    # no `measured`: with the offset, which is a line of the room file, all of it stays in that unit
    unit = f" {KEPT[probe.quantity].unit}".rstrip()
    said = (
        f"{probe.quantity} probe {probe.id}: slope {line.slope:.4f}, "
        f"offset {line.offset:+.3f}{unit}"
    )
    if found.electrode is not None:
        percent = min(found.electrode.slope_percent)
        said += f" ({percent:.1f} %, {found.electrode.offset_mv:+.0f} mV)"
    return f"{said}; it was {found.found.worst:+.2f}{unit} off"


def entry_of(probe: Probe, found: Fitted, begun_ms: int) -> JournalEntry:
    """The calibration as the journal has it, from when the probe left the water."""
    return JournalEntry(
        at_ms=begun_ms,
        tank=probe.tank,
        deed=Deed.CALIBRATION,
        until_ms=max(found.calibration.at_ms, begun_ms),
        detail=found_words(probe, found),
    )


def write_calibration(room_file: Path, probe: str, calibration: Calibration) -> None:
    """Add the calibration to its probe's entry in `room_file`.

    Raises NotWrittenError when the file cannot be written, or when the lines would not mean exactly
    this; then nothing has changed.
    """
    file = room_file.resolve()  # a link stays a link
    by_hand = f"add this to probe {probe} in {file} by hand:\n{entry_text(calibration)}"
    try:
        text = file.read_text(encoding="utf-8")
    except OSError as error:
        raise NotWrittenError(f"{file}: {error.strerror}; {by_hand}") from error
    written = with_calibration(text, probe, calibration)
    if written is None:
        raise NotWrittenError(f"{file}: no place found for the calibration; {by_hand}")
    try:
        put(file, written)
    except OSError as error:
        raise NotWrittenError(f"{file}: {error.strerror}; {by_hand}") from error


def with_calibration(text: str, probe: str, calibration: Calibration) -> str | None:
    """`text`, a room file, with the calibration added to that probe; None when it cannot be told.

    Both ways of writing are served: `[[probe.calibrations]]` tables and `calibrations = […]`.
    """
    document = tomllib.loads(text)
    place = _place_of(document, probe)
    if place is None:
        return None
    places = lines_of(text)
    rows = text.splitlines(keepends=True)
    inline = places.get(("probe", place, "calibrations"))
    if inline is not None and not rows[inline - 1].lstrip().startswith("["):
        row = rows[inline - 1]
        at = row.find("[", row.find("calibrations"))
        if at < 0:
            return None
        rows[inline - 1] = f"{row[: at + 1]}{_inline_text(calibration)}, {row[at + 1 :]}"
    else:
        end = _end_of(rows, places, place)
        before = "" if not rows or rows[end - 1].endswith("\n") else "\n"
        rows.insert(end, f"{before}\n{entry_text(calibration)}")
    written = "".join(rows)
    return written if _means(written, document, place, calibration) else None


def _inline_text(calibration: Calibration) -> str:
    return (
        f'{{ at = "{iso(calibration.at_ms)}", slope = {calibration.slope:.5f}, '
        f"offset = {calibration.offset:.4f} }}"
    )


def _place_of(document: Mapping[str, Any], probe: str) -> int | None:
    for place, written in enumerate(document.get("probe", [])):
        if ProbeEntry.model_validate(written).known_as == probe:
            return place
    return None


def _end_of(rows: list[str], places: Mapping[tuple[str | int, ...], int], place: int) -> int:
    """How many rows belong to the probe: up to the next header, without the comments above it."""
    start = places["probe", place]
    after = [line for path, line in places.items() if path[:2] != ("probe", place) and line > start]
    end = min(after, default=len(rows) + 1) - 1
    while end > start and (not rows[end - 1].strip() or rows[end - 1].lstrip().startswith("#")):
        end -= 1
    return end


def _means(written: str, before: Mapping[str, Any], place: int, calibration: Calibration) -> bool:
    """Whether `written` says what was said before, and this one calibration more."""
    try:
        after = tomllib.loads(written)
    except tomllib.TOMLDecodeError:
        return False
    new = {
        "at": iso(calibration.at_ms),
        "slope": round(calibration.slope, 5),
        "offset": round(calibration.offset, 4),
    }
    calibrations = after["probe"][place].get("calibrations", [])
    if new not in calibrations:
        return False
    calibrations.remove(new)
    if not calibrations:
        after["probe"][place].pop("calibrations")
        if before["probe"][place].get("calibrations") == []:
            after["probe"][place]["calibrations"] = []
    return after == before
