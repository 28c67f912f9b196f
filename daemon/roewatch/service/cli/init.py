"""`roewatch init`: a room file for a room that has none, asked for question by question."""

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from roewatch.room.quantity import Quantity
from roewatch.room.stage import Stage
from roewatch.service.settings.shipped import shipped_config

if TYPE_CHECKING:
    from roewatch.service.first_room import FirstTank

_TANK = "ID:LITRES[:WATTS[:SPECIES[:STAGE]]]"
_PROBED = [Quantity.TEMPERATURE.value]


def init(  # noqa: PLR0913, PLR0917 - the options of a command
    room: Annotated[
        Path, typer.Option("--room", help="The file to write. One that is there is never touched.")
    ] = Path("room.toml"),
    name: Annotated[
        str | None, typer.Option("--name", help="The room's name.", show_default=False)
    ] = None,
    timezone: Annotated[
        str | None,
        typer.Option("--timezone", help="Area/City; else this machine's.", show_default=False),
    ] = None,
    tank: Annotated[
        list[str] | None,
        typer.Option(
            "--tank", metavar=_TANK, help="A tank; may be given many times.", show_default=False
        ),
    ] = None,
    quantity: Annotated[
        list[str] | None,
        typer.Option(
            "--quantity",
            help="What each tank is probed for; may be given many times.",
            show_default="temperature",
        ),
    ] = None,
    topic: Annotated[
        str | None,
        typer.Option(
            "--topic",
            help="Where probes publish, with {tank} and {quantity} in it.",
            show_default="ROOM/probe-{tank}/{quantity}",
        ),
    ] = None,
    broker: Annotated[
        str | None, typer.Option("--broker", help="HOST or HOST:PORT.", show_default="127.0.0.1")
    ] = None,
    username: Annotated[
        str | None, typer.Option("--username", help="Our name at the broker.", show_default=False)
    ] = None,
    password_file: Annotated[
        Path | None,
        typer.Option(
            "--password-file",
            exists=True,
            dir_okay=False,
            help="Holds our password there.",
            show_default=False,
        ),
    ] = None,
    store: Annotated[
        str, typer.Option("--store", help="Where readings are kept; a path beside the room file.")
    ] = "roewatch.sqlite",
    way_file: Annotated[
        Path | None,
        typer.Option(
            "--way-file",
            exists=True,
            dir_okay=False,
            show_default=False,
            help="Holds the address your phone is reached at.",
        ),
    ] = None,
    ask: Annotated[
        bool | None,
        typer.Option(
            "--ask/--no-ask", help="Ask for what no option says.", show_default="in a terminal"
        ),
    ] = None,
    sample: Annotated[
        bool, typer.Option("--sample", help="Only print a room with every setting there is.")
    ] = False,
) -> None:
    """Write a first room.toml: asks in a terminal, or takes it all from the options.

    Passwords and addresses go into files of their own beside it, for this user alone. Exit status:
    0 written, 2 could not: a file is in the way, or the answers make no room.
    """
    if sample:
        print((shipped_config() / "room.toml").read_text(encoding="utf-8"), end="")
        return
    from roewatch.service import first_room  # noqa: PLC0415  # loads all settings

    if room.exists():  # before a dozen questions are answered for nothing
        raise typer.BadParameter(f"{room} is there already; name another file, or move it away")
    asks = sys.stdin.isatty() if ask is None else ask
    says = _Asking() if asks else _Silent()
    called = says("What is the room called?", name, "Fish room")
    room_id = re.sub(r"[^a-z0-9]+", "-", called.lower().removeprefix("the ")).strip("-") or "room"
    zone = says("Time zone?", timezone, system_zone())
    host, _, port = says("The broker's host, or host:port?", broker, "127.0.0.1").partition(":")
    if port and not port.isdecimal():
        raise typer.BadParameter(f"{port!r} is no port; write HOST:1883")
    user = says("Our name at the broker, empty for none?", username, "")
    secrets: dict[str, str] = {}

    def secret(question: str, given: Path | None, beside: str) -> str:
        """Where it lies: in the file that was given, or in one to be written beside the room."""
        if given is not None:
            return str(given.resolve())
        typed = says.secret(question)
        if typed:
            secrets[beside] = f"{typed}\n"
        return beside if typed else ""

    password_is_in = ""
    if user:
        password_is_in = secret("Our password there?", password_file, first_room.PASSWORD_FILE)
    tanks = [_tank_of(text) for text in tank or says.tanks()]
    probed = says("What is each tank probed for?", _joined(quantity), ", ".join(_PROBED))
    where = says("On which topic?", topic, f"{room_id}/probe-{{tank}}/{{quantity}}")
    where_to = "Where do notices go: ntfy://…, mailto://…, https://…; empty for now?"
    way_is_in = secret(where_to, way_file, first_room.WAY_FILE)
    first_room.written(
        first_room.FirstRoom(
            name=called,
            id=room_id,
            timezone=zone,
            tanks=tanks,
            quantities=[_quantity(word) for word in re.split(r"[,\s]+", probed.strip())],
            topic=where,
            host=host,
            port=int(port or 1883),
            username=user,
            store=store,
            password_file=password_is_in,
            way_file=way_is_in,
            secrets=secrets,
        ),
        room,
    )
    print(room)
    told = "" if way_is_in else "Nobody is told of an alarm yet: give it a [[contact]]. "
    print(f"Written. {told}Next: roewatch check --live --room {room}", file=sys.stderr)


class _Silent:
    """Takes what the options say, and the default for the rest."""

    def __call__(self, _question: str, given: str | None, default: str) -> str:
        return default if given is None else given

    def secret(self, _question: str) -> str:
        return ""

    def tanks(self) -> list[str]:
        raise typer.BadParameter(f"no tank; give at least one: --tank {_TANK}")


class _Asking(_Silent):
    """Asks on the terminal for what no option says."""

    def __call__(self, question: str, given: str | None, default: str) -> str:
        if given is not None:
            return given
        said: str = typer.prompt(question, default=default, show_default=bool(default), err=True)
        return said.strip()

    def secret(self, question: str) -> str:
        said: str = typer.prompt(
            question, default="", show_default=False, hide_input=True, err=True
        )
        return said.strip()

    def tanks(self) -> list[str]:
        known = sorted(path.stem for path in (shipped_config() / "species").glob("*.toml"))
        print(f"Species with a sheet: {', '.join(known)}.", file=sys.stderr)
        found: list[str] = []
        while sign := self(
            f"Sign of tank {len(found) + 1}, as on the glass; empty to end?", None, ""
        ):
            litres = self._until(_number(0.1), "  Litres of water?", "")
            watts = self._until(_number(0), "  Heater, W; 0 without?", "0")
            species = self._until(_one_of(["", *known]), "  Species, empty for none?", "")
            stage = self._until(_one_of(list(Stage)), "  Stage?", Stage.HOLDING.value)
            found.append(":".join((sign, litres, watts, species, stage)))
        return found or super().tanks()

    def _until(self, right: Callable[[str], str], question: str, default: str) -> str:
        """Ask until `right` finds no fault with the answer."""
        while True:
            said = self(question, None, default)
            fault = right(said)
            if not fault:
                return said
            print(f"  {fault}", file=sys.stderr)


def _number(least: float) -> Callable[[str], str]:
    def fault(text: str) -> str:
        try:
            good = least <= float(text) <= 100_000
        except ValueError:
            good = False
        return "" if good else f"Write a number of {least:g} or more, with a point: 25.5."

    return fault


def _one_of(words: list[str]) -> Callable[[str], str]:
    return lambda text: "" if text in words else f"One of: {', '.join(filter(None, words))}."


def _joined(words: list[str] | None) -> str | None:
    return ", ".join(words) if words else None


def _quantity(word: str) -> Quantity:
    try:
        return Quantity(word.lower())
    except ValueError:
        raise typer.BadParameter(
            f"no quantity {word!r}; there are: {', '.join(Quantity)}"
        ) from None


def _tank_of(text: str) -> "FirstTank":
    from roewatch.service.first_room import FirstTank  # noqa: PLC0415

    sign, *rest = text.split(":")
    try:
        numbers = [float(part) for part in rest[:2]]
    except ValueError:
        numbers = []
    if not numbers or len(rest) > 4:
        raise typer.BadParameter(f"tank {text!r} is not written {_TANK}; like A3:20:25")
    words = dict(zip(("species", "stage"), rest[2:], strict=False))
    return FirstTank(id=sign, litres=numbers[0], heater_watts=(numbers[1:] or [0.0])[0], **words)


def system_zone() -> str:
    """This machine's time zone as Area/City; UTC when it does not say."""
    from tzlocal import get_localzone_name  # noqa: PLC0415

    try:
        return get_localzone_name()
    except (LookupError, ValueError, OSError):
        return "UTC"
