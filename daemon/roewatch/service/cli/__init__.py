"""The commands: what a person types. Data goes to stdout, talk to stderr.

Exit status everywhere: 0 done, 1 found something wrong, 2 could not run.
"""

import sys

import typer

from roewatch.room.fault import SettingsError
from roewatch.service.cli import check, contact, demo, graph, replay, watch, water

app = typer.Typer(
    name="roewatch",
    help="Watches the water of a fish-breeding room and gets an alarm to a person. It advises; "
    "it switches nothing.",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
)
app.command("demo")(demo.demo)
app.command("watch")(watch.watch)
app.command("check")(check.check)
app.command("replay")(replay.replay)
app.command("graph")(graph.graph)
app.add_typer(contact.app, name="contact")
app.add_typer(water.app, name="water")


def main() -> None:
    """Run one command; faults a person can mend are told without a traceback."""
    try:
        app()
    except SettingsError as faulty:
        print(faulty, file=sys.stderr)
        sys.exit(2)
    except OSError as unreachable:
        print(f"roewatch: {unreachable}", file=sys.stderr)
        sys.exit(2)
