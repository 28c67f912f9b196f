"""All commands as one: what `roewatch --help` lists."""

from typing import Annotated

import typer

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
from roewatch.service.version import program_version

app = typer.Typer(
    name="roewatch",
    help="Watches the water of a fish-breeding room and gets an alarm to a person. It advises; "
    "it switches nothing.",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
)


def _tell_version(asked: bool) -> None:
    if asked:
        print(program_version())
        raise typer.Exit


@app.callback()
def _of_all(
    *,
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            help="Show the version of the program and exit.",
            callback=_tell_version,
            is_eager=True,
        ),
    ] = False,
) -> None:
    del version


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
