"""The learned tank: what its own cycles say of its heating, in a sentence."""

from roewatch.judging.judge import Learned
from roewatch.room.measured import measured, temperature, warmer
from roewatch.room.moment import HOUR_MS, MINUTE_MS
from roewatch.room.tank import Tank
from roewatch.views.wording import begun, whole_span


def learned_words(tank: Tank, learned: Learned | None) -> str:
    """`Cools 1 °C in 70 min, heater at 38 %; …`; empty for a tank without a heater, or unjudged."""
    if learned is None or not tank.heater_watts:
        return ""
    if learned.cools_per_h is None or learned.duty is None:
        seen = f"{learned.cycles} so far" if learned.cycles else "none so far"
        return f"How it cools and heats is learned from the heater's own cycles: {seen}."
    said = f"heater at {measured(f'{100 * learned.duty:.0f}', '%')}"
    if learned.cools_per_h > 0:
        said = f"cools {warmer(1, 'g')} in {_cooling(learned.cools_per_h)}, {said}"
    if learned.switches_on is not None and learned.switches_off is not None:
        said += (
            f"; it switches on at {temperature(learned.switches_on)} and off at "
            f"{temperature(learned.switches_off)}"
        )
    return f"{begun(said)}.{_room(learned)}"


def _cooling(per_h: float) -> str:
    """How long one degree takes: minutes up to two hours, then hours to ten minutes."""
    minutes = max(round(60 / per_h), 1)
    if minutes < 120:
        return f"{minutes} min"
    return whole_span(min(minutes * MINUTE_MS, 1000 * HOUR_MS) // (10 * MINUTE_MS) * 10 * MINUTE_MS)


def _room(learned: Learned) -> str:
    if learned.room_c is None:
        return ""
    if not learned.room_spread:
        return f" The room's air is at {temperature(learned.room_c)}."
    return (
        f" The room's air, told by its tanks, is at about {temperature(learned.room_c, '.0f')}, "
        f"give or take {warmer(learned.room_spread)}."
    )
