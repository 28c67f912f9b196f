"""Warming: how fast a heater can, and how a tank cools, from its time constant."""

import math
from dataclasses import dataclass

from roewatch.room.measured import temperature
from roewatch.water.refusal import RefusedError, within

_JOULE_PER_LITRE_K = 4180.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Warmth:
    """One tank as heat sees it.

    litres of water. watts of heater. room_celsius of the air around. loss: W per K of difference.
    """

    litres: float
    watts: float
    room_celsius: float
    loss: float

    def __post_init__(self) -> None:
        within(self.litres, 0.5, 10_000.0, what="tank volume", unit="L")
        within(self.watts, 0.0, 5_000.0, what="heater", unit="W")
        within(self.room_celsius, 0.0, 45.0, what="room temperature", unit="°C")
        within(self.loss, 0.05, 500.0, what="heat loss", unit="W/K")

    @property
    def time_constant_h(self) -> float:
        """Hours in which 63 % of a difference is gone."""
        return self.litres * _JOULE_PER_LITRE_K / self.loss / 3600.0

    @property
    def warmest(self) -> float:
        """°C the tank settles at with the heater always on."""
        return self.room_celsius + self.watts / self.loss

    def watts_needed(self, celsius: float) -> float:
        """W that hold `celsius`; nought at or below the room's."""
        return max(self.loss * (celsius - self.room_celsius), 0.0)

    def after(self, hours: float, *, celsius: float, heating: bool) -> float:
        """°C after `hours` from `celsius`, with the heater on throughout or off throughout."""
        ends = self.warmest if heating else self.room_celsius
        return ends + (celsius - ends) * math.exp(-hours / self.time_constant_h)

    def hours_to(self, wanted: float, *, celsius: float) -> float:
        """Hours from `celsius` to `wanted`, heater on to rise, off to fall.

        Raises RefusedError if it never gets there, with what it does reach.
        """
        if wanted == celsius:
            return 0.0
        rising = wanted > celsius
        ends = self.warmest if rising else self.room_celsius
        if (wanted >= ends) if rising else (wanted <= ends):
            what = f"{self.watts:g} W reaches" if rising else "without heat it falls only to"
            raise RefusedError(
                f"{temperature(wanted)} is never reached: {what} {temperature(ends)} in a room of "
                f"{temperature(self.room_celsius)}."
            )
        return self.time_constant_h * math.log((celsius - ends) / (wanted - ends))


def reckoned(*, litres: float, watts: float, room_celsius: float, covered: bool) -> Warmth:
    """Warmth of a bare glass tank from its size alone; expect the loss to be off by up to half.

    Better: learn the time constant from the tank's own cooling and use `learned`.
    Source: walls, base and cover of five tanks of 10-60 L reckoned from still-air films of
    0.13 m²K/W and glass; the law in litres fits them within 3 %. Range 5-200 L.
    Raises RefusedError outside.
    """
    within(litres, 5.0, 200.0, what="tank volume", unit="L")
    tenfold = litres / 10.0
    loss = 1.78 * tenfold**0.683 if covered else 3.16 * tenfold**0.653
    return Warmth(litres=litres, watts=watts, room_celsius=room_celsius, loss=loss)


def learned(*, litres: float, watts: float, room_celsius: float, time_constant_h: float) -> Warmth:
    """Warmth of a tank whose time constant was learned from its own heater-off slopes."""
    within(time_constant_h, 0.2, 500.0, what="time constant", unit="h")
    loss = litres * _JOULE_PER_LITRE_K / (time_constant_h * 3600.0)
    return Warmth(litres=litres, watts=watts, room_celsius=room_celsius, loss=loss)


def cautions(warmth: Warmth, *, wanted: float, ceiling: float = 32.0) -> tuple[str, ...]:
    """What to mind about holding `wanted` °C with this heater.

    Raises RefusedError if the heater cannot hold it at all. ceiling: °C animals must not meet.
    """
    needed = warmth.watts_needed(wanted)
    if needed > warmth.watts:
        raise RefusedError(
            f"holding {temperature(wanted)} takes about {needed:.0f} W in a room of "
            f"{temperature(warmth.room_celsius)}; the heater has {warmth.watts:g} W and would stop "
            f"at {temperature(warmth.warmest)}. Cover the tank, warm the room or add a heater."
        )
    if wanted < warmth.room_celsius:
        raise RefusedError(
            f"{temperature(wanted)} lies below the room's {temperature(warmth.room_celsius)}; a "
            "heater cannot cool. Cool the room."
        )
    found: list[str] = []
    if needed > 0.8 * warmth.watts:
        found.append(
            f"The heater has little to spare: {needed:.0f} of {warmth.watts:g} W only to hold "
            f"{temperature(wanted)}."
        )
    if warmth.watts > 0.0 and warmth.warmest > ceiling:
        hours = warmth.hours_to(ceiling, celsius=wanted) if wanted < ceiling else 0.0
        found.append(
            f"Stuck on, this heater passes {temperature(ceiling, 'g')} in about {hours:.1f} h. "
            "Two half-size heaters are safer."
        )
    return tuple(found)
