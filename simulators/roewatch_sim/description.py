"""A description: a simulated room in the daemon's own words, to judge its samples by."""

from roewatch.room.quantity import Quantity
from roewatch.room.tank import ROOM, Probe, Room, Tank
from roewatch_sim.probe import RESOLUTION
from roewatch_sim.room import SimRoom


def described(room: SimRoom, room_id: str = "room", *, zone: str = "UTC") -> Room:
    """Its tanks with their windows, and its probes, the room's air included.

    Probe ids are `<tank>-<quantity>` in lower case, as the settings make them. Rate limits are
    left empty: they belong to a species sheet, and random rooms have no species.
    """
    specs = [tank.spec for tank in room.tanks.values()]
    spoken = [(spec.id, quantity) for spec in specs for quantity in spec.quantities]
    tanks = tuple(
        Tank(
            id=spec.id, litres=spec.heat.litres, heater_watts=spec.heat.heater_watts,
            species=spec.species, stage=spec.stage, windows=spec.windows,
        )
        for spec in specs
    )  # fmt: skip
    probes = tuple(
        Probe(
            id=f"{tank}-{quantity}".lower(), tank=tank, quantity=quantity,
            every_ms=room.every_ms, resolution=RESOLUTION[quantity],
        )
        for tank, quantity in [*spoken, (ROOM, Quantity.TEMPERATURE)]
    )  # fmt: skip
    return Room(id=room_id, name=room_id, zone=zone, tanks=tanks, probes=probes)
