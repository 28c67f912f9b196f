"""What a keeper may do to the room file, by a form or the API: texts in, a sentence out."""

import re
from collections.abc import Sequence

from starlette.exceptions import HTTPException

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.room.tank import ROOM
from roewatch.views.act import Fields
from roewatch.views.asked import AskedWrongError
from roewatch.views.pages import Desk
from roewatch.views.setup_ports import TestSent, Workshop
from roewatch.views.typed import number_of
from roewatch.water.refusal import RefusedError

LISTEN_S = 60.0
SHELVES = 8
_RACK = re.compile(r"[A-Za-z0-9]{1,4}")


def workshop_of(desk: Desk) -> Workshop:
    """What writes the room file. Raises HTTPException where nothing does, as in a replay."""
    if desk.workshop is None:
        raise HTTPException(404, "These pages are not served by a running daemon.")
    return desk.workshop


class SetupDeeds:
    """Each returns what to tell. Raises AskedWrongError, or ValueError in the workshop's words."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    @property
    def _workshop(self) -> Workshop:
        return workshop_of(self._desk)

    def broker(self, fields: Fields) -> str:
        """Another broker. What is not told stays."""
        known = self._workshop.broker()
        host = fields.get("host", "").strip()
        port = fields.get("port", str(known.port)).strip()
        if not host or len(host) > 253:
            raise AskedWrongError("The broker needs a name or an address, like 127.0.0.1.")
        if not (port.isascii() and port.isdigit()) or not 1 <= int(port[:6]) <= 65_535:
            raise AskedWrongError(f"Port: {port[:20]!r} is none; 1883 is usual.")
        username = fields.get("username", known.username).strip()
        password = fields.get("password", "")
        self._workshop.serve_by(host, int(port), username, password)
        return f"The broker is {host}, port {port}, from now on."

    def listen(self) -> str:
        """Hear what speaks."""
        self._workshop.listen(LISTEN_S)
        return f"Listening for {LISTEN_S:.0f} s."

    def rack(self, fields: Fields) -> str:
        """A rack, shelf by shelf: shelf1 … shelf8; litres in each tank."""
        rack = fields.get("rack", "").strip()
        if not _RACK.fullmatch(rack):
            raise AskedWrongError("A rack is called by a letter or two, like A.")
        counts = [fields.get(f"shelf{n}", "").strip() or "0" for n in range(1, SHELVES + 1)]
        if not all(count.isascii() and count.isdigit() and len(count) <= 2 for count in counts):
            raise AskedWrongError("Write how many tanks stand on each shelf, as whole numbers.")
        shelves = [int(count) for count in counts]
        while shelves and not shelves[-1]:
            shelves.pop()
        if not shelves:
            raise AskedWrongError("Write how many tanks stand on the first shelf at least.")
        try:
            litres = number_of(fields.get("litres", ""), "water in a tank")
        except RefusedError as fault:
            raise AskedWrongError(str(fault)) from fault
        self._workshop.lay_out(rack, shelves, litres)
        return f"Rack {rack} has {sum(shelves)} tanks."

    def tie(self, fields: Fields) -> str:
        """A number on the broker is a tank's probe."""
        tank, written = fields.get("tank", ""), fields.get("quantity", "")
        if tank != ROOM:
            tank = self._desk.lookout.look().of(tank).tank.id
        if written not in set(Quantity):
            raise AskedWrongError("Choose what this number measures.")
        self._workshop.tie(fields.get("key", ""), tank, Quantity(written))
        where = tank if tank != ROOM else "the room"
        return f"{Quantity(written).value} of {where} is read from it."

    def stock(self, fields: Fields) -> str:
        """What lives in a tank. What is not told stays: a forgotten word takes no window away."""
        tank = self._desk.lookout.look().of(fields.get("tank", "")).tank
        species, stage = fields.get("species", tank.species), fields.get("stage", tank.stage)
        if species not in {"", tank.species, *dict(self._workshop.species())}:
            raise AskedWrongError(f"There is no species sheet {species[:60]!r}.")
        if stage not in set(Stage):
            raise AskedWrongError(f"There is no stage {stage[:20]!r}.")
        self._workshop.stock(tank.id, species, Stage(stage))
        return f"{tank.id} is judged by that window from now on."

    def place(self, fields: Fields) -> str:
        """Put a tank elsewhere."""
        tank = self._desk.lookout.look().of(fields.get("tank", "")).tank.id
        rack = fields.get("rack", "").strip()
        shelf, place = fields.get("shelf", ""), fields.get("place", "")
        numbers = all(n.isascii() and n.isdigit() and 1 <= int(n[:4]) <= 99 for n in (shelf, place))
        if len(rack) > 20 or not numbers:
            raise AskedWrongError("Choose a place on a shelf.")
        self._workshop.place(tank, rack, int(shelf), int(place))
        return f"{tank} stands in rack {rack}, shelf {int(shelf)}, place {int(place)}."

    def again(self) -> str:
        """Read the room file anew."""
        self._workshop.again()
        return "The room file was read anew and is followed."

    def test(self) -> Sequence[TestSent]:
        """A test the whole way, and what became of it."""
        return self._workshop.test()
