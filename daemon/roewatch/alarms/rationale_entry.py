"""A rationale: why an alarm kind exists, what it costs to wait, and what to do first.

ISA-18.2 asks for this once per alarm before it is allowed to ring. Response times and
priorities are our own proposal for a one-person fish room, not figures from the standard.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from roewatch.room.kind import Priority
from roewatch.room.moment import span_text
from roewatch.room.quantity import Quantity
from roewatch.room.stage import YOUNG, Stage

MAINS = (
    "Unplug at the wall before hands go in. Residual-current device, drip loops; "
    "mains repairs are for a licensed person under your local code."
)
ACID = (
    "Gloves and eye protection. Acid goes into water, never water into acid; "
    "correct water in the vat, never by pouring into the tank."
)
SLOWLY = "Put it right slowly: a fast correction harms as much as the fault did."
CARBON_DIOXIDE = "Air the room first: carbon dioxide gathers low and is not smelt."


@dataclass(frozen=True, slots=True, kw_only=True)
class Rationale:
    """One alarm kind, rationalised.

    title: what a lock screen says after the place, at most 32 characters; `{quantity}` stands
    for the quantity's name. respond_ms, respond_young_ms: how long the keeper has, the second
    with eggs, larvae or fry in the tank; None where nothing has to be done.
    rises: priority goes up one step for young, and one when the forecast leaves under an hour.
    latches: over young the harm is done once, so the alarm stays until reset by hand.
    by_quantity: what reads differently for one quantity.
    """

    title: str
    cause: str
    consequence: str
    first_act: str
    priority: Priority
    respond_ms: int | None = None
    respond_young_ms: int | None = None
    caution: str = ""
    rises: bool = False
    latches: bool = False
    by_quantity: Mapping[Quantity, "Words"] = field(default_factory=dict)

    def respond_within_ms(self, stage: Stage | None) -> int | None:
        """How long the keeper has in `stage`; None when nothing has to be done in time."""
        return self.respond_young_ms if stage in YOUNG else self.respond_ms

    def respond_within(self, stage: Stage | None) -> str:
        """The same as people read it: `30 min`, or `no hurry`."""
        within = self.respond_within_ms(stage)
        return "no hurry" if within is None else span_text(within)

    def about(self, quantity: Quantity | None) -> "Rationale":
        """This rationale in the words that fit `quantity`."""
        words = self.by_quantity.get(quantity) if quantity else None
        if words is None:
            return self
        return replace(
            self,
            cause=words.cause,
            consequence=words.consequence,
            first_act=words.first_act,
            caution=words.caution,
            priority=words.priority or self.priority,
            rises=self.rises if words.rises is None else words.rises,
            latches=self.latches and words.respond_ms is None,
            respond_ms=words.respond_ms or self.respond_ms,
            respond_young_ms=words.respond_ms or self.respond_young_ms,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """How a kind reads for one quantity; priority and rises override the kind's own if given.

    respond_ms: given where no harm is done once: so long there is, over young too, and nothing
    latches.
    """

    cause: str
    consequence: str
    first_act: str
    caution: str = ""
    priority: Priority | None = None
    rises: bool | None = None
    respond_ms: int | None = None
