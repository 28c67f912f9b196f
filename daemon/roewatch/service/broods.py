"""The book of broods: records and clocks joined, for pages, commands and the calendar alike."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from roewatch.breeding.brood import Brood, brood_of, broods_of
from roewatch.breeding.development import CannotSay, Development, Leg
from roewatch.breeding.feed import Event, feed, read, written
from roewatch.breeding.forecast import BroodForecast
from roewatch.breeding.livefood import Culture, moves
from roewatch.breeding.own import OwnLeg, own_leg
from roewatch.breeding.proposal import proposal
from roewatch.breeding.prospect import (
    brood_cultures,
    brood_forecast,
    brood_temperatures,
    developments_of,
    supposed_spawning,
)
from roewatch.breeding.record import BroodRecord
from roewatch.breeding.tasks import todos
from roewatch.breeding.temperatures import Temperatures
from roewatch.breeding.todo import Todo, in_order
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag
from roewatch.room.series import Series
from roewatch.room.species import Food, SpeciesSheet
from roewatch.room.tank import Probe, Room
from roewatch.views.brood_ports import BroodOutlook, Proposal

TOLD_KEY = "brood-calendar"
_COLUMN_MS = 20 * MINUTE_MS
_MEAN_COLUMN_MS = HOUR_MS  # a mean over days moves by 0.02 °C at most; a third of the work
_OWN_BROODS = 40  # the last so many of a species speak for it
_TELLS_MOVES_MS = DAY_MS


class Kept(Protocol):
    """What the book reads."""

    def brood_records(self, brood: str | None = None) -> list[BroodRecord]: ...

    def brood_count(self) -> int: ...

    def series(self, probe: Probe, from_ms: int, to_ms: int, columns: int = 0) -> Series: ...

    def state(self, key: str) -> str: ...


@dataclass(frozen=True, slots=True)
class _Legs:
    """What a past brood says, and of which of its moments that was told."""

    moments: tuple[int | None, ...]
    legs: tuple[OwnLeg, ...]


class Broods:
    """Safe from any thread. room, sheets: those in force now.

    write: keeps records of broods; refuses with ValueError. remember: keeps a text under a key.
    """

    def __init__(
        self,
        kept: Kept,
        room: Callable[[], Room],
        sheets: Callable[[], Mapping[str, SpeciesSheet]],
        *,
        write: Callable[[Sequence[BroodRecord]], None],
        remember: Callable[[str, str], None],
    ) -> None:
        self._kept = kept
        self._room = room
        self._sheets = sheets
        self._write = write
        self._remember = remember
        self._read: tuple[int, list[BroodRecord], list[Brood]] = (0, [], [])
        self._legs: dict[str, _Legs] = {}
        self._celsius: dict[str, tuple[tuple[int | None, ...], float | None]] = {}

    def records(self, brood: str | None = None) -> Sequence[BroodRecord]:
        """Every record of one brood, or of all; superseded ones too."""
        return [r for r in self._known()[1] if brood is None or r.brood == brood]

    def _known(self) -> tuple[int, list[BroodRecord], list[Brood]]:
        """All records and the broods they tell of, folded anew when there are more."""
        kept = self._kept.brood_count()
        if kept != self._read[0]:
            records = self._kept.brood_records()
            self._read = (len(records), records, broods_of(records))
        return self._read

    def record(self, records: Sequence[BroodRecord]) -> None:
        """Keep records, each id once, and what follows from them. Raises ValueError."""
        self._write(records)

    def sheets(self) -> Mapping[str, SpeciesSheet]:
        """The species sheets by id."""
        return self._sheets()

    def broods(self) -> list[Brood]:
        """Every brood, by when it started."""
        return list(self._known()[2])

    def outlook(self, brood: Brood, now_ms: int) -> BroodOutlook:
        """What the clocks say of a brood."""
        sheet = self._sheets().get(brood.species)
        if sheet is None:
            return BroodOutlook(forecast=_no_sheet(brood))
        zone = self._room().zone
        developments = developments_of(sheet, self._sheets(), self._own(brood, now_ms))
        clocks = _Clocks(sheet, developments, self._readings(brood, now_ms), zone)
        told, food = clocks.told(brood, now_ms), clocks.cultures(brood, now_ms)
        due = proposal(brood, told, now_ms=now_ms, zone=zone)
        return BroodOutlook(
            forecast=told,
            todos=todos(brood, sheet, told, food, now_ms=now_ms, zone=zone),
            cultures=food,
            moved=self._moved(brood, clocks, food, now_ms),
            proposal=Proposal(tank=brood.tank, stage=due.stage, why=due.why) if due else None,
            mean_celsius=_mean(brood, clocks.warmth(brood, now_ms), now_ms),
        )

    def eggs_celsius(self, brood: Brood, now_ms: int) -> float | None:
        """What a brood's eggs stood at, on the mean, until they hatched; None where unmeasured."""
        moments = (brood.spawned_ms, brood.hatched_ms, brood.ended_ms)
        known = self._celsius.get(brood.id)
        if known is not None and known[0] == moments:
            return known[1]
        sheet = self._sheets().get(brood.species)
        if sheet is None:
            return None
        until_ms = brood.hatched_ms if brood.hatched_ms is not None else now_ms
        readings = self._readings(brood, until_ms, _MEAN_COLUMN_MS)
        warmth = brood_temperatures(brood, sheet, readings, until_ms)
        mean = _mean(brood, warmth, now_ms)
        if brood.hatched_ms is not None or brood.ended_ms is not None:  # it changes no more
            self._celsius[brood.id] = (moments, mean)
        return mean

    def todos(self, now_ms: int) -> tuple[Todo, ...]:
        """What all open broods of the room ask for, soonest due first."""
        found = [todo for b in self.broods() if b.open for todo in self.outlook(b, now_ms).todos]
        return tuple(in_order(found))

    def calendar(self, now_ms: int) -> dict[str, Event]:
        """The feed of all broods, by key; what is published is remembered, so that it can move."""
        before = self._kept.state(TOLD_KEY)
        events = feed(self.todos(now_ms), read(before), room=self._room().id, now_ms=now_ms)
        after = written(events)
        if after != before:
            self._remember(TOLD_KEY, after)
        return events

    # -- the water --------------------------------------------------------------------------

    def _readings(
        self, brood: Brood, now_ms: int, column_ms: int = _COLUMN_MS
    ) -> list[tuple[int, float]]:
        """Believed °C of the brood's own tanks from spawning until it swam, ended, or now."""
        if brood.spawned_ms is None:
            return []
        ends = [at_ms for at_ms in (brood.swimming_ms, brood.ended_ms) if at_ms is not None]
        end_ms = min([now_ms, *ends]) + 1
        found: list[tuple[int, float]] = []
        for stay in brood.tanks:
            from_ms = max(brood.spawned_ms, stay.from_ms)
            to_ms = end_ms if stay.to_ms is None else min(stay.to_ms, end_ms)
            if from_ms < to_ms:
                for probe in self._thermometers(stay.tank):
                    found += self._believed(probe, from_ms, to_ms, column_ms)
        return found

    def _thermometers(self, tank: str) -> list[Probe]:
        return [
            probe
            for probe in self._room().probes
            if probe.tank == tank and probe.quantity is Quantity.TEMPERATURE
        ]

    def _believed(
        self, probe: Probe, from_ms: int, to_ms: int, column_ms: int
    ) -> Iterable[tuple[int, float]]:
        columns = (to_ms - from_ms) // column_ms + 1
        drawn = self._kept.series(probe, from_ms, to_ms, columns)
        return (
            (at_ms, value)
            for at_ms, value, flag in zip(drawn.at_ms, drawn.value, drawn.flag, strict=True)
            if flag <= Flag.NOT_EVALUATED
        )

    # -- the keeper's own broods ------------------------------------------------------------

    def _own(self, brood: Brood, now_ms: int) -> list[OwnLeg]:
        """What the keeper's other broods of the species say."""
        past = [b for b in self.broods() if b.species == brood.species and b.id != brood.id]
        return [leg for b in past[-_OWN_BROODS:] for leg in self._legs_of(b, now_ms)]

    def _legs_of(self, brood: Brood, now_ms: int) -> tuple[OwnLeg, ...]:
        moments = (brood.spawned_ms, brood.hatched_ms, brood.swimming_ms)
        known = self._legs.get(brood.id)
        if known is not None and known.moments == moments:
            return known.legs
        sheet = self._sheets().get(brood.species)
        if sheet is None or brood.hatched_ms is None:
            return ()
        readings = self._readings(brood, now_ms)
        warmth = brood_temperatures(brood, sheet, readings, now_ms)
        told = (own_leg(brood, leg, warmth) for leg in Leg)
        legs = tuple(leg for leg in told if leg is not None)
        self._legs[brood.id] = _Legs(moments, legs)
        return legs

    def _moved(
        self, brood: Brood, clocks: "_Clocks", food: Sequence[Culture], now_ms: int
    ) -> tuple[str, ...]:
        """What the live-food calendar says differently than a day ago, by what was known then."""
        then_ms = now_ms - _TELLS_MOVES_MS
        known = [r for r in self.records(brood.id) if r.made_ms <= then_ms]
        if brood.spawned_ms is None or not known:
            return ()
        before = clocks.cultures(brood_of(brood.id, known), then_ms)
        return moves(before, _following(food, now_ms), zone=clocks.zone, now_ms=now_ms)


@dataclass(frozen=True, slots=True)
class _Clocks:
    """One brood's clocks at any moment, by the readings there were until then."""

    sheet: SpeciesSheet
    developments: Mapping[Leg, Development | CannotSay]
    readings: Sequence[tuple[int, float]]
    zone: str

    def warmth(self, brood: Brood, now_ms: int) -> Temperatures | None:
        """The water, as far as it was measured."""
        return brood_temperatures(brood, self.sheet, self.readings, now_ms)

    def told(self, brood: Brood, now_ms: int) -> BroodForecast:
        """Hatch and free-swimming."""
        return brood_forecast(brood, self.developments, self.warmth(brood, now_ms), now_ms)

    def cultures(self, brood: Brood, now_ms: int) -> tuple[Culture, ...]:
        """The live food; before there are eggs, counted back from when they may be expected."""
        told = brood_forecast(
            brood,
            self.developments,
            self.warmth(brood, now_ms),
            now_ms,
            spawning_ms=supposed_spawning(brood, now_ms, self.zone),
        )
        return brood_cultures(brood, self.sheet, told)


def _following(food: Sequence[Culture], now_ms: int) -> list[Culture]:
    """Of each live food the next that is still to be started: the later ones move with it."""
    ahead: dict[Food, Culture] = {}
    for culture in food:
        if culture.start_by_ms > now_ms:
            ahead.setdefault(culture.food, culture)
    return list(ahead.values())


def _no_sheet(brood: Brood) -> BroodForecast:
    name = f"no species sheet {brood.species!r}" if brood.species else "no species named"
    return BroodForecast(
        hatch=CannotSay(leg=Leg.HATCH, why=f"cannot say: {name}"),
        swimming=CannotSay(leg=Leg.SWIMMING, why=f"cannot say: {name}"),
    )


def _mean(brood: Brood, warmth: Temperatures | None, now_ms: int) -> float | None:
    """°C of the eggs' water on the mean, from spawning until the hatch or now."""
    if brood.spawned_ms is None or warmth is None or not warmth.at_ms:
        return None
    to_ms = now_ms if brood.hatched_ms is None else brood.hatched_ms
    if to_ms <= brood.spawned_ms:
        return None
    return warmth.mean(brood.spawned_ms, to_ms)
