"""Mail: a notice as a message whose identity mail programs know again.

The address is Apprise's `mailto://` form. The message is ours, because the library gives each
attempt a new Message-ID, and then a repeat after a lost answer cannot be told from a new alarm.
"""

import smtplib
import ssl
from dataclasses import replace
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime

from apprise.plugins.email.base import NotifyEmail
from apprise.plugins.email.common import SecureMailMode

from roewatch.alarms.notice import Notice
from roewatch.outbox.apprise_way import AppriseWay, service_of
from roewatch.outbox.channel import Channel, Picture, Refused, TryLater
from roewatch.outbox.veil import Veil
from roewatch.room.kind import Priority
from roewatch.room.moment import moment_of


def mail_of(url: str, *, timeout_s: float) -> Channel:
    """Mail by the address; one that asks for encryption with PGP is left to Apprise.

    Raises UnusableWay.
    """
    service = service_of(url, timeout_s=timeout_s)
    if not isinstance(service, NotifyEmail) or str(service.pgp_mode) not in {"no", "none"}:
        return AppriseWay(url, timeout_s=timeout_s)
    return Mail(service, Veil(url), timeout_s=timeout_s)


class Mail:
    """Mail to the recipients of one address."""

    def __init__(self, account: NotifyEmail, veil: Veil, *, timeout_s: float) -> None:
        self._account = account
        self._veil = veil
        self._timeout_s = timeout_s
        self._from = str(account.from_addr[1])
        self._to = [str(target[1]) for target in account.targets]

    def send(self, notice: Notice) -> None:
        """Hand it to the mail server. Raises TryLater, Refused."""
        self._hand_over(self.message(notice))

    def send_picture(self, notice: Notice, picture: Picture) -> None:
        """The picture as an answer to the notice's own mail. Raises TryLater, Refused."""
        message = self.message(replace(notice, id=f"{notice.id}.picture", body=picture.words))
        message["In-Reply-To"] = self._identity(notice.id)
        message.add_attachment(picture.png, maintype="image", subtype="png", filename=picture.name)
        self._hand_over(message)

    def _hand_over(self, message: EmailMessage) -> None:
        everyone = [*self._to, *map(str, self._account.cc), *map(str, self._account.bcc)]
        try:
            with self._connected() as server:
                refused = server.send_message(message, self._from, everyone)
        except smtplib.SMTPRecipientsRefused as error:
            self._raise(*next(iter(error.recipients.values())))
        except smtplib.SMTPResponseException as error:
            self._raise(error.smtp_code, error.smtp_error)
        except smtplib.SMTPNotSupportedError as error:
            raise Refused(self._veil.over(f"the mail server cannot do that: {error}")) from None
        except smtplib.SMTPServerDisconnected:
            raise TryLater("the mail server hung up before it answered") from None
        except TimeoutError:
            raise TryLater(f"the mail server did not answer within {self._timeout_s:g} s") from None
        except ConnectionRefusedError:
            raise TryLater("the mail server refused the connection") from None
        except (OSError, smtplib.SMTPException) as error:
            raise TryLater(self._veil.over(f"mail failed: {error}")) from None
        else:
            if refused:  # some took it: sending again would tell those twice
                return

    def message(self, notice: Notice) -> EmailMessage:
        """The message. A repeat has the same Message-ID; one alarm's messages make one thread."""
        message = EmailMessage()
        message["Subject"] = " ".join(notice.title.split())  # a header is one line
        message["From"] = Address("Roewatch", addr_spec=self._from)
        message["To"] = ", ".join(self._to)
        if self._account.cc:
            message["Cc"] = ", ".join(sorted(map(str, self._account.cc)))
        message["Date"] = format_datetime(moment_of(notice.made_ms))
        message["Message-ID"] = self._identity(notice.id)
        if len(notice.alarms) == 1:
            message["References"] = self._identity(f"alarm-{notice.alarms[0]}")
        message["Auto-Submitted"] = "auto-generated"  # RFC 3834: no absence replies to this
        if notice.priority is Priority.HIGH:
            message["Importance"] = "high"
        body = f"{notice.body}\n\n{notice.link}\n" if notice.link else f"{notice.body}\n"
        message.set_content(body)
        return message

    def _identity(self, name: str) -> str:
        domain = self._from.rpartition("@")[2] or "roewatch.invalid"
        return f"<{name}@{domain}>"

    def _connected(self) -> smtplib.SMTP:
        account = self._account
        host, port = str(account.smtp_host), int(account.port or 0)
        trusted = ssl.create_default_context()
        if not account.verify_certificate:
            trusted.check_hostname = False
            trusted.verify_mode = ssl.CERT_NONE
        if account.secure_mode == SecureMailMode.SSL:
            server: smtplib.SMTP = smtplib.SMTP_SSL(
                host, port, timeout=self._timeout_s, context=trusted
            )
        else:
            server = smtplib.SMTP(host, port, timeout=self._timeout_s)
        try:
            if account.secure_mode == SecureMailMode.STARTTLS:
                server.starttls(context=trusted)
            if account.user and account.password:
                server.login(str(account.user), str(account.password))
        except BaseException:
            server.close()
            raise
        return server

    def _raise(self, code: int, said: bytes | str) -> None:
        words = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
        reason = self._veil.over(f"the mail server answered {code}: {words}")
        # RFC 5321: 4yz may succeed later, 5yz will not
        if 500 <= code < 600:
            raise Refused(reason) from None
        raise TryLater(reason) from None
