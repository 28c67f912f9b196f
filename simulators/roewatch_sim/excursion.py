"""An excursion: the true water outside its window; and the book that is kept of them."""

from collections.abc import Mapping
from dataclasses import dataclass

from roewatch.room.quantity import Quantity
from roewatch.room.window import Window


@dataclass(frozen=True, slots=True)
class Excursion:
    """The true water outside its window. until_ms is None while it lasts."""

    tank: str
    quantity: Quantity
    low: bool
    from_ms: int
    until_ms: int | None = None


class ExcursionBook:
    """Every excursion so far, in order of its beginning."""

    def __init__(self) -> None:
        self.all: list[Excursion] = []
        self._open: dict[tuple[str, Quantity], int] = {}  # place in `all`

    def look(
        self, tank: str, windows: Mapping[Quantity, Window], celsius: float, ph: float, at_ms: int
    ) -> None:
        """Enter what the water of `tank` does at `at_ms`. Windows of other quantities: ignored."""
        for quantity, window in windows.items():
            if quantity is Quantity.TEMPERATURE:
                by = window.outside_by(celsius)
            elif quantity is Quantity.PH:
                by = window.outside_by(ph)
            else:
                continue
            if by or self._open:
                self._enter(tank, quantity, by, at_ms)

    def _enter(self, tank: str, quantity: Quantity, by: float, at_ms: int) -> None:
        key = (tank, quantity)
        place = self._open.get(key)
        if place is None and by:
            self._open[key] = len(self.all)
            self.all.append(Excursion(tank, quantity, by < 0, at_ms))
        elif place is not None and not by:
            was = self.all[place]
            self.all[place] = Excursion(tank, quantity, was.low, was.from_ms, at_ms)
            del self._open[key]
