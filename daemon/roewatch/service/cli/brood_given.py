"""What a person types about a brood: which one, and when it was."""

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from roewatch.breeding.brood import Brood
from roewatch.breeding.record import BroodRecord
from roewatch.room.local_time import at_local, local_date
from roewatch.room.moment import at_ms_of_iso
from roewatch.room.stage import Stage
from roewatch.service.cli.options import here, now_of
from roewatch.service.control import NoDaemonError, ask

if TYPE_CHECKING:
    from roewatch.service.broods import Broods
    from roewatch.service.live import RoomRecords
    from roewatch.service.settings.load import Setup

Which = Annotated[
    str, typer.Argument(help="The brood's number, as `brood list` shows it, or its tank.")
]
Record = Annotated[
    str, typer.Argument(help="A record's id, as `brood show` writes it; its beginning will do.")
]
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        help="When it was: 06:40, 2026-11-06 21:40 (the room's clock), or ISO 8601 with a zone; "
        "else now.",
        show_default=False,
    ),
]

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")


@dataclass(frozen=True, slots=True)
class Desk:
    """A room's broods as a command sees them. book: reads only."""

    setup: "Setup"
    records: "RoomRecords"
    book: "Broods"
    now_ms: int

    @property
    def zone(self) -> str:
        """The room's."""
        return self.setup.room.zone

    def brood(self, which: str) -> Brood:
        """The brood of that number, or the open one in that tank; refused as options are."""
        found = self.book.broods()
        for brood in found:
            if brood.id == which:
                return brood
        there = [brood for brood in found if brood.open and which in brood.last_tanks]
        if len(there) == 1:
            return there[0]
        if there:
            named = ", ".join(brood.id for brood in there)
            raise typer.BadParameter(f"several broods are in {which}; name one: {named}")
        known = ", ".join(brood.id for brood in found) or "none yet"
        raise typer.BadParameter(f"no brood {which!r}, nor one in a tank so named; known: {known}")

    def is_free_tank(self, which: str) -> bool:
        """Whether `which` is a tank that no open brood is in."""
        tanks = {tank.id for tank in self.setup.room.tanks}
        taken = {tank for b in self.book.broods() if b.open for tank in b.last_tanks}
        return which in tanks - taken

    def move(self, tank: str, stage: Stage, at_ms: int | None) -> None:
        """Enter a tank's stage without a brood. Raises NoDaemonError, NotDoneError."""
        when = {} if at_ms is None else {"at_ms": at_ms}
        ask(self.setup.storage.path, "enter", tank=tank, deed="stage", detail=stage.value, **when)

    def moment(self, at: str | None) -> int | None:
        """The moment `--at` names; None for now."""
        return None if at is None else moment_given(at, self.zone, self.now_ms)

    def record(self, brood: Brood, id_: str) -> BroodRecord:
        """The record whose id begins so; refused unless it is exactly one."""
        found = [r for r in self.book.records(brood.id) if id_ and r.id.startswith(id_)]
        if len(found) != 1:
            many = "several records begin" if found else "no record begins"
            raise typer.BadParameter(f"{many} with {id_!r}; see `roewatch brood show {brood.id}`")
        return found[0]

    def send(self, *records: dict[str, Any]) -> list[BroodRecord]:
        """Have the daemon keep records; returns them whole. Raises NoDaemonError, NotDoneError."""
        from roewatch.breeding.record import record_of  # noqa: PLC0415

        said = ask(self.setup.storage.path, "record", records=list(records))
        return [record_of(one) for one in said]


@contextmanager
def desk(room: Path | None) -> Iterator[Desk]:
    """The room's broods. Raises SettingsError; queries raise StoreError."""
    from roewatch.service.broods import Broods  # noqa: PLC0415  # half a second

    with here(room) as (setup, records):
        book = Broods(
            records, lambda: setup.room, lambda: setup.species, write=_never, remember=_never
        )
        try:
            now_ms = at_ms_of_iso(ask(setup.storage.path, "status")["time"])
        except NoDaemonError:
            now_ms = now_of(records)
        yield Desk(setup, records, book, now_ms)


def _never(*_: object) -> None:
    raise RuntimeError("only the daemon keeps what broods ask to be kept")


def moment_given(text: str, zone: str, now_ms: int) -> int:
    """The moment a person typed; a time alone is the last time the room's clock showed it.

    Refused as the command line refuses.
    """
    clock = _CLOCK.fullmatch(text.strip())
    try:
        if clock is not None:
            shown, today = time(int(clock[1]), int(clock[2])), local_date(now_ms, zone)
            at_ms = at_local(today, shown, zone)
            return at_ms if at_ms <= now_ms else at_local(today - timedelta(days=1), shown, zone)
        named = datetime.fromisoformat(text.strip())
        if named.tzinfo is None:
            return at_local(named.date(), named.time(), zone)
        return at_ms_of_iso(text)
    except (ValueError, OverflowError):
        raise typer.BadParameter(
            f"{text!r} is no time; write 06:40, 2026-11-06 21:40 or 2026-11-06T19:40:00Z"
        ) from None


def standing(brood: Brood) -> Sequence[BroodRecord]:
    """The records in effect, the last recorded first."""
    return sorted(brood.records, key=lambda r: (r.made_ms, r.id), reverse=True)
