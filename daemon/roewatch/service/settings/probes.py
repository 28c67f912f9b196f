"""Probes: what must hold between the written probes, and the bindings they become."""

from collections.abc import Collection, Sequence

from roewatch.intake.binding import Binding, Format
from roewatch.room.quantity import conversion
from roewatch.room.tank import ROOM, Calibration, Probe
from roewatch.service.settings.document import Document, did_you_mean
from roewatch.service.settings.entries import ProbeEntry
from roewatch.service.settings.lines import KeyPath

Placed = Sequence[tuple[int, ProbeEntry]]
"""Entries with their index in the file; those that do not fit by themselves are not among them."""


def check_probes(document: Document, probes: Placed, tank_ids: Collection[str]) -> None:
    """Note everything that is wrong between probes, tanks and topics."""
    ids: dict[str, int] = {}
    ways: dict[tuple[str, str], int] = {}
    formats: dict[str, str] = {}
    for index, entry in probes:
        path: KeyPath = ("probe", index)
        if entry.tank != ROOM and entry.tank not in tank_ids:
            cure = did_you_mean(entry.tank, [*tank_ids, ROOM])
            document.fault((*path, "tank"), f"there is no tank {entry.tank!r}", cure)
        try:
            conversion(entry.quantity, entry.unit)
        except ValueError as error:
            what, _, cure = str(error).partition("; ")
            document.fault((*path, "unit"), what, cure.capitalize())
        _check_format(document, path, entry)
        _check_calibrations(document, path, entry)
        _check_twice(document, (*path, "id"), ids, entry.known_as, index)
        _check_topic(document, path, entry, ways, formats)
        ways.setdefault((entry.topic, _part(entry)), index)
        formats.setdefault(entry.topic, entry.format)


def _check_twice(
    document: Document, path: KeyPath, ids: dict[str, int], probe_id: str, index: int
) -> None:
    first = ids.setdefault(probe_id, index)
    if first != index:
        line = document.line_of(("probe", first))
        document.fault(
            path,
            f"a second probe called {probe_id!r}; the first is on line {line}",
            f'Give one of them an id of its own: id = "{probe_id}-2"',
        )


def _part(entry: ProbeEntry) -> str:
    """The part of a message that is this probe's; no two may claim the same."""
    # in SenML one name may carry several quantities, told apart by their units (RFC 8428, 5.1.3)
    return f"{entry.name} {entry.quantity}" if entry.format == "senml" else entry.pointer


def _check_format(document: Document, path: KeyPath, entry: ProbeEntry) -> None:
    for key, belongs in (("pointer", "json"), ("time_pointer", "json"), ("name", "senml")):
        if getattr(entry, key) and entry.format != belongs:
            document.fault(
                (*path, key),
                f"{key} is for format {belongs!r}, and this probe's format is {entry.format!r}",
                f'Write format = "{belongs}", or take {key} out',
            )


def _check_topic(
    document: Document,
    path: KeyPath,
    entry: ProbeEntry,
    ways: dict[tuple[str, str], int],
    formats: dict[str, str],
) -> None:
    format_before = formats.get(entry.topic, entry.format)
    if format_before != entry.format:
        document.fault(
            (*path, "format"),
            f"{entry.format!r}, but another probe reads {entry.topic!r} as {format_before!r}",
            "Write the same format for all probes of one topic",
        )
        return
    part, whole = _part(entry), _part(entry.model_copy(update={"pointer": "", "name": ""}))
    first = ways.get((entry.topic, part), ways.get((entry.topic, whole)))
    if first is None and part == whole:
        # a probe that takes all of the message, or all of its quantity, cannot share it
        shared = (
            n
            for (topic, other), n in ways.items()
            if topic == entry.topic and other.endswith(whole)
        )
        first = next(shared, None)
    if first is None:
        return
    tell = {
        "json": 'Give each its own pointer: pointer = "/temperature"',
        "senml": 'Give each its own name: name = "temperature"',
        "plain": "Let each probe publish on a topic of its own",
    }
    document.fault(
        (*path, "topic"),
        f"{entry.topic!r} is read the same way by the probe on line "
        f"{document.line_of(('probe', first))}, so the two cannot be told apart",
        tell[entry.format],
    )


def _check_calibrations(document: Document, path: KeyPath, entry: ProbeEntry) -> None:
    seen: set[int] = set()
    for number, calibration in enumerate(entry.calibrations):
        if calibration.at in seen:
            document.fault(
                (*path, "calibrations", number, "at"),
                "a second calibration at the same moment",
                "Keep the one that holds",
            )
        seen.add(calibration.at)


def probe_of(entry: ProbeEntry) -> Probe:
    """The probe as judging knows it."""
    calibrations = [
        Calibration(at_ms=written.at, slope=written.slope, offset=written.offset)
        for written in entry.calibrations
    ]
    return Probe(
        id=entry.known_as,
        tank=entry.tank,
        quantity=entry.quantity,
        every_ms=entry.every,
        resolution=entry.resolution,
        calibrations=tuple(sorted(calibrations, key=lambda c: c.at_ms)),
    )


def binding_of(entry: ProbeEntry) -> Binding:
    """The probe's way through its topic, as intake knows it."""
    return Binding(
        topic=entry.topic,
        probe=entry.known_as,
        quantity=entry.quantity,
        format=Format(entry.format),
        pointer=entry.pointer,
        time_pointer=entry.time_pointer,
        name=entry.name,
        unit=entry.unit,
    )
