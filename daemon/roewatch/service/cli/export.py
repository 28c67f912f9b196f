"""`roewatch export` and `roewatch import`: readings out to a file, and back in."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from roewatch.room.moment import DAY_MS
from roewatch.service.cli.options import (
    Json,
    RoomFile,
    here,
    json_line,
    moment_option,
    now_of,
    quantity_option,
    setup_of,
)

if TYPE_CHECKING:
    from roewatch.room.tank import Probe, Room
    from roewatch.service.live import RoomRecords
    from roewatch.service.settings.load import Setup
    from roewatch.storage.archive import Refusal

SHOWN = 20
"""So many refused rows are told one by one; --refused writes all of them."""

FromOption = Annotated[
    str | None, typer.Option("--from", help="ISO 8601 with a zone; the first moment.")
]
ToOption = Annotated[
    str | None, typer.Option("--to", help="ISO 8601 with a zone; the moment after the last.")
]


def export(  # noqa: PLR0913, PLR0917 - the options of a command
    room: RoomFile = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="FILE.csv or FILE.parquet; without it CSV goes to stdout."),
    ] = None,
    tank: Annotated[
        list[str] | None, typer.Option("--tank", help="Only this tank; may be repeated.")
    ] = None,
    quantity: Annotated[
        list[str] | None, typer.Option("--quantity", help="Only this; may be repeated.")
    ] = None,
    from_: FromOption = None,
    to: ToOption = None,
    journal: Annotated[
        Path | None, typer.Option("--journal", help="Also write the keeper's journal here, as CSV.")
    ] = None,
    verify_mirror: Annotated[
        bool,
        typer.Option(
            "--verify-mirror", help="Export nothing; compare each day's count with the mirror's."
        ),
    ] = False,
    json: Json = False,
) -> None:
    """Write readings to a file: what `roewatch replay` and `roewatch import` read.

    Exit status: 0 done, 1 the mirror differs (--verify-mirror), 2 could not run.
    """
    from_ms, to_ms = moment_option(from_), moment_option(to)
    if out is not None and out.suffix not in {".csv", ".parquet"}:
        raise typer.BadParameter(f"{out} ends in neither .csv nor .parquet", param_hint="--out")
    with here(room) as (setup, records):
        probes, now_ms = _probes(setup.room, tank or [], quantity or []), now_of(records)
        if verify_mirror:
            # a month, when nothing is said: older days no longer change
            from_ms = now_ms - 30 * DAY_MS if from_ms is None else from_ms
            _verify(setup, records, probes, (from_ms, to_ms or now_ms), json=json)
            return
        span = (from_ms or 0, now_ms if to_ms is None else to_ms)
        with _counting("exporting") as told:
            done = _write(records, probes, out, span, told)
        print(f"{done} readings of {len(probes)} probes", file=sys.stderr)
        if journal is not None:
            _write_journal(records, journal, span)
    if not done:
        print("no reading in that span; look at --from, --to and --tank", file=sys.stderr)


def _probes(room: "Room", tanks: list[str], quantities: list[str]) -> list["Probe"]:
    known = [tank.id for tank in room.tanks] + ["room"]
    for tank in tanks:
        if tank not in known:
            raise typer.BadParameter(f"no tank {tank!r}; there are: {', '.join(known)}")
    wanted = {quantity_option(quantity) for quantity in quantities}
    return [
        probe
        for probe in room.probes
        if (not tanks or probe.tank in tanks) and (not wanted or probe.quantity in wanted)
    ]


def _write(
    records: "RoomRecords",
    probes: list["Probe"],
    out: Path | None,
    span: tuple[int, int],
    told: Callable[[int], None],
) -> int:
    from roewatch.storage.archive import export_csv  # noqa: PLC0415
    from roewatch.storage.parquet import export_parquet  # noqa: PLC0415

    from_ms, to_ms = span
    if out is None:
        return export_csv(records, probes, sys.stdout, from_ms=from_ms, to_ms=to_ms, progress=told)
    if out.suffix == ".parquet":
        return export_parquet(records, probes, out, from_ms=from_ms, to_ms=to_ms, progress=told)
    with out.open("w", encoding="utf-8", newline="") as file:
        return export_csv(records, probes, file, from_ms=from_ms, to_ms=to_ms, progress=told)


def _write_journal(records: "RoomRecords", to: Path, span: tuple[int, int]) -> None:
    from roewatch.service.journal_file import write_journal  # noqa: PLC0415

    with to.open("w", encoding="utf-8", newline="") as file:
        count = write_journal(file, records.journal(None, *span))
    print(f"{count} journal entries in {to}", file=sys.stderr)


def _verify(
    setup: "Setup",
    records: "RoomRecords",
    probes: list["Probe"],
    span: tuple[int, int],
    *,
    json: bool,
) -> None:
    from roewatch.room.moment import iso  # noqa: PLC0415
    from roewatch.service.mirrored import target_of  # noqa: PLC0415
    from roewatch.storage.mirror import compare  # noqa: PLC0415

    if not setup.mirror.enabled:
        raise typer.BadParameter("this room has no mirror; write enabled = true under [mirror]")
    days = range(span[0] // DAY_MS, (span[1] - 1) // DAY_MS + 1)
    target = target_of(setup.mirror, setup.room.id)
    found = []
    try:
        with _counting("comparing days") as told:
            for count, day in enumerate(days, start=1):
                found += compare(records, target, probes, [day])
                told(count)
    finally:
        target.close()
    for one in found:
        day_text = iso(one.day * DAY_MS)[:10]
        if json:
            json_line({"probe": one.probe, "day": day_text, "here": one.here, "there": one.there})
        else:
            print(f"{day_text}  {one.probe}: {one.here} here, {one.there} in the mirror")
    print(f"{len(days)} days of {len(probes)} probes compared", file=sys.stderr)
    if found:
        print(
            f"{len(found)} differ. Today's may still be on the way; the daemon sends older ones "
            "again when they changed here.",
            file=sys.stderr,
        )
        raise typer.Exit(1)


def bring(
    source: Annotated[
        Path, typer.Argument(exists=True, dir_okay=False, help="FILE.csv or FILE.parquet.")
    ],
    room: RoomFile = None,
    refused: Annotated[
        Path | None, typer.Option("--refused", help="Write every refused row and why here.")
    ] = None,
    json: Json = False,
) -> None:
    """Bring old readings into the store; a reading that is there already changes nothing.

    The daemon must not be running: it alone writes the store. Nothing is judged again.
    Exit status: 0 all rows are in, 1 some were refused, 2 could not run.
    """
    from roewatch.storage.archive import import_csv  # noqa: PLC0415
    from roewatch.storage.parquet import import_parquet  # noqa: PLC0415
    from roewatch.storage.store import Store  # noqa: PLC0415

    setup = setup_of(room)
    told_apart: list[Refusal] = []
    store = Store.open(setup.storage.path)
    try:
        with _counting("bringing in") as told:
            if source.suffix == ".parquet":
                found = import_parquet(
                    store, setup.room.probes, source, refused=told_apart.append, progress=told
                )
            else:
                with source.open(encoding="utf-8-sig", newline="") as file:
                    found = import_csv(
                        store, setup.room.probes, file, refused=told_apart.append, progress=told
                    )
    except (ValueError, UnicodeDecodeError) as unreadable:
        raise typer.BadParameter(f"{source}: {unreadable}") from None
    finally:
        store.close()
    if refused is not None:
        with refused.open("w", encoding="utf-8") as file:
            file.writelines(f"{_refusal(row)}\n" for row in told_apart)
    for row in told_apart[:SHOWN]:
        print(_refusal(row), file=sys.stderr)
    if len(told_apart) > SHOWN:
        rest = len(told_apart) - SHOWN
        print(f"and {rest} more; --refused FILE writes all of them", file=sys.stderr)
    counts = {"rows": found.rows, "new": found.new, "known": found.known, "refused": found.refused}
    if json:
        json_line(counts)
    else:
        print(", ".join(f"{count} {word}" for word, count in counts.items()))
    if found.refused:
        raise typer.Exit(1)


def _refusal(row: "Refusal") -> str:
    return f"line {row.line}: {row.why} ({row.said!r})"


@contextmanager
def _counting(words: str) -> Iterator[Callable[[int], None]]:
    """A line on the terminal that counts while the block works."""
    with Progress(
        SpinnerColumn(),
        TextColumn("{task.description} {task.completed:,.0f}"),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    ) as bar:
        task = bar.add_task(words, total=None)
        yield lambda done: bar.update(task, completed=done)
