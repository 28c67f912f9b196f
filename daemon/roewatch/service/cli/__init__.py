"""The commands: what a person types. Data goes to stdout, talk to stderr.

Exit status everywhere: 0 done, 1 found something wrong, 2 could not run.
"""

import os
import sys

import typer

from roewatch.outbox.channel import UnusableWay
from roewatch.room.fault import SettingsError
from roewatch.service.cli import (
    alarms,
    backup,
    brood,
    check,
    contact,
    demo,
    export,
    graph,
    init,
    listen,
    passphrase,
    probe,
    replay,
    rooms,
    watch,
    water,
)
from roewatch.service.control import NoDaemonError, NotDoneError
from roewatch.storage.target import TargetDownError
from roewatch.storage.trouble import StoreError

app = typer.Typer(
    name="roewatch",
    help="Watches the water of a fish-breeding room and gets an alarm to a person. It advises; "
    "it switches nothing.",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
)
app.command("demo")(demo.demo)
app.command("init")(init.init)
app.command("watch")(watch.watch)
app.command("check")(check.check)
app.command("listen")(listen.listen)
app.command("rooms")(rooms.rooms)
app.command("replay")(replay.replay)
app.command("graph")(graph.graph)
app.command("export")(export.export)
app.command("import")(export.bring)
app.command("passphrase")(passphrase.passphrase)
app.command("backup")(backup.backup)
app.command("restore")(backup.restore)
app.command("salvage")(backup.salvage)
app.add_typer(alarms.app, name="alarms")
app.add_typer(brood.app, name="brood")
app.add_typer(contact.app, name="contact")
app.add_typer(probe.app, name="probe")
app.add_typer(water.app, name="water")


_TOLD = (StoreError, TargetDownError, UnusableWay, NoDaemonError, NotDoneError)


def main() -> None:
    """Run one command; what a person can mend is told without a traceback."""
    try:
        app()
    except SettingsError as faulty:
        _end(str(faulty))
    except _TOLD as stopped:
        _end(f"roewatch: {stopped}")
    except BrokenPipeError:
        # whoever read our output has had enough; Python would complain once more at its exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as unreachable:
        _end(f"roewatch: {_said(unreachable)}")


def _end(text: str) -> None:
    print(text, file=sys.stderr)
    sys.exit(2)


def _said(error: OSError) -> str:
    """The system's own words with the file in front, and what usually mends it."""
    cures = {
        PermissionError: "give this user the right, or run the command as the daemon's user",
        FileNotFoundError: "check the name",
        IsADirectoryError: "name a file in it",
    }
    words = f"{error.filename}: {error.strerror}" if error.filename else str(error)
    cure = cures.get(type(error))
    return f"{words}; {cure}" if cure else words
