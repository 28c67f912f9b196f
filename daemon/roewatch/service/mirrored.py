"""The mirror's other end: which kind of store answers at the address in `[mirror]`."""

from typing import TYPE_CHECKING

import requests

from roewatch.service.settings.sections import MirrorSettings
from roewatch.storage.target import Target, TargetDownError

if TYPE_CHECKING:
    from roewatch.storage.influx import Influx

_WITHIN_S = 10.0


def target_of(mirror: MirrorSettings, room_id: str) -> Target:
    """The target for these settings. Raises TargetDownError when nobody answers there.

    Both kinds take the same writes, but are asked in different ways: a VictoriaMetrics gives its
    build at an address that an InfluxDB does not have.
    """
    from roewatch.storage.influx import Victoria  # noqa: PLC0415  # half a second

    url = mirror.url.rstrip("/")
    try:
        answer = requests.get(f"{url}/api/v1/status/buildinfo", timeout=_WITHIN_S)
    except requests.RequestException as error:
        raise TargetDownError(
            f"{url}: cannot be reached ({type(error).__name__}); check url and network"
        ) from None
    return influx_of(mirror, room_id, Victoria if answer.status_code == 200 else None)


def influx_of(mirror: MirrorSettings, room_id: str, kind: "type[Influx] | None" = None) -> "Influx":
    """The other end as it is written to, unasked: an InfluxDB, or `kind`."""
    from roewatch.storage.influx import Influx  # noqa: PLC0415  # half a second

    return (kind or Influx)(
        url=mirror.url.rstrip("/"),
        org=mirror.org,
        bucket=mirror.bucket,
        token=mirror.token.get_secret_value() if mirror.token is not None else "",
        room=room_id,
    )
