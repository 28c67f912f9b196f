"""A staging formula: how fast a species develops at one temperature against another."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class StagingFormula:
    """Rate of development relative to a reference temperature: `per_celsius * T + at_zero`.

    reference: °C at which the stages' hours are told. low, high: °C between which it was measured.
    Source of the form: Stages of Embryonic Development of the Zebrafish, Developmental Dynamics
    203, 1995, where H_T = h / (0.055 T - 0.57), measured at 25, 28.5 and 33 °C.
    """

    per_celsius: float
    at_zero: float
    reference: float
    low: float
    high: float

    @property
    def zero_celsius(self) -> float:
        """°C at which development stands still."""
        return -self.at_zero / self.per_celsius

    def rate(self, celsius: float) -> float:
        """Hours of development an hour at `celsius` is worth."""
        return max(self.per_celsius * celsius + self.at_zero, 0.0)

    def hours(self, stage_h: float, celsius: float) -> float:
        """Hours at a steady `celsius` to the stage told as `stage_h` at the reference."""
        return stage_h / self.rate(celsius)

    def degree_hours(self, stage_h: float) -> float:
        """°C·h above `zero_celsius` to the stage told as `stage_h`."""
        return stage_h / self.per_celsius
