"""A brood: one attempt, from conditioning to moved-on fry, folded from its records."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from roewatch.breeding.count import Count, Counted
from roewatch.breeding.record import BroodAct, BroodRecord, Outcome, in_effect
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.local_time import local_date
from roewatch.room.stage import Stage

STAGE_OF = {
    BroodAct.SPAWNED: Stage.EGGS,
    BroodAct.HATCHED: Stage.LARVAE,
    BroodAct.SWIMMING: Stage.FRY,
}
"""Acts that mean another stage: recording one moves the tank on."""

COUNTED_BY = {
    BroodAct.SPAWNED: Counted.EGGS,
    BroodAct.HATCHED: Counted.HATCHED,
    BroodAct.SWIMMING: Counted.SWIMMING,
}
"""What a count that comes with one of these acts is of, unless the record says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """From one moment to another; to_ms None while it lasts."""

    from_ms: int
    to_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A tank the brood was in; to_ms None while it is."""

    tank: str
    from_ms: int
    to_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Superseded:
    """A record that stands no longer. by: the last that replaced it or took it back."""

    record: BroodRecord
    by: BroodRecord | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Brood:
    """One attempt as its records in effect tell it; a moment is None until it is recorded.

    species: a sheet's id. plan: what was recorded at the start, by name (parents, water, food,
    light …). stage, stage_ms: where it stands and since when; None while no record says. counts:
    the latest of each kind in effect; white eggs are summed. done: ticked to-dos by key. staged:
    the journal entries of the tanks' stages that follow from the records. records: those in
    effect, in order. superseded: the others.
    """

    id: str
    species: str = ""
    plan: Mapping[str, str] = field(default_factory=dict)
    tanks: tuple[Stay, ...] = ()
    started_ms: int | None = None
    spawned_ms: int | None = None
    female_out_ms: int | None = None
    male_out_ms: int | None = None
    hatched_ms: int | None = None
    swimming_ms: int | None = None
    ended_ms: int | None = None
    outcome: Outcome | None = None
    lost_to: str = ""
    stage: Stage | None = None
    stage_ms: int | None = None
    dark: tuple[Span, ...] = ()
    counts: Mapping[Counted, Count] = field(default_factory=dict)
    done: Mapping[str, int] = field(default_factory=dict)
    staged: tuple[JournalEntry, ...] = ()
    records: tuple[BroodRecord, ...] = ()
    superseded: tuple[Superseded, ...] = ()

    @property
    def open(self) -> bool:
        """Whether it was started and has not ended."""
        return self.started_ms is not None and self.ended_ms is None

    @property
    def parents(self) -> str:
        """The pair or group, as it was named at the start."""
        return self.plan.get("parents", "")

    @property
    def water(self) -> str:
        """The water's recipe, as it was named at the start."""
        return self.plan.get("water", "")

    @property
    def food(self) -> str:
        """What the parents or young were fed, as it was named at the start."""
        return self.plan.get("food", "")

    @property
    def parents_out_ms(self) -> int | None:
        """When the last of the parents was taken out; None while one is in, or nobody said."""
        if self.female_out_ms is None or self.male_out_ms is None:
            return None
        return max(self.female_out_ms, self.male_out_ms)

    @property
    def is_dark(self) -> bool:
        """Whether the eggs are covered now."""
        return _lasts(self.dark)

    @property
    def last_tanks(self) -> tuple[str, ...]:
        """The tanks it is in; once it has ended, those it was in to the end."""
        stays = [stay for stay in self.tanks if stay.to_ms in {None, self.ended_ms}]
        return tuple(stay.tank for stay in stays or self.tanks[-1:])

    @property
    def tank(self) -> str:
        """The first of those, "" when no tank was named."""
        return self.last_tanks[0] if self.last_tanks else ""

    def tanks_at(self, at_ms: int) -> tuple[str, ...]:
        """The tanks it was in at that moment; before its first, that one."""
        found = [
            stay.tank
            for stay in self.tanks
            if stay.from_ms <= at_ms and (stay.to_ms is None or at_ms < stay.to_ms)
        ]
        return tuple(found) or tuple(stay.tank for stay in self.tanks[:1])


def next_id(known: Iterable[str], now_ms: int, zone: str) -> str:
    """The next brood's id: the year in the room, and a number that none of `known` has yet."""
    year = local_date(now_ms, zone).year
    taken = [int(match[1]) for id_ in known if (match := re.fullmatch(rf"{year}-(\d{{1,6}})", id_))]
    return f"{year}-{max(taken, default=0) + 1}"


def broods_of(records: Iterable[BroodRecord]) -> list[Brood]:
    """Every brood there are records of, by when it started, then by id."""
    sorted_out: dict[str, list[BroodRecord]] = {}
    for record in records:
        sorted_out.setdefault(record.brood, []).append(record)
    found = [brood_of(id_, own) for id_, own in sorted_out.items()]
    return sorted(found, key=lambda brood: (_first(brood), brood.id))


def _first(brood: Brood) -> int:
    if brood.started_ms is not None:
        return brood.started_ms
    return brood.records[0].at_ms if brood.records else 0


def brood_of(id_: str, records: Iterable[BroodRecord]) -> Brood:
    """The brood of these records; in whatever order they come, it is the same.

    Nothing in effect gives a brood that was never started.
    """
    own = {record.id: record for record in records if record.brood == id_}
    standing = in_effect(own.values())
    fold = _Fold()
    # a start recorded later than what followed from it still names species and tank
    for record in sorted(standing, key=lambda r: (r.act is not BroodAct.STARTED, r.order)):
        fold.take(record)
    return Brood(
        id=id_,
        species=fold.plan.get("species", ""),
        plan=MappingProxyType({k: v for k, v in fold.plan.items() if k != "species"}),
        tanks=tuple(fold.stays),
        started_ms=fold.first.get(BroodAct.STARTED),
        spawned_ms=fold.first.get(BroodAct.SPAWNED),
        female_out_ms=fold.out.get("female"),
        male_out_ms=fold.out.get("male"),
        hatched_ms=fold.first.get(BroodAct.HATCHED),
        swimming_ms=fold.first.get(BroodAct.SWIMMING),
        ended_ms=fold.first.get(BroodAct.ENDED),
        outcome=fold.outcome,
        lost_to=fold.lost_to,
        stage=fold.stage,
        stage_ms=fold.stage_ms,
        dark=tuple(fold.dark),
        counts=MappingProxyType(fold.counts),
        done=MappingProxyType(fold.done),
        staged=tuple(fold.staged),
        records=tuple(standing),
        superseded=_superseded(own, standing),
    )


def _superseded(
    own: Mapping[str, BroodRecord], standing: Iterable[BroodRecord]
) -> tuple[Superseded, ...]:
    stand = {record.id for record in standing}
    told = sorted(own.values(), key=lambda r: (r.made_ms, r.id))
    last = {record.replaces: record for record in told}
    return tuple(
        Superseded(record=record, by=last.get(record.id))
        for record in told
        if record.id not in stand and record.act is not BroodAct.WITHDRAWN
    )


class _Fold:
    """What has been told so far; records come in the order of what happened."""

    def __init__(self) -> None:
        self.plan: dict[str, str] = {}
        self.stays: list[Stay] = []
        self.first: dict[BroodAct, int] = {}
        self.out: dict[str, int] = {}
        self.outcome: Outcome | None = None
        self.lost_to = ""
        self.stage: Stage | None = None
        self.stage_ms: int | None = None
        self.dark: list[Span] = []
        self.counts: dict[Counted, Count] = {}
        self.done: dict[str, int] = {}
        self.staged: list[JournalEntry] = []
        self._by_act: dict[BroodAct, Callable[[BroodRecord], None]] = {
            BroodAct.STARTED: self._started,
            BroodAct.STAGE: self._told_stage,
            BroodAct.PARENTS_OUT: self._parents_out,
            BroodAct.DARK: self._dark,
            BroodAct.LIGHT: self._light,
            BroodAct.MOVED: self._moved,
            BroodAct.DONE: self._done,
            BroodAct.ENDED: self._ended,
        }

    def take(self, record: BroodRecord) -> None:
        earlier = self.first.setdefault(record.act, record.at_ms)
        self._count(record)
        special = self._by_act.get(record.act)
        if special is not None:
            special(record)
        stage = STAGE_OF.get(record.act)
        if stage is not None and earlier == record.at_ms:
            self._into(stage, record)

    def _count(self, record: BroodRecord) -> None:
        kind = record.counted or COUNTED_BY.get(record.act)
        if kind is None or record.count is None:
            return
        before = self.counts.get(kind)
        summed = kind is Counted.WHITE and before is not None
        self.counts[kind] = before + record.count if summed and before else record.count

    def _into(self, stage: Stage, record: BroodRecord) -> None:
        self.stage, self.stage_ms = stage, record.at_ms
        for tank in [record.tank] if record.tank else self._present():
            self._enter(tank, stage, record.at_ms)

    def _enter(self, tank: str, stage: Stage, at_ms: int) -> None:
        entry = JournalEntry(at_ms=at_ms, tank=tank, deed=Deed.STAGE, detail=stage.value)
        if entry not in self.staged:
            self.staged.append(entry)

    def _present(self) -> list[str]:
        return [stay.tank for stay in self.stays if stay.to_ms is None]

    def _started(self, record: BroodRecord) -> None:
        self.plan.update(record.fields)
        named = (record.tank, *record.fields.get("tanks", "").split(","))
        for tank in dict.fromkeys(name.strip() for name in named):
            if tank and tank not in self._present():
                self.stays.append(Stay(tank=tank, from_ms=record.at_ms))
        stage = _stage(record.fields.get("stage", ""))
        if stage is not None:
            self._into(stage, record)

    def _told_stage(self, record: BroodRecord) -> None:
        stage = _stage(record.detail)
        if stage is not None:
            self._into(stage, record)

    def _parents_out(self, record: BroodRecord) -> None:
        who = record.fields.get("who", "")
        for parent in (who,) if who in {"female", "male"} else ("female", "male"):
            self.out.setdefault(parent, record.at_ms)

    def _dark(self, record: BroodRecord) -> None:
        if not _lasts(self.dark):
            self.dark.append(Span(from_ms=record.at_ms))

    def _light(self, record: BroodRecord) -> None:
        self._uncover(record.at_ms)

    def _uncover(self, at_ms: int) -> None:
        if _lasts(self.dark):
            self.dark[-1] = Span(from_ms=self.dark[-1].from_ms, to_ms=at_ms)

    def _moved(self, record: BroodRecord) -> None:
        """From all its tanks into another; with fields `from`, out of those named only.

        Eggs that are moved leave the parents behind.
        """
        told = record.fields.get("from")
        left = self._present() if told is None else [name.strip() for name in told.split(",")]
        for i, stay in enumerate(self.stays):
            if stay.to_ms is None and stay.tank in left and stay.tank != record.tank:
                self.stays[i] = Stay(tank=stay.tank, from_ms=stay.from_ms, to_ms=record.at_ms)
        if told is None and BroodAct.SPAWNED in self.first:
            self._parents_out(record)  # they stay behind
        if record.tank and record.tank not in self._present():
            self.stays.append(Stay(tank=record.tank, from_ms=record.at_ms))
            if self.stage is not None:
                self._enter(record.tank, self.stage, record.at_ms)

    def _done(self, record: BroodRecord) -> None:
        self.done.setdefault(record.detail, record.at_ms)

    def _ended(self, record: BroodRecord) -> None:
        self.outcome = _outcome(record.fields.get("outcome", ""))
        self.lost_to = record.detail
        ended_ms = self.first[BroodAct.ENDED]
        for i, stay in enumerate(self.stays):
            if stay.to_ms is None:
                self.stays[i] = Stay(tank=stay.tank, from_ms=stay.from_ms, to_ms=ended_ms)
        self._uncover(ended_ms)


def _lasts(spans: Sequence[Span]) -> bool:
    return bool(spans) and spans[-1].to_ms is None


def _stage(text: str) -> Stage | None:
    return Stage(text) if text in set(Stage) else None


def _outcome(text: str) -> Outcome:
    return Outcome(text) if text in set(Outcome) else Outcome.UNKNOWN
