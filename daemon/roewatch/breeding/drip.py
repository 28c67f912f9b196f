"""A drip: bringing animals over from one water to another, slowly enough for every pace."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from roewatch.breeding.pace import Followed, Moment, Pace, Strain, WaterState, hardest
from roewatch.room.measured import warmer
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.window import Basis
from roewatch.water import carbonate
from roewatch.water.refusal import RefusedError, within
from roewatch.water.source import Makeup, SourceWater, mixed

DONE = 0.95
"""Animals are moved when 95 % of the difference is gone."""
_MOST_HOURS = 12.0
_SLICES = 24
_DROPS_PER_ML = 20.0


ADULTS_MOVING: tuple[Pace, ...] = (
    Pace(
        followed=Followed.PH, span_ms=DAY_MS, rise=0.5, fall=0.5, basis=Basis.PUBLISHED,
        source="FAO small-scale aquaponics manual, section 7.5: over 0.5 takes a day or more",
    ),
    Pace(
        followed=Followed.TEMPERATURE, span_ms=HOUR_MS, rise=2.0, fall=2.0, basis=Basis.PUBLISHED,
        source="Ornamental fish packaging for air transport, 2003: under 2 °C left at release",
    ),
    Pace(
        followed=Followed.CONDUCTIVITY, span_ms=HOUR_MS, rise=0.5, fall=0.3, of_value=True,
        least=30.0, basis=Basis.ASSUMED, source="our own caution; nothing published was found",
    ),
)  # fmt: skip
"""What healthy adults bear on one move; not for eggs, larvae or fry: those are never moved so."""


class NoDripError(RefusedError):
    """No drip is slow enough for these two waters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drip:
    """A drip into an overflowing container.

    hours: until the animals may be moved. litres_per_hour: of the new water. litres_needed in all.
    states: (hours, water around the animals), from nought to the end. first_float_min: minutes to
    float the bag first so that warmth evens out.
    """

    hours: float
    litres_per_hour: float
    litres_needed: float
    states: tuple[tuple[float, WaterState], ...]
    float_minutes: int
    cautions: tuple[str, ...]

    @property
    def drops_per_second(self) -> float:
        """Drops a second, twenty to a millilitre."""
        return self.litres_per_hour * 1000.0 * _DROPS_PER_ML / 3600.0


def over(
    *,
    litres: float,
    bag: SourceWater,
    tank: SourceWater,
    paces: Sequence[Pace],
    pco2: float = carbonate.ROOM_UATM,
) -> Drip:
    """The quickest safe drip for animals in `litres` of `bag` water going to `tank`.

    The bag is floated first, so both are taken at the tank's temperature at the end; the warmth
    itself must fit its paces too. pH is judged both with the bag's CO2 still in and once it is
    out. Raises NoDripError when more than twelve hours would be needed: then ramp the bag's water
    over days instead, and it says which pace stands in the way.
    """
    within(litres, 0.05, 1000.0, what="water with the animals", unit="L")
    start, end = bag.makeup, tank.makeup
    if tank.ph is None:
        end = replace(end, dic=end.aired(pco2=pco2).dic)
    else:
        pco2 = end.closed().pco2  # the tank's own CO2 is what the animals end up in
    line = _Line(start, end, pco2)
    blocked = _worst(line, _MOST_HOURS, paces)
    if blocked is not None and blocked.breaks:
        raise NoDripError(
            f"no drip of up to {_MOST_HOURS:g} hours is slow enough: {blocked.pace.text()} "
            f"({_said(blocked)}). Keep the animals apart in their own water, aired and at their "
            "own temperature, and ramp it over days."
        )
    low, high = 0.25, _MOST_HOURS
    found = _worst(line, low, paces)
    if found is None or not found.breaks:
        high = low
    for _ in range(12):
        if high - low < 0.05:
            break
        middle = (low + high) / 2.0
        strain = _worst(line, middle, paces)
        low, high = (middle, high) if strain is not None and strain.breaks else (low, middle)
    exchanges = -math.log(1.0 - DONE)
    rate = litres * exchanges / high
    return Drip(
        hours=high,
        litres_per_hour=rate,
        litres_needed=litres * exchanges,
        states=tuple(
            (moment.at_ms / 3_600_000.0, moment.state) for moment in line.moments(high, aired=False)
        ),
        float_minutes=30 if abs(bag.celsius - tank.celsius) > 2.0 else 15,
        cautions=_cautions(bag, tank, start, end),
    )


@dataclass(frozen=True, slots=True)
class _Line:
    """From the bag's water to the tank's."""

    start: Makeup
    end: Makeup
    pco2: float

    def moments(self, hours: float, *, aired: bool) -> list[Moment]:
        """The water around the animals over a drip of `hours`, with or without its CO2 gone."""
        found = []
        for i in range(_SLICES + 1):
            share = i / _SLICES
            progress = 1.0 - (1.0 - DONE) ** share
            at_ms = round(share * hours * 60.0) * MINUTE_MS
            found.append(Moment(at_ms, self._state(progress, freed=share if aired else 0.0)))
        return found

    def _state(self, progress: float, *, freed: float) -> WaterState:
        """freed: share of the way to rest with the air that CO2 has gone."""
        if progress <= 0.0:
            makeup = self.start
        else:
            makeup = mixed([(1.0 - progress, self.start), (progress, self.end)])
        if freed > 0.0:
            rested = makeup.aired(pco2=self.pco2).dic
            makeup = replace(makeup, dic=(1.0 - freed) * makeup.dic + freed * rested)
        balance = makeup.closed()
        return WaterState(
            ph=balance.ph,
            conductivity=makeup.conductivity_at(balance.ph),
            dgh=makeup.dgh,
            dkh=makeup.dkh,
            celsius=makeup.celsius,
        )


def _worst(line: _Line, hours: float, paces: Sequence[Pace]) -> Strain | None:
    worst: Strain | None = None
    for aired in (False, True):
        moments = line.moments(hours, aired=aired)
        for i, later in enumerate(moments):
            strain = hardest(moments[:i], later, paces)
            if strain is not None and (worst is None or strain.share > worst.share):
                worst = strain
    return worst


def _said(strain: Strain) -> str:
    before = strain.earlier.state.of(strain.pace.followed)
    after = strain.later.state.of(strain.pace.followed)
    return f"{before:.2f} to {after:.2f}" if before is not None and after is not None else ""


def _cautions(bag: SourceWater, tank: SourceWater, start: Makeup, end: Makeup) -> tuple[str, ...]:
    found = [
        "Dim the light, cover the container, keep an air stone on low, and watch the animals.",
        "Do not pour the bag's water into the tank.",
    ]
    before, after = start.closed(), end.closed(celsius=tank.celsius)
    if after.ph > before.ph + 0.2:
        found.append(
            "pH rises: a bag that was closed for long holds ammonia which turns harmful as CO2 "
            "leaves. Test it; if there is any, change water quickly rather than drip slowly."
        )
    if abs(bag.celsius - tank.celsius) > 2.0:
        found.append(
            f"More than {warmer(2, 'g')} apart: float the bag half an hour before the first drop."
        )
    return tuple(found)
