"""Units: what a browser chose to read in; everything is kept and judged in the kept units.

A difference converts as a difference: a limit of 1 °C an hour is 1.8 °F an hour, never 33.8.
"""

from dataclasses import dataclass, replace
from enum import Enum

from roewatch.room.measured import rounded_down
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.window import Window
from roewatch.views import wording
from roewatch.water.hardness import CACO3_MG_PER_DEGREE
from roewatch.water.unit import Measure, litres, measured

_PER_DEGREE = 1.8
_AT_FREEZING = 32.0


class Of(Enum):
    """What a number measures that a person may write in units of their own."""

    WARMTH = "warmth"
    VOLUME = "volume"
    HARDNESS = "hardness"


CHOICES = (("f", "°F"), ("ppm", "hardness in ppm"), ("gal", "US gallons"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """fahrenheit: else °C. ppm: hardness as ppm CaCO3, else °dGH. gallons: US, else litres."""

    fahrenheit: bool = False
    ppm: bool = False
    gallons: bool = False

    @classmethod
    def of(cls, words: str) -> "Units":
        """Those a cookie names, such as `f.gal`; what it does not know it passes over."""
        chosen = set(words.split("."))
        return cls(fahrenheit="f" in chosen, ppm="ppm" in chosen, gallons="gal" in chosen)

    @property
    def words(self) -> str:
        """What `of` takes; empty for the kept units."""
        chosen = zip(CHOICES, (self.fahrenheit, self.ppm, self.gallons), strict=True)
        return ".".join(word for (word, _), on in chosen if on)

    def _warm(self, quantity: Quantity) -> bool:
        return self.fahrenheit and quantity is Quantity.TEMPERATURE

    def unit(self, quantity: Quantity) -> str:
        """`°F`, `µS/cm`; empty for pH."""
        return "°F" if self._warm(quantity) else KEPT[quantity].unit

    def value(self, quantity: Quantity, kept: float) -> float:
        """A kept value in the chosen unit."""
        return kept * _PER_DEGREE + _AT_FREEZING if self._warm(quantity) else kept

    def difference(self, quantity: Quantity, kept: float) -> float:
        """A difference of kept values, or a rate, in the chosen unit."""
        return kept * _PER_DEGREE if self._warm(quantity) else kept

    def number(self, quantity: Quantity, kept: float) -> str:
        """A value without its unit, in the quantity's digits."""
        return wording.number(quantity, self.value(quantity, kept))

    def shown(self, quantity: Quantity, kept: float) -> str:
        """A value for people, with its unit."""
        text = self.number(quantity, kept)
        return f"pH {text}" if quantity is Quantity.PH else f"{text} {self.unit(quantity)}"

    def window(self, quantity: Quantity, kept: Window) -> Window:
        """A window in the chosen unit."""
        if not self._warm(quantity):
            return kept
        low, high = (
            None if bound is None else self.value(quantity, bound)
            for bound in (kept.low, kept.high)
        )
        return replace(kept, low=low, high=high)

    def window_text(self, quantity: Quantity, kept: Window) -> str:
        """`75.2 to 80.6 °F`, `at most 80.6 °F`; pH has no unit."""
        text = self.window(quantity, kept).text(KEPT[quantity].digits, to=" to ")
        unit = self.unit(quantity)
        return f"{text}\u00a0{unit}" if unit else text  # a number keeps its unit on its line

    def litres(self, kept: float) -> str:
        """`54 L`, `14.3 US gal`."""
        if self.gallons:
            return f"{self.shown_of(Of.VOLUME, kept):.1f} US gal"
        return f"{kept:g} L"

    def poured(self, kept: float) -> str:
        """A volume to pour, `4.2 L`, `1.10 US gal`; never more than may be, so rounded down."""
        unit, digits = ("US gal", 2) if self.gallons else ("L", 1)
        return f"{rounded_down(self.shown_of(Of.VOLUME, kept), digits):.{digits}f} {unit}"

    @property
    def volume(self) -> str:
        """`litres`, `US gal`: what a field for a volume is called."""
        return "US gal" if self.gallons else "litres"

    def shown_of(self, what: Of, kept: float) -> float:
        """A kept number (°C, L, German degrees) in the chosen unit."""
        if what is Of.WARMTH:
            return self.value(Quantity.TEMPERATURE, kept)
        if what is Of.VOLUME:
            return measured(kept, Measure.US_GALLON) if self.gallons else kept
        return kept * CACO3_MG_PER_DEGREE if self.ppm else kept

    def kept_of(self, what: Of, shown: float) -> float:
        """The other way round: what is kept of a number in the chosen unit, not rounded."""
        if what is Of.WARMTH:
            return (shown - _AT_FREEZING) / _PER_DEGREE if self.fahrenheit else shown
        if what is Of.VOLUME:
            return litres(shown, Measure.US_GALLON) if self.gallons else shown
        return shown / CACO3_MG_PER_DEGREE if self.ppm else shown

    def changes(self, what: Of) -> bool:
        """Whether that measure is read in another unit than the kept one."""
        return {Of.WARMTH: self.fahrenheit, Of.VOLUME: self.gallons, Of.HARDNESS: self.ppm}[what]

    def unit_of(self, what: Of, kept: str) -> str:
        """The chosen unit of a measure. kept: what it is kept in, `°C`, `L`, `°dGH` or `°dKH`."""
        other = {Of.WARMTH: "°F", Of.VOLUME: "US gal", Of.HARDNESS: "ppm CaCO3"}[what]
        return other if self.changes(what) else kept

    def hardness(self, kept: str) -> tuple[str, float, int]:
        """Unit, factor and digits of a hardness. kept: `°dGH` or `°dKH`, what it is kept in."""
        if self.ppm:
            return "ppm CaCO3", CACO3_MG_PER_DEGREE, 0
        return kept, 1.0, 1


KEPT_UNITS = Units()
