"""Brooding: the broods as the loop knows them, what a record entails, and which alarm is due."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from roewatch.alarms.alarm import Alarm
from roewatch.breeding.brood import brood_of
from roewatch.breeding.late import late
from roewatch.breeding.light import light_hours
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.breeding.todo import Todo
from roewatch.judging.finding import Finding
from roewatch.room.journal import JournalEntry
from roewatch.room.kind import Kind
from roewatch.room.local_time import local_clock
from roewatch.room.moment import MINUTE_MS, iso
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import Stage
from roewatch.room.tank import Room

AHEAD_MS = MINUTE_MS
"""A record may lie so far ahead: the clocks of phones differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entailed:
    """What keeping `records` entails: entries of the tanks' stages to make and to take back."""

    records: tuple[BroodRecord, ...]
    enter: tuple[JournalEntry, ...]
    withdraw: tuple[JournalEntry, ...]

    @property
    def by(self) -> str:
        """Whose word it is."""
        return self.records[-1].by if self.records else ""


class Brooding:
    """Not for two threads at once. room: as it is judged now."""

    def __init__(
        self,
        records: Iterable[BroodRecord],
        sheets: Mapping[str, SpeciesSheet],
        room: Callable[[], Room],
    ) -> None:
        self._sheets = sheets
        self._room = room
        self._records: dict[str, dict[str, BroodRecord]] = {}
        for record in records:
            self._records.setdefault(record.brood, {})[record.id] = record
        self._broods = {id_: brood_of(id_, own.values()) for id_, own in self._records.items()}

    def entails(self, records: Sequence[BroodRecord], now_ms: int) -> Entailed:
        """What follows from new records; those known by their id are left out.

        Raises ValueError for what the person has to mend; then none of them may be kept.
        """
        after: dict[str, dict[str, BroodRecord]] = {}
        fresh: list[BroodRecord] = []
        for record in records:
            known = self._records.get(record.brood, {})
            own = after.setdefault(record.brood, dict(known))
            if record.id not in own:
                self._check(record, own, now_ms)
                own[record.id] = record
                fresh.append(record)
        enter: list[JournalEntry] = []
        withdraw: list[JournalEntry] = []
        for id_, own in after.items():
            staged = brood_of(id_, own.values()).staged
            before = self._broods[id_].staged if id_ in self._broods else ()
            enter += [entry for entry in staged if entry not in before]
            withdraw += [entry for entry in before if entry not in staged]
        for entry in enter:
            self._check_tank(entry.tank)
        return Entailed(records=tuple(fresh), enter=tuple(enter), withdraw=tuple(withdraw))

    def take(self, records: Iterable[BroodRecord]) -> None:
        """Know new records."""
        changed = []
        for record in records:
            self._records.setdefault(record.brood, {})[record.id] = record
            changed.append(record.brood)
        for id_ in dict.fromkeys(changed):
            self._broods[id_] = brood_of(id_, self._records[id_].values())

    def findings(self, now_ms: int, standing: Iterable[Alarm]) -> list[Finding]:
        """What is late by now and has no alarm, and what has one and is late no more."""
        due: dict[str, Todo] = {}
        for brood in self._broods.values():
            sheet = self._sheets.get(brood.species)
            if sheet is None or brood.spawned_ms is None or not brood.open:
                continue
            for todo in late(brood, sheet, now_ms, zone=self._room().zone):
                due.setdefault(todo.tank, todo)
        raised = {
            alarm.tank: alarm
            for alarm in standing
            if alarm.kind is Kind.PARENTS_NOT_OUT and alarm.present
        }
        found = [self._late(todo, now_ms) for tank, todo in due.items() if tank not in raised]
        return found + [
            _settled(alarm, now_ms) for tank, alarm in raised.items() if tank not in due
        ]

    def _late(self, todo: Todo, now_ms: int) -> Finding:
        since = local_clock(todo.due_ms, self._room().zone, now_ms)
        return Finding(
            tank=todo.tank, kind=Kind.PARENTS_NOT_OUT, quantity=None, probe=None, at_ms=now_ms,
            since_ms=todo.to_ms, present=True, value=None,
            message=f"brood {todo.brood}, due since {since}: {todo.words}",
        )  # fmt: skip

    def _check(self, record: BroodRecord, own: Mapping[str, BroodRecord], now_ms: int) -> None:
        begun = any(known.act is BroodAct.STARTED for known in own.values())
        if record.act is BroodAct.STARTED and begun and not record.replaces:
            raise ValueError(f"brood {record.brood} was begun already; take another number")
        if record.act is not BroodAct.STARTED and not begun:
            known = ", ".join(self._broods) or "none yet"
            raise ValueError(f"there is no brood {record.brood!r}; there are: {known}")
        if record.at_ms > now_ms + AHEAD_MS:
            raise ValueError(f"{iso(record.at_ms)} is still to come; record what has happened")
        if record.act is BroodAct.WITHDRAWN and record.replaces not in own:
            raise ValueError(f"brood {record.brood} has no record {record.replaces!r} to withdraw")
        if record.act is BroodAct.STARTED:
            self._check_start(record)
        elif record.tank:
            self._check_tank(record.tank)
        if record.act is BroodAct.STAGE:
            _check_stage(record.detail)
        if record.act is BroodAct.MOVED and not record.tank:
            raise ValueError("name the tank it was moved to")
        if record.act is BroodAct.COUNTED and (record.counted is None or record.count is None):
            raise ValueError("say what was counted, and how many")

    def _check_start(self, record: BroodRecord) -> None:
        tanks = (record.tank, *record.fields.get("tanks", "").split(","))
        for tank in tanks:
            if tank.strip():
                self._check_tank(tank.strip())
        if not record.tank:
            raise ValueError("name the tank the brood begins in")
        species = record.fields.get("species", "")
        if species and species not in self._sheets:
            known = ", ".join(sorted(self._sheets))
            raise ValueError(f"there is no species sheet {species!r}; there are: {known}")
        if record.fields.get("stage"):
            _check_stage(record.fields["stage"])
        light_hours(record.fields.get("light", ""))

    def _check_tank(self, tank: str) -> None:
        known = [t.id for t in self._room().tanks]
        if tank not in known:
            raise ValueError(f"no tank {tank!r}; there are: {', '.join(known)}")


def _check_stage(text: str) -> None:
    if text not in set(Stage):
        raise ValueError(f"no stage {text!r}; write one of: {', '.join(Stage)}")


def _settled(alarm: Alarm, now_ms: int) -> Finding:
    return Finding(
        tank=alarm.tank, kind=alarm.kind, quantity=None, probe=None, at_ms=now_ms,
        since_ms=alarm.since_ms, present=False, value=None,
        message=f"nobody has to be taken out of {alarm.tank} any more",
    )  # fmt: skip
