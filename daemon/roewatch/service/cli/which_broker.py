"""Which broker: the room's own, or one named on the command line when there are no settings yet."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from roewatch.service.cli.options import setup_of

if TYPE_CHECKING:
    from roewatch.intake.link import BrokerSettings

Host = Annotated[
    str | None,
    typer.Option("--host", help="A broker, when there are no settings yet.", show_default=False),
]
Port = Annotated[int, typer.Option("--port", help="With --host: its port.")]
Username = Annotated[str, typer.Option("--username", help="With --host: the user.")]
PasswordFile = Annotated[
    Path | None,
    typer.Option("--password-file", exists=True, dir_okay=False, help="With --host: its password."),
]


def broker_of(
    room: Path | None, *, host: str | None, port: int, username: str, password_file: Path | None
) -> "BrokerSettings":
    """The broker at `host`, else the one in the room file. Raises SettingsError."""
    from roewatch.intake.link import BrokerSettings  # noqa: PLC0415  # network libraries are heavy

    if host is None:
        return setup_of(room).broker
    password = password_file.read_text(encoding="utf-8").strip() if password_file else ""
    return BrokerSettings(
        host=host, port=port, client_id="roewatch-guest", username=username, password=password
    )
