"""Invented broods, whose truth is known: clutches differ among themselves as real ones do."""

import random
from collections.abc import Mapping

from roewatch.breeding.brood import brood_of
from roewatch.breeding.compare import Attempted
from roewatch.breeding.count import Count, Counted
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.room.moment import DAY_MS, HOUR_MS

TRUTH = {"rain and peat": 0.72, "RO 1:4": 0.72, "tap 1:2": 0.45}
"""Hatch by water in the usual invention."""

ALIKE = 0.1
"""How alike the eggs of one clutch are: the intra-clutch correlation."""


def clutch(chance: random.Random, eggs: int, share: float, alike: float = ALIKE) -> int:
    """How many of `eggs` do it: beta-binomial with that mean and correlation."""
    strength = 1 / alike - 1
    own = chance.betavariate(share * strength, (1 - share) * strength)
    return sum(chance.random() < own for _ in range(eggs))


def invented_records(
    number: int, chance: random.Random, truth: Mapping[str, float]
) -> list[BroodRecord]:
    """The records of one ended brood, counted as people count: some exactly, some about."""
    id_ = f"{2020 + number // 100}-{number % 100 + 1}"
    start_ms = 1_577_872_800_000 + number * 3 * DAY_MS
    water = chance.choice(sorted(truth))
    eggs = chance.randint(30, 200)
    hatched = clutch(chance, eggs, truth[water])
    swimming = clutch(chance, hatched, 0.85)
    day_14 = clutch(chance, swimming, 0.8)
    fields = {
        "species": "trigonostigma-heteromorpha",
        "water": water,
        "parents": f"pair {chance.randint(1, 8)}",
        "food": chance.choice(["daphnia", "mosquito larvae"]),
    }

    def told(act: BroodAct, hours: float, n: int | None = None, counted: Counted | None = None,
             more: Mapping[str, str] | None = None) -> BroodRecord:  # fmt: skip
        at_ms = start_ms + round(hours * HOUR_MS)
        count = None if n is None else Count(low=n, high=n, about=chance.random() < 0.3)
        if count is not None and chance.random() < 0.2:
            count = Count(low=n or 0, high=(n or 0) + 4)
        return BroodRecord(
            id=f"{id_}-{act.value}-{counted or ''}", brood=id_, at_ms=at_ms, made_ms=at_ms,
            act=act, tank="B2", counted=counted, count=count, fields=more or {},
        )  # fmt: skip

    return [
        told(BroodAct.STARTED, 0, more=fields),
        told(BroodAct.SPAWNED, 72, eggs),
        told(BroodAct.HATCHED, 100, hatched),
        told(BroodAct.SWIMMING, 200, swimming),
        told(BroodAct.COUNTED, 100 + 14 * 24, day_14, Counted.DAY_14),
        told(BroodAct.ENDED, 100 + 40 * 24, more={"outcome": "reared"}),
    ]


def invented(
    broods: int, seed: int = 1, truth: Mapping[str, float] | None = None
) -> list[Attempted]:
    """So many invented broods, with the °C their eggs stood at."""
    chance = random.Random(seed)
    found = []
    for number in range(broods):
        records = invented_records(number, chance, truth or TRUTH)
        brood = brood_of(records[0].brood, records)
        found.append(Attempted(brood=brood, celsius=round(chance.gauss(26, 1), 1)))
    return found
