"""Broods of the invented room, in memory, behind the pages' own port."""

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from tests.views.room_of_glass import NOW, GlassDeeds, GlassLive, GlassRecords, usual

from roewatch.breeding.brood import Brood, brood_of, broods_of
from roewatch.breeding.count import Counted, count_of
from roewatch.breeding.feed import Event, feed
from roewatch.breeding.prospect import (
    brood_cultures,
    brood_forecast,
    brood_temperatures,
    developments_of,
)
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.breeding.tasks import todos
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import Stage
from roewatch.service.settings.species import read_sheets
from roewatch.views.brood_ports import BroodOutlook, Proposal

SPECIES = "danio-margaritatus"


@cache
def sheets() -> Mapping[str, SpeciesSheet]:
    """The species sheets that are shipped."""
    return read_sheets(Path(__file__).parents[2] / "config/species").by_id


def record(brood: str, act: BroodAct, at_ms: int, **more: object) -> BroodRecord:
    """One record, written down when it happened; name only what matters."""
    text = f"{brood}-{act.value}-{at_ms}-{len(more)}-{more.get('detail', '')}"
    counted, count = more.pop("counted", None), more.pop("count", None)
    said: dict[str, object] = {
        "id": text.replace("/", "-").replace(" ", "-"),
        "brood": brood,
        "at_ms": at_ms,
        "made_ms": at_ms,
        "act": act,
        "by": "Keeper",
        "counted": counted,
        "count": count_of(count) if isinstance(count, str) else None,
    }
    return BroodRecord(**(said | more))  # type: ignore[arg-type]


@dataclass
class GlassBroods:
    """Records in a list, and the clocks read off the glass room's own probes."""

    readings: GlassRecords
    live: GlassLive
    kept: dict[str, BroodRecord] = field(default_factory=dict)
    published: dict[str, Event] = field(default_factory=dict)

    def records(self, brood: str | None = None) -> Sequence[BroodRecord]:
        return [record for record in self.kept.values() if brood in {None, record.brood}]

    def broods(self) -> Sequence[Brood]:
        return broods_of(self.kept.values())

    def sheets(self) -> Mapping[str, SpeciesSheet]:
        return sheets()

    def record(self, records: Sequence[BroodRecord]) -> None:
        for one in records:
            self.kept.setdefault(one.id, one)

    def outlook(self, brood: Brood, now_ms: int) -> BroodOutlook:
        sheet = sheets()[brood.species or SPECIES]
        readings = self._warmth(brood, now_ms)
        temperatures = brood_temperatures(brood, sheet, readings, now_ms)
        forecast = brood_forecast(brood, developments_of(sheet, sheets()), temperatures, now_ms)
        cultures = brood_cultures(brood, sheet, forecast)
        zone = self.readings.room.zone
        celsius = [value for _, value in readings]
        proposal = None
        hatch = forecast.hatch
        if brood.hatched_ms is None and getattr(hatch, "to_ms", now_ms) < now_ms:
            proposal = Proposal(
                tank=brood.tank, stage=Stage.LARVAE, why="By the clock the eggs have hatched."
            )
        return BroodOutlook(
            forecast=forecast,
            todos=todos(brood, sheet, forecast, cultures, now_ms=now_ms, zone=zone),
            cultures=cultures,
            proposal=proposal,
            mean_celsius=sum(celsius) / len(celsius) if celsius else None,
        )

    def eggs_celsius(self, brood: Brood, now_ms: int) -> float | None:
        told = brood.plan.get("celsius", "")  # as the invented brood has it
        return float(told) if told else None

    def calendar(self, now_ms: int) -> Mapping[str, Event]:
        broods = [brood_in(self, id_) for id_ in {one.brood for one in self.kept.values()}]
        found = [todo for brood in broods for todo in self.outlook(brood, now_ms).todos]
        self.published = feed(found, self.published, room=self.readings.room.id, now_ms=now_ms)
        return self.published

    def _warmth(self, brood: Brood, now_ms: int) -> list[tuple[int, float]]:
        since = brood.spawned_ms if brood.spawned_ms is not None else now_ms
        probes = [
            p
            for p in self.readings.room.probes
            if p.tank == brood.tank and p.quantity is Quantity.TEMPERATURE
        ]
        return [
            (at_ms, value)
            for probe in probes
            for at_ms in range(since, now_ms, HOUR_MS // 2)
            if (value := self.readings.curve(probe, at_ms)) is not None and value != 85.0
        ]


def eggs(id_: str = "2026-14", tank: str = "A5", ago_ms: int = 17 * HOUR_MS) -> list[BroodRecord]:
    """A brood whose eggs were seen so long ago."""
    begun, seen = NOW - 9 * DAY_MS, NOW - ago_ms
    return [
        record(
            id_,
            BroodAct.STARTED,
            begun,
            tank=tank,
            fields={
                "species": SPECIES,
                "parents": "pair 3",
                "water": "rain and peat, 60 µS/cm",
                "food": "daphnia, mosquito larvae",
                "light": "07:00-19:00",
            },
        ),
        record(id_, BroodAct.SPAWNED, seen, count="about 60"),
        record(id_, BroodAct.PARENTS_OUT, seen + HOUR_MS, fields={"who": "pair"}),
    ]


def swum(id_: str = "2026-11", tank: str = "A6") -> list[BroodRecord]:
    """A brood that has been swimming for eleven days, with a correction and a withdrawal."""
    spawned = NOW - 20 * DAY_MS
    first = record(id_, BroodAct.HATCHED, spawned + 80 * HOUR_MS)
    better = record(
        id_, BroodAct.HATCHED, spawned + 76 * HOUR_MS, replaces=first.id,
        made_ms=spawned + 90 * HOUR_MS,
    )  # fmt: skip
    wrong = record(id_, BroodAct.FED, spawned + 10 * DAY_MS, detail="microworms")
    return [
        record(id_, BroodAct.STARTED, spawned - 12 * DAY_MS, tank=tank,
               fields={"species": SPECIES, "parents": "group of 6", "water": "rain"}),
        record(id_, BroodAct.SPAWNED, spawned, count="72"),
        record(id_, BroodAct.COUNTED, spawned + DAY_MS, counted=Counted.WHITE, count="9"),
        record(id_, BroodAct.COUNTED, spawned + 2 * DAY_MS, counted=Counted.WHITE, count="4"),
        first,
        better,
        record(id_, BroodAct.COUNTED, spawned + 4 * DAY_MS, counted=Counted.HATCHED, count="50-58"),
        record(id_, BroodAct.SWIMMING, spawned + 8 * DAY_MS, count="about 50"),
        wrong,
        record(id_, BroodAct.WITHDRAWN, NOW - HOUR_MS, replaces=wrong.id),
        record(id_, BroodAct.FED, NOW - 4 * MINUTE_MS, detail="Artemia"),
    ]  # fmt: skip


def over(id_: str, tank: str, days_ago: int, outcome: str = "reared") -> list[BroodRecord]:
    """A brood that has ended."""
    spawned = NOW - days_ago * DAY_MS
    return [
        record(id_, BroodAct.STARTED, spawned - 5 * DAY_MS, tank=tank,
               fields={"species": SPECIES, "parents": "pair 1", "water": "rain"}),
        record(id_, BroodAct.SPAWNED, spawned, count="80"),
        record(id_, BroodAct.HATCHED, spawned + 75 * HOUR_MS, count="61"),
        record(id_, BroodAct.SWIMMING, spawned + 8 * DAY_MS, count="55"),
        record(id_, BroodAct.COUNTED, spawned + 40 * DAY_MS, counted=Counted.MOVED_ON, count="31"),
        record(id_, BroodAct.ENDED, spawned + 41 * DAY_MS, fields={"outcome": outcome}),
    ]  # fmt: skip


def tried(
    count: int, *, seed: int = 7, waters: Sequence[str] = ("rain", "rain and peat", "well")
) -> list[BroodRecord]:
    """So many invented broods of one species; rain and peat hatches best, and clutches differ."""
    draw = random.Random(seed)
    found = []
    for n in range(count):
        water = waters[n % len(waters)]
        spawned = NOW - (30 + n % 700) * DAY_MS
        likely = {"rain": 0.6, "rain and peat": 0.75, "well": 0.35}[water]
        share = draw.betavariate(8 * likely, 8 * (1 - likely))
        eggs = draw.randint(30, 160)
        hatched = sum(draw.random() < share for _ in range(eggs))
        fields = {
            "species": SPECIES,
            "water": water,
            "parents": f"pair {n % 4 + 1}",
            "food": ("daphnia", "flake")[n % 2],
            "celsius": str(24 + n % 4),
        }
        id_ = f"2024-{n + 1}"
        tank = f"{'AB'[n % 2]}{n % 6 + 1}"
        found += [
            record(id_, BroodAct.STARTED, spawned - DAY_MS, tank=tank, fields=fields),
            record(id_, BroodAct.SPAWNED, spawned, count=str(eggs)),
            record(id_, BroodAct.HATCHED, spawned + 75 * HOUR_MS, count=str(hatched)),
            record(id_, BroodAct.SWIMMING, spawned + 8 * DAY_MS, count=str(hatched * 4 // 5)),
            record(id_, BroodAct.ENDED, spawned + 20 * DAY_MS, fields={"outcome": "reared"}),
        ]
    return found


Nursery = tuple[GlassRecords, GlassLive, GlassDeeds, GlassBroods]


def nursery() -> Nursery:
    """The invented room with three broods under way and one that has ended."""
    records, live, deeds = usual()
    broods = GlassBroods(records, live)
    broods.record([*eggs(), *swum(), *over("2026-3", "A2", 120)])
    broods.record(
        [
            record("2026-15", BroodAct.STARTED, NOW - 3 * DAY_MS, tank="A1",
                   fields={"species": "boraras-brigittae", "parents": "group in A1"}),
        ]
    )  # fmt: skip
    return records, live, deeds, broods


def brood_in(broods: GlassBroods, id_: str) -> Brood:
    """One brood as it stands."""
    return brood_of(id_, broods.records(id_))
