"""The room's air: a house that loses heat to the weather, and a boiler that switches."""

from dataclasses import dataclass
from math import cos, exp, pi, sqrt
from random import Random

from roewatch.room.moment import DAY_MS, HOUR_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """Outdoors and house. Temperatures °C, times hours.

    outside_c, day_swing: mean and half the daily range outdoors, warmest at 15 h. weather_sd:
    spread of spells that last about two days. set_c: the room thermostat by day, `night_back`
    lower from 22 to 6 h. house_h: the house's time constant. gains_k: what lamps, people and
    neighbours add. boiler_k_per_h: how fast the boiler alone would warm the room.
    zone_h: hours ahead of UTC, for day and night.
    """

    outside_c: float = 2.0
    day_swing: float = 2.5
    weather_sd: float = 2.5
    set_c: float = 21.0
    night_back: float = 0.8
    house_h: float = 20.0
    gains_k: float = 4.0
    boiler_k_per_h: float = 2.5
    zone_h: float = 2.0


class RoomAir:
    """The air as it goes on, in °C; `celsius` is the present value, draughts included."""

    def __init__(self, climate: Climate, seed: str, at_ms: int) -> None:
        self.climate = climate
        self.heating_allowed = True
        self._random = Random(seed)
        self._weather = self._random.gauss(0, climate.weather_sd)
        self._draught = 0.0
        self._boiler_on = False
        self._air = climate.set_c
        self.celsius = self._air
        self._span_s = 0.0
        self._keep = (0.0, 0.0, 0.0)
        self._at_ms = at_ms

    def hour(self, at_ms: int) -> float:
        """Local hour of the day, 0 to 24."""
        return (at_ms / HOUR_MS + self.climate.zone_h) % (DAY_MS / HOUR_MS)

    def outside_c(self, at_ms: int) -> float:
        """Outdoor temperature now."""
        turn = cos((self.hour(at_ms) - 15) / 24 * 2 * pi)
        return self.climate.outside_c + self.climate.day_swing * turn + self._weather

    def advance(self, at_ms: int, span_s: float) -> None:
        """Go on by `span_s` seconds, to `at_ms`."""
        climate = self.climate
        if span_s != self._span_s:
            self._span_s = span_s
            self._keep = tuple(exp(-span_s / 3600 / h) for h in (48.0, 0.4, climate.house_h))  # type: ignore[assignment]
        weather, draught, house = self._keep
        gauss = self._random.gauss
        self._weather = weather * self._weather + gauss(
            0, climate.weather_sd * sqrt(1 - weather * weather)
        )
        self._draught = draught * self._draught + gauss(0, 0.12 * sqrt(1 - draught * draught))
        hour = self.hour(at_ms)
        wanted = climate.set_c - (climate.night_back if hour >= 22 or hour < 6 else 0.0)
        if self._boiler_on:
            self._boiler_on = self._air < wanted + 0.3
        else:
            self._boiler_on = self._air < wanted - 0.3
        rest = self.outside_c(at_ms) + climate.gains_k
        if self._boiler_on and self.heating_allowed:
            rest += climate.boiler_k_per_h * climate.house_h
        self._air = rest + house * (self._air - rest)
        self.celsius = self._air + self._draught
