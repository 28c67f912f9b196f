"""A walk: the straight line from a tank's water to a recipe's, and one day's step along it.

Everything that mixes moves on that line. Before a change the tank is at rest; just after it CO2 has
had no time to leave; hours later it is at rest again. Paces are kept between all of these.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

from roewatch.breeding.pace import Followed, Moment, Pace, Strain, WaterState, hardest
from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.water import carbonate
from roewatch.water.source import Makeup, mixed

CHANGE_MS = 30 * MINUTE_MS
"""A change takes about this long from first siphon to last jug."""
LEAST_FRACTION = 0.005
"""A smaller change than this is not worth a jug."""


class Walk(NamedTuple):
    """The line from the tank's water to the recipe's, and the CO2 the tank rests at, µatm."""

    start: Makeup
    recipe: Makeup
    pco2: float

    def at(self, progress: float) -> Makeup:
        """What mixes, `progress` (0-1) of the way; its carbon is only right at the ends."""
        if progress <= 0.0:
            return self.start
        if progress >= 1.0:
            return self.recipe
        return mixed([(1.0 - progress, self.start), (progress, self.recipe)])

    def aired(self, progress: float, celsius: float) -> carbonate.Balance:
        """The carbonate balance at rest."""
        return self.at(progress).aired(pco2=self.pco2, celsius=celsius)

    def rest(self, progress: float, celsius: float) -> WaterState:
        """The tank at rest, `progress` of the way."""
        return _rest(self, progress, celsius)

    def just_after(
        self, before: float, fraction: float, *, rested_dic: float, celsius: float
    ) -> WaterState:
        """The tank just after `fraction` of it was replaced, `before` of the way.

        rested_dic: mmol/L of carbon it held at rest before. celsius: just after.
        """
        return _just_after(self, before, fraction, rested_dic, celsius)


# each day looks at the same few waters once for every pace it may not break
@lru_cache(maxsize=32)
def _rest(walk: Walk, progress: float, celsius: float) -> WaterState:
    return _state(walk.at(progress), walk.aired(progress, celsius), celsius)


@lru_cache(maxsize=32)
def _just_after(
    walk: Walk, before: float, fraction: float, rested_dic: float, celsius: float
) -> WaterState:
    after = walk.at(before + fraction * (1.0 - before))
    carbon = (1.0 - fraction) * rested_dic + fraction * walk.recipe.dic
    return _state(after, replace(after, dic=carbon).closed(celsius=celsius), celsius)


def _state(makeup: Makeup, balance: carbonate.Balance, celsius: float) -> WaterState:
    return WaterState(
        ph=balance.ph,
        conductivity=makeup.conductivity_at(balance.ph),
        dgh=makeup.dgh,
        dkh=makeup.dkh,
        celsius=celsius,
    )


class Day(NamedTuple):
    """One day of a ramp before its change is chosen.

    moments: all before, in order; the last is the tank now. thermostat: °C set after the change.
    water_celsius: of the new water, None when it is brought to the tank's.
    """

    walk: Walk
    paces: Sequence[Pace]
    moments: Sequence[Moment]
    progress: float
    celsius: float
    thermostat: float
    water_celsius: float | None
    rested_dic: float

    @property
    def at_ms(self) -> int:
        """When the change begins."""
        return self.moments[-1].at_ms

    def after(self, fraction: float) -> tuple[Moment, ...]:
        """The tank just after the change, at rest again, and before the next.

        Rest is dated straight after the change: how soon CO2 and warmth get there is not known,
        so the paces must bear the quickest.
        """
        progress = self.progress + fraction * (1.0 - self.progress)
        settled = self.walk.rest(progress, self.thermostat)
        rest = (
            Moment(self.at_ms + CHANGE_MS, settled),
            Moment(self.at_ms + DAY_MS, settled),
        )
        if fraction <= 0.0:
            return rest
        poured = self.celsius if self.water_celsius is None else self.water_celsius
        just_after = self.walk.just_after(
            self.progress,
            fraction,
            rested_dic=self.rested_dic,
            celsius=self.celsius + fraction * (poured - self.celsius),
        )
        return (Moment(self.at_ms + CHANGE_MS, just_after), *rest)

    def strain_of(self, fraction: float) -> Strain | None:
        """The pace a change of `fraction` leans on hardest; None without paces."""
        so_far = list(self.moments)
        found: Strain | None = None
        for moment in self.after(fraction):
            strain = hardest(so_far, moment, self.paces)
            if strain is not None and (found is None or strain.share > found.share):
                found = strain
            so_far.append(moment)
        return found

    def largest_fraction(self, most: float) -> tuple[float, Strain | None]:
        """The largest change up to `most` that breaks no pace, and the pace that stops more.

        Every fraction returned was itself tried, so a bend in pH cannot smuggle a broken pace in.
        """
        at_none = self.strain_of(0.0)
        if most <= 0.0:
            return 0.0, at_none if at_none is not None and at_none.breaks else None
        at_most = self.strain_of(most)
        if at_none is not None and at_none.breaks:
            return 0.0, at_none
        if at_most is None or not at_most.breaks:
            return most, None
        fraction, stop = self._moved_by_water().sought(most, at_most)
        if fraction > 0.0 and _breaks(self.strain_of(fraction)):
            # a pace set aside does feel the water: halve with all of them
            fraction, stop = self._halved(most, at_most)
        return (fraction if fraction >= LEAST_FRACTION else 0.0), stop

    def _moved_by_water(self) -> "Day":
        """The day without the paces that warming alone already strains: they hide the water's."""
        kept = []
        for pace in self.paces:
            strain = self._replace(paces=[pace]).strain_of(0.0)
            if strain is None or strain.share <= 0.5:
                kept.append(pace)
        return self._replace(paces=kept)

    def sought(self, most: float, at_most: Strain) -> tuple[float, Strain]:
        """The largest fraction that breaks none of this day's paces, by where lines cross."""
        at_none, everything = self.strain_of(0.0), self.strain_of(most)
        if everything is None or not everything.breaks:
            return most, at_most
        low, high, stop = 0.0, most, everything
        low_share = 0.0 if at_none is None else at_none.share
        high_share = everything.share
        for _ in range(16):
            # where a straight line meets the limit, a hair inside, so that most tries are kept
            tried = low + (high - low) * max(0.998 - low_share, 0.0) / (high_share - low_share)
            tried = min(max(tried, low + 0.02 * (high - low)), high - 0.02 * (high - low))
            strain = self.strain_of(tried)
            if strain is None or not strain.breaks:
                low, low_share = tried, 0.0 if strain is None else strain.share
            else:
                high, high_share, stop = tried, strain.share, strain
            if low_share > 0.985 or high - low < 0.001:
                break
        return low, stop

    def _halved(self, most: float, at_most: Strain) -> tuple[float, Strain]:
        low, high, stop = 0.0, most, at_most
        for _ in range(10):
            middle = (low + high) / 2.0
            strain = self.strain_of(middle)
            if strain is None or not strain.breaks:
                low = middle
            else:
                high, stop = middle, strain
        return low, stop


def _breaks(strain: Strain | None) -> bool:
    return strain is not None and strain.breaks


def next_thermostat(
    celsius: float, wanted: float | None, *, moments: Sequence[Moment], paces: Sequence[Pace]
) -> float:
    """°C to set now on the way to `wanted`: as near as every temperature pace allows."""
    if wanted is None:
        return celsius
    low, high = min(celsius, wanted), max(celsius, wanted)
    at_ms = moments[-1].at_ms + CHANGE_MS
    for pace in paces:
        if pace.followed is not Followed.TEMPERATURE:
            continue
        for moment in moments:
            if moment.at_ms >= at_ms - pace.span_ms:
                rise, fall = pace.allowed(moment.state.celsius)
                low = max(low, moment.state.celsius - fall)
                high = min(high, moment.state.celsius + rise)
    if low > high:
        return celsius
    return min(max(wanted, low), high)
