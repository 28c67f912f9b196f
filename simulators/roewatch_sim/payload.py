"""What simulated probes put on the wire: samples written as the messages of each place's board.

A tanks speak JSON, B1 to B5 SenML (RFC 8428), B6 and the room's air a bare number. Tanks that
are not in The Boathouse speak JSON.
"""

import json
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import NamedTuple

from roewatch.room.moment import moment_of
from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM
from roewatch_sim.room import Sample

_SENML_TANKS = frozenset({"B1", "B2", "B3", "B4", "B5"})
_PLAIN_TANKS = frozenset({"B6", ROOM})
# RFC 8428 units: Cel, pH, S/m; 1 µS/cm is 1e-4 S/m
_SENML_UNITS = {Quantity.TEMPERATURE: "Cel", Quantity.PH: "pH", Quantity.CONDUCTIVITY: "S/m"}
_S_PER_M = 1e-4


class Message(NamedTuple):
    """One message. samples: how many numbers it carries."""

    topic: str
    payload: str
    samples: int


class Board:
    """Turns samples into messages. pack_older: SenML boards put two rounds in one pack."""

    def __init__(self, room: str = "boathouse", *, pack_older: bool = False) -> None:
        self._room = room
        self._pack_older = pack_older
        self._waiting: dict[str, list[Sample]] = {}
        self._plain_count = 0

    def messages(self, samples: Iterable[Sample]) -> Iterator[Message]:
        """The messages of these samples, in their order."""
        for (_, tank), group in groupby(samples, key=lambda s: (s.at_ms, s.tank)):
            said = list(group)
            if tank in _PLAIN_TANKS:
                yield from (self._plain(sample) for sample in said)
            elif tank not in _SENML_TANKS:
                yield self._json(said)
            elif not self._pack_older:
                yield self._senml(said)
            elif tank in self._waiting:
                yield self._senml(self._waiting.pop(tank) + said)
            else:
                self._waiting[tank] = said

    def rest(self) -> Iterator[Message]:
        """What is still waiting for a second round."""
        while self._waiting:
            yield self._senml(self._waiting.pop(next(iter(self._waiting))))

    def _json(self, said: list[Sample]) -> Message:
        at = moment_of(said[0].stamp_ms).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        body = {"t": at, **{str(sample.quantity): sample.value for sample in said}}
        topic = f"{self._room}/{said[0].tank.lower()}/water"
        return Message(topic, json.dumps(body, separators=(",", ":")), len(said))

    def _senml(self, said: list[Sample]) -> Message:
        tank = said[0].tank.lower()
        base_ms = said[-1].stamp_ms
        pack: list[dict[str, str | float]] = []
        for sample in said:
            value = sample.value
            if sample.quantity is Quantity.CONDUCTIVITY:
                value = round(value * _S_PER_M, 8)
            record: dict[str, str | float] = {
                "n": str(sample.quantity), "u": _SENML_UNITS[sample.quantity], "v": value,
            }  # fmt: skip
            if sample.stamp_ms != base_ms:
                record["t"] = (sample.stamp_ms - base_ms) / 1000
            pack.append(record)
        pack[0] = {"bn": f"{tank}/", "bt": base_ms / 1000, **pack[0]}
        topic = f"{self._room}/{tank}/pack"
        return Message(topic, json.dumps(pack, separators=(",", ":")), len(said))

    def _plain(self, sample: Sample) -> Message:
        topic = f"{self._room}/{sample.tank.lower()}/{sample.quantity}"
        if sample.quantity is not Quantity.TEMPERATURE:
            return Message(topic, f"{sample.value:.2f}", 1)
        text = f"{sample.value:.4f}".rstrip("0").rstrip(".")
        if sample.tank == ROOM:
            return Message(topic, text, 1)
        # half the world writes a comma; this board cannot make up its mind
        self._plain_count += 1
        comma = text.replace(".", ",") if self._plain_count % 2 else text
        return Message(topic, f"{comma} °C", 1)
