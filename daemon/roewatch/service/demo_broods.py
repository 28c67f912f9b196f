"""The demo's broods: two invented ones under way, so that there is something to see."""

from collections.abc import Iterator
from uuid import NAMESPACE_URL, uuid5

from roewatch.breeding.brood import next_id
from roewatch.breeding.count import Counted, count_of
from roewatch.breeding.record import BroodAct, BroodRecord
from roewatch.room.moment import HOUR_MS

_Line = tuple[float, BroodAct, dict[str, str]]

# hours before now, what, and what belongs to it
_FRY: tuple[_Line, ...] = (
    (
        310, BroodAct.STARTED,
        {
            "tank": "B3", "species": "nannostomus-marginatus", "parents": "group of six",
            "water": "rain and peat", "food": "daphnia", "light": "09:00-20:00",
        },
    ),
    (300, BroodAct.CULTURE, {"detail": "artemia-test"}),
    (292, BroodAct.CULTURE, {"detail": "microworm-first"}),
    (268, BroodAct.SPAWNED, {"count": "about 70", "detail": "in the moss"}),
    (267, BroodAct.PARENTS_OUT, {"who": "pair"}),
    (266, BroodAct.CULTURE, {"detail": "protozoa-first"}),
    (246, BroodAct.COUNTED, {"counted": "white", "count": "5"}),
    (245, BroodAct.DONE, {"detail": "white-eggs/1"}),
    (242, BroodAct.CULTURE, {"detail": "protozoa-spare"}),
    (224, BroodAct.HATCHED, {"count": "50-60"}),
    (223, BroodAct.DONE, {"detail": "adults-back"}),
    (218, BroodAct.CULTURE, {"detail": "microworm-spare"}),
    (150, BroodAct.CULTURE, {"detail": "artemia-first"}),
    (118, BroodAct.CULTURE, {"detail": "daphnia-first"}),
    (117, BroodAct.CULTURE, {"detail": "protozoa-again-1"}),
    (112, BroodAct.SWIMMING, {"count": "about 45"}),
    (111, BroodAct.FED, {"detail": "infusoria"}),
    (58, BroodAct.CULTURE, {"detail": "artemia-day-2"}),
    (34, BroodAct.CULTURE, {"detail": "artemia-day-3"}),
    (28, BroodAct.NOTE, {"detail": "two are slower than the rest"}),
    (10, BroodAct.CULTURE, {"detail": "artemia-day-4"}),
    (4, BroodAct.FED, {"detail": "Artemia"}),
)  # fmt: skip
_EGGS: tuple[_Line, ...] = (
    (
        200, BroodAct.STARTED,
        {
            "tank": "A6", "species": "trichopsis-pumila", "parents": "pair 2",
            "water": "rain, one part well", "food": "daphnia", "light": "09:00-20:00",
            "stage": "spawning",
        },
    ),
    (150, BroodAct.CULTURE, {"detail": "artemia-test"}),
    (116, BroodAct.CULTURE, {"detail": "microworm-first"}),
    (90, BroodAct.CULTURE, {"detail": "protozoa-first"}),
    (66, BroodAct.CULTURE, {"detail": "protozoa-spare"}),
    (17, BroodAct.SPAWNED, {"count": "80-100", "detail": "a nest under the almond leaf"}),
    (16, BroodAct.PARENTS_OUT, {"who": "female"}),
)  # fmt: skip


def broods_of_the_boathouse(now_ms: int, zone: str) -> list[BroodRecord]:
    """Their records until `now_ms`, in the order in which they were made."""
    fry = next_id((), now_ms - round(_FRY[0][0] * HOUR_MS), zone)
    eggs = next_id((fry,), now_ms - round(_EGGS[0][0] * HOUR_MS), zone)
    records = [*_records(fry, _FRY, now_ms), *_records(eggs, _EGGS, now_ms)]
    return sorted(records, key=lambda record: record.order)


def _records(brood: str, lines: tuple[_Line, ...], now_ms: int) -> Iterator[BroodRecord]:
    for number, (hours, act, said) in enumerate(lines, start=1):
        at_ms = now_ms - round(hours * HOUR_MS)
        rest = {name: text for name, text in said.items() if name not in _OWN}
        detail = said.get("detail", "")
        yield BroodRecord(
            id=uuid5(NAMESPACE_URL, f"roewatch:demo:{brood}:{number}").hex,
            brood=brood,
            at_ms=at_ms,
            made_ms=at_ms,
            act=act,
            by="Keeper",
            tank=said.get("tank", ""),
            counted=Counted(said["counted"]) if "counted" in said else None,
            count=count_of(said["count"]) if "count" in said else None,
            detail=f"{brood}/{detail}" if act is BroodAct.DONE else detail,
            fields=rest,
        )


_OWN = frozenset({"tank", "counted", "count", "detail"})
