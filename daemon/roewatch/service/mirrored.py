"""The mirror's other end, at the address in `[mirror]`."""

from typing import TYPE_CHECKING

from roewatch.service.settings.sections import MirrorSettings

if TYPE_CHECKING:
    from roewatch.storage.influx import Influx


def shipping_to(mirror: MirrorSettings, room_id: str) -> "Influx":
    """The other end to write to, whichever kind it is, also while nobody answers there."""
    from roewatch.storage.influx import Influx  # noqa: PLC0415  # half a second

    return Influx(**_address(mirror), room=room_id)


def target_of(mirror: MirrorSettings, room_id: str) -> "Influx":
    """The other end to be asked as well. Raises TargetDownError when nobody answers there."""
    from roewatch.storage.influx import answering  # noqa: PLC0415  # half a second

    return answering(**_address(mirror), room=room_id)


def _address(mirror: MirrorSettings) -> dict[str, str]:
    return {
        "url": mirror.url.rstrip("/"),
        "org": mirror.org,
        "bucket": mirror.bucket,
        "token": mirror.token.get_secret_value() if mirror.token is not None else "",
    }
