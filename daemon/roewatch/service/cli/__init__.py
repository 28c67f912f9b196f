"""The commands: what a person types. Data goes to stdout, talk to stderr.

Exit status everywhere: 0 done, 1 found something wrong, 2 could not run.
The daemon's own command is loaded without the others: a small board would wait a second for them.
"""

import os
import sys
from typing import TYPE_CHECKING

from roewatch.room.fault import SettingsError

if TYPE_CHECKING:
    import typer


def main() -> None:
    """Run one command; what a person can mend is told without a traceback."""
    try:
        (_daemon_alone() if sys.argv[1:2] == ["watch"] else __getattr__("app"))()
    except SettingsError as faulty:
        _end(str(faulty))
    except BrokenPipeError:
        # whoever read our output has had enough; Python would complain once more at its exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as unreachable:
        _end(f"roewatch: {_said(unreachable)}")
    except Exception as stopped:
        if isinstance(stopped, _told()):
            _end(f"roewatch: {stopped}")
        raise


def __getattr__(name: str) -> "typer.Typer":
    """`app`, all commands, loaded when it is asked for."""
    if name != "app":
        raise AttributeError(name)
    from roewatch.service.cli.commands import app  # noqa: PLC0415

    return app


def _daemon_alone() -> "typer.Typer":
    import typer  # noqa: PLC0415

    from roewatch.service.cli.watch import watch  # noqa: PLC0415

    app = typer.Typer(name="roewatch", pretty_exceptions_enable=False)
    app.callback()(lambda: None)  # or the only command would go without its name
    app.command("watch")(watch)
    return app


def _told() -> tuple[type[Exception], ...]:
    from roewatch.outbox.channel import UnusableWay  # noqa: PLC0415
    from roewatch.service.control import NoDaemonError, NotDoneError  # noqa: PLC0415
    from roewatch.storage.target import TargetDownError  # noqa: PLC0415
    from roewatch.storage.trouble import StoreError  # noqa: PLC0415

    return (StoreError, TargetDownError, UnusableWay, NoDaemonError, NotDoneError)


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
