"""A first room file: what a keeper answered, written as a commented `room.toml` that loads."""

import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from roewatch.room.fault import Fault, SettingsError
from roewatch.room.quantity import Quantity
from roewatch.service.settings.document import SettingsFault
from roewatch.service.settings.lines import rows_of
from roewatch.service.settings.load import faults_of


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstTank:
    """One tank as answered. species: a sheet's id, or empty. litres, heater_watts: as typed."""

    id: str
    litres: float
    heater_watts: float = 0.0
    species: str = ""
    stage: str = "holding"


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstRoom:
    """Everything that was answered.

    topic: with {tank} and {quantity} in it. quantities: what each tank is probed for.
    password_file, way_file: where the broker's password and the phone's address lie, or will lie;
    empty for none. secrets: what is to be written beside the room file, by file name.
    """

    name: str
    id: str
    timezone: str
    tanks: Sequence[FirstTank]
    quantities: Sequence[Quantity]
    topic: str
    every: str = "60 s"
    host: str = "127.0.0.1"
    port: int = 1883
    username: str = ""
    store: str = "roewatch.sqlite"
    password_file: str = ""
    contact: str = "Keeper"
    way_file: str = ""
    secrets: Mapping[str, str] = field(default_factory=dict)


PASSWORD_FILE = "broker-password"  # noqa: S105 - the file's name
WAY_FILE = "keeper-phone-url"


def room_text(room: FirstRoom) -> str:
    """The room file. What was not asked stands in it at its default, behind a #."""
    parts = [_head(room), *(_tank(room, tank) for tank in room.tanks)]
    return "\n".join(parts)


def written(room: FirstRoom, file: Path) -> None:
    """Write the room file and its secrets, whole or not at all, over nothing.

    Raises SettingsError when the answers do not make a room, or when one of the files is there.
    """
    names = [file.name, *room.secrets]
    there = [str(file.parent / name) for name in names if (file.parent / name).exists()]
    if there:
        raise SettingsError(
            [
                _fault(path, "is there already", "Name another file, or move it away")
                for path in there
            ]
        )
    with tempfile.TemporaryDirectory(prefix=".room-", dir=file.parent) as draft:
        folder = Path(draft)
        texts = {file.name: room_text(room), **room.secrets}
        for name, text in texts.items():
            _put(folder / name, text)
        faults = faults_of(folder / file.name, {})
        if faults:
            raise SettingsError([_pointed(fault, folder, file.parent) for fault in faults])
        # the room file comes last: while it is missing there is no room, only a secret nobody reads
        for name in reversed(texts):
            os.link(folder / name, file.parent / name)  # unlike a rename, never over another


def _put(path: Path, text: str) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())


def _fault(where: str, what: str, fix: str) -> Fault:
    return Fault(where=where, what=what, fix=fix)


def _pointed(fault: SettingsFault, draft: Path, folder: Path) -> Fault:
    """The fault as of the file that would be written, not of the draft nobody sees."""
    here, there = str(draft), str(folder)
    return _fault(fault.where.replace(here, there), fault.what.replace(here, there), fault.fix)


def _said(text: str) -> str:
    """`text` as TOML writes it: as JSON does, but for the one sign JSON lets stand."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _head(room: FirstRoom) -> str:
    user = f"username = {_said(room.username)}" if room.username else '# username = ""'
    secret = (
        f"password_file = {_said(room.password_file)}"
        if room.password_file
        else f"# password_file = {_said(PASSWORD_FILE)}  ## holds the password, alone"
    )
    return f"""\
## The settings of one fish room. `roewatch init --sample` prints a room with every setting there
## is and its default; `roewatch check` names every fault in this file, with its line and its cure.

[room]
name = {_said(room.name)}
id = {_said(room.id)}  ## names the room in topics and stores; leave it as it is once it runs
timezone = {_said(room.timezone)}

[broker]
host = {_said(room.host)}
port = {room.port}
{user}
{secret}
# tls = false  ## true, and port = 8883, when the broker is beyond a network you trust
client_id = {_said(f"roewatch-{room.id}")}  ## the broker keeps messages under it while we are away

[storage]
path = {_said(room.store)}

## The pages are for this machine only. For phones in the house write host = "0.0.0.0", give
## address the name they know, and set up a [[person]]: see `roewatch passphrase`.
[web]
# host = "127.0.0.1"
# port = 8420
# address = ""

## An outside watcher misses us when this machine dies: nothing here can tell you that.
[heartbeat]
# url_file = "heartbeat-url"

{_contact(room)}
## The tanks, and the probes that watch them. stage is what judging goes by: holding, conditioning,
## spawning, eggs, larvae, fry or growing. Keep it true: the page of each tank changes it too.
"""


def _contact(room: FirstRoom) -> str:
    text = f"""\
## Whom to tell, in this order. A way's address may be mailto://…, ntfy://…, tgram://… and many
## more, or http(s)://… for the JSON webhook; it lies in a file of its own, for it may hold a
## password. `roewatch contact test` sends a test by every way.
[[contact]]
name = {_said(room.contact)}
# quiet = ""  ## like "22:00-07:00": medium and low wait until it is over, high never waits

[[contact.ways]]
name = "phone"
url_file = {_said(room.way_file or WAY_FILE)}
"""
    if room.way_file:
        return text
    return "".join(
        line if line.startswith("##") else f"## {line}" if line.strip() else line
        for line in rows_of(text)
    ).replace("## # quiet", "## quiet")


def _tank(room: FirstRoom, tank: FirstTank) -> str:
    species = f"species = {_said(tank.species)}\n" if tank.species else '# species = ""\n'
    text = f"""\
[[tank]]
id = {_said(tank.id)}
litres = {tank.litres:g}
heater_watts = {tank.heater_watts:g}
{species}stage = {_said(tank.stage)}
"""
    for quantity in room.quantities:
        topic = room.topic.replace("{tank}", tank.id.lower()).replace("{quantity}", quantity)
        text += f"""
[[probe]]
tank = {_said(tank.id)}
quantity = {_said(quantity)}
topic = {_said(topic)}
every = {_said(room.every)}
"""
    return text
