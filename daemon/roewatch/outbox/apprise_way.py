"""Apprise: over a hundred push, chat and message services, each by an address of its own."""

import logging
import re

from apprise import Apprise, AppriseAsset, AppriseAttachment, NotifyFormat, NotifyType
from apprise.attachment.memory import AttachMemory
from apprise.plugins import NotifyBase

from roewatch.alarms.notice import About, Notice
from roewatch.outbox.channel import Picture, Refused, TryLater, UnusableWay
from roewatch.outbox.veil import Veil
from roewatch.room.kind import Priority

_TYPES = {
    Priority.HIGH: NotifyType.FAILURE,
    Priority.MEDIUM: NotifyType.WARNING,
    Priority.LOW: NotifyType.INFO,
}
_STATUS = re.compile(r"error=(\d{3})\b")
_LATER = frozenset({408, 425, 429})

# its own lines repeat what the receipt keeps, and at debug level hold addresses and tokens
logging.getLogger("apprise").propagate = False


class AppriseWay:
    """One Apprise address. It de-duplicates nothing, so a repeat after a crash is seen twice."""

    def __init__(self, url: str, *, timeout_s: float = 15.0) -> None:
        """Raises UnusableWay if the library makes nothing of the address."""
        self._veil = Veil(url, hosts_are_secret=True)
        self._apprise = Apprise(asset=AppriseAsset(app_id="Roewatch"))
        self._service = service_of(url, timeout_s=timeout_s)
        self._name = str(self._service.service_name)
        self._apprise.add(self._service)

    def send(self, notice: Notice) -> None:
        """Hand it to the service. Raises TryLater, Refused."""
        body = f"{notice.body}\n{notice.link}" if notice.link else notice.body
        self._notify(notice, body)

    def send_picture(self, notice: Notice, picture: Picture) -> None:
        """The picture by itself, where the service takes pictures. Raises TryLater, Refused."""
        if not self._service.attachment_support:
            raise Refused(f"{self._name} takes no pictures")
        attached = AttachMemory(  # type: ignore[no-untyped-call]  # the library gives no types
            content=picture.png, name=picture.name, mimetype="image/png"
        )
        self._notify(notice, picture.words, attached)

    def _notify(self, notice: Notice, body: str, attached: AttachMemory | None = None) -> None:
        over = notice.about in {About.RETURNED, About.WELL}
        kind = NotifyType.SUCCESS if over else _TYPES.get(notice.priority, NotifyType.INFO)
        result = self._apprise.notify(
            body=body,
            title=notice.title,
            notify_type=kind,
            body_format=NotifyFormat.TEXT,
            attach=AppriseAttachment(attached) if attached else None,
        )
        if result:
            return
        said = [entry.message for service in result.results for entry in service.logs()]
        reason = self._veil.over(" ".join(said)) or f"{self._name} did not take it"
        status = _STATUS.search(reason)
        if status and 400 <= int(status[1]) < 500 and int(status[1]) not in _LATER:
            raise Refused(reason)
        raise TryLater(reason)


def service_of(url: str, *, timeout_s: float) -> NotifyBase:
    """The library's own object for an address, with our time limits. Raises UnusableWay."""
    scheme = url.partition("://")[0]
    asset = AppriseAsset(app_id="Roewatch")
    service = Apprise.instantiate(url, asset=asset, suppress_exceptions=True)
    if not isinstance(service, NotifyBase):
        raise UnusableWay(
            f"the {scheme}:// address is not one the notification library can use; "
            "compare it with that service's form, part by part"
        )
    service.socket_connect_timeout = service.socket_read_timeout = timeout_s
    return service
