"""The mirror's other end: which kind of store answers at the address in `[mirror]`."""

import requests

from roewatch.service.settings.sections import MirrorSettings
from roewatch.storage.target import Target, TargetDownError

_WITHIN_S = 10.0


def target_of(mirror: MirrorSettings, room_id: str) -> Target:
    """The target for these settings. Raises TargetDownError when nobody answers there.

    Both kinds take the same writes, but are asked in different ways: a VictoriaMetrics gives its
    build at an address that an InfluxDB does not have.
    """
    from roewatch.storage.influx import Influx, Victoria  # noqa: PLC0415  # half a second

    url = mirror.url.rstrip("/")
    try:
        answer = requests.get(f"{url}/api/v1/status/buildinfo", timeout=_WITHIN_S)
    except requests.RequestException as error:
        raise TargetDownError(
            f"{url}: cannot be reached ({type(error).__name__}); check url and network"
        ) from None
    kind = Victoria if answer.status_code == 200 else Influx
    token = mirror.token.get_secret_value() if mirror.token is not None else ""
    return kind(url=url, org=mirror.org, bucket=mirror.bucket, token=token, room=room_id)
