"""A binding: how the messages on one topic become the readings of one probe."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from roewatch.intake.document import parts_of
from roewatch.room.quantity import Quantity, conversion


class Format(StrEnum):
    """How a payload is written."""

    PLAIN = "plain"  # a bare number, decimal comma or point, unit suffix allowed
    JSON = "json"  # a value found by an RFC 6901 pointer
    SENML = "senml"  # an RFC 8428 pack in JSON


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding:
    """One probe's way through one topic. Several probes may share a topic.

    pointer: RFC 6901, to the value (json). time_pointer: to the payload's own time (json), empty
    when it has none. name: the SenML record's resolved name, or its last path segment; empty when
    the pack carries this probe only. unit: what the payload is in when it does not say; empty
    means the kept unit. to_kept: (factor, offset) from `unit` into the kept unit.
    Raises ValueError for a pointer that is none, and for a unit that does not measure `quantity`.
    """

    topic: str
    probe: str
    quantity: Quantity
    format: Format = Format.PLAIN
    pointer: str = ""
    time_pointer: str = ""
    name: str = ""
    unit: str = ""
    to_kept: tuple[float, float] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        parts_of(self.pointer)
        parts_of(self.time_pointer)
        object.__setattr__(self, "to_kept", conversion(self.quantity, self.unit))


def by_topic(bindings: Iterable[Binding]) -> dict[str, tuple[Binding, ...]]:
    """The bindings of each topic, in the order given: what `decode` is called with."""
    found: dict[str, list[Binding]] = {}
    for binding in bindings:
        found.setdefault(binding.topic, []).append(binding)
    return {topic: tuple(several) for topic, several in found.items()}
