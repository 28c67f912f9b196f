"""A plan: what a quantity of a tank is meant to be, as dated steps."""

from collections.abc import Sequence
from dataclasses import dataclass

from roewatch.room.quantity import Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One dated step: the value meant to be reached at that moment, in the kept unit."""

    at_ms: int
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Dated steps of one quantity in one tank, in order; straight lines lie between them."""

    tank: str
    quantity: Quantity
    steps: Sequence[Step]

    def __post_init__(self) -> None:
        times = [step.at_ms for step in self.steps]
        if len(times) < 2 or times != sorted(set(times)):
            raise ValueError(
                f"plan for {self.tank} {self.quantity}: needs two steps or more, dated in order"
            )

    def meant_at(self, at_ms: int) -> float | None:
        """The value meant at `at_ms`; None before the first and after the last step."""
        for before, after in zip(self.steps, self.steps[1:], strict=False):
            if before.at_ms <= at_ms <= after.at_ms:
                share = (at_ms - before.at_ms) / (after.at_ms - before.at_ms)
                return before.value + share * (after.value - before.value)
        return None
