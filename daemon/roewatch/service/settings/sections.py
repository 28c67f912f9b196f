"""Sections: the parts of `room.toml` that stand once, with every default."""

from typing import Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field, field_validator

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from roewatch.room.quantity import Quantity
from roewatch.service.settings.written import (
    Id,
    Port,
    QuantityWord,
    SecretText,
    Section,
    SpanMs,
    Zone,
    span_written,
    veiled,
)


class RoomSettings(Section):
    """`[room]`. id: how stores and topics name it. species_dir: beside the settings file.

    altitude_m, pressure_hpa: above the sea, and the usual air pressure reduced to it, as a
    forecast gives it; oxygen saturation is reckoned with what both make.
    """

    name: str = Field(min_length=1, max_length=80, examples=["The Boathouse"])
    id: Id = Field(default="room", examples=["boathouse"])
    timezone: Zone = Field(examples=["Europe/Tallinn"])
    species_dir: str = Field(default="species", examples=["species"])
    altitude_m: float = Field(default=0.0, ge=-400, le=5000, examples=[35.0])
    pressure_hpa: float = Field(default=1013.25, ge=870, le=1090, examples=[1013.25])


class BrokerSection(Section):
    """`[broker]`: the MQTT server the probes speak to."""

    host: str = Field(default="127.0.0.1", min_length=1, examples=["127.0.0.1"])
    port: Port = Field(default=1883, examples=[1883])
    username: str = Field(default="", examples=["roewatch"])
    password: SecretText | None = None
    password_file: str = Field(default="", examples=["broker-password"])
    tls: bool = Field(default=False, examples=[True])
    ca_file: str = Field(default="", examples=["broker-ca.pem"])
    cert_file: str = Field(default="", examples=["roewatch-cert.pem"])
    key_file: str = Field(default="", examples=["roewatch-key.pem"])
    client_id: str = Field(default="", max_length=120, examples=["roewatch-boathouse"])
    keepalive: SpanMs = Field(default=30 * SECOND_MS, ge=SECOND_MS, examples=["30 s"])


def keep_ms_of(text: str) -> int | None:
    """The span after which raw readings go, or None for ever. Raises ValueError."""
    if text.strip() in {"for ever", "forever"}:
        return None
    keep_ms = span_written(text)
    if keep_ms < 7 * DAY_MS:
        raise ValueError("shorter than a week of graphs; write 7 d or more, or for ever")
    return keep_ms


def _keep(text: str) -> str:
    keep_ms_of(text)
    return text


Keep = Annotated[str, AfterValidator(_keep)]
"""Written `for ever` or as a span of at least 7 d."""


class StorageSettings(Section):
    """`[storage]`. hot: how long readings stay unpacked at least, in case more come late; the
    longer, the more a picture of the last days has to read one by one. keep: how long raw readings
    stay; keep_of: the same for single quantities. Roll-ups stay for ever.
    """

    path: str = Field(default="roewatch.sqlite", min_length=1, examples=["roewatch.sqlite"])
    hot: SpanMs = Field(default=HOUR_MS, ge=10 * MINUTE_MS, examples=["1 h"])
    keep: Keep = Field(default="for ever", examples=["for ever"])
    keep_of: dict[QuantityWord, Keep] = Field(default_factory=dict, examples=[{"light": "30 d"}])
    least_free_mb: int = Field(default=500, ge=10, examples=[500])

    @property
    def keep_ms(self) -> int | None:
        """How long raw readings are kept; None for ever."""
        return keep_ms_of(self.keep)

    @property
    def keep_of_ms(self) -> dict[Quantity, int | None]:
        """The same for quantities that have a span of their own."""
        return {quantity: keep_ms_of(text) for quantity, text in self.keep_of.items()}


class MirrorSettings(Section):
    """`[mirror]`: an InfluxDB 2, or any store that speaks its write protocol.

    overlap: how long the target may take to put on disk what it has said yes to.
    """

    enabled: bool = Field(default=False, examples=[True])
    url: str = Field(default="http://127.0.0.1:8086", examples=["http://127.0.0.1:8086"])
    token: SecretText | None = None
    token_file: str = Field(default="", examples=["mirror-token"])
    org: str = Field(default="fish", examples=["fish"])
    bucket: str = Field(default="readings", min_length=1, examples=["readings"])
    # VictoriaMetrics and InfluxDB take up to some five seconds; less would lose readings there
    overlap: SpanMs = Field(default=2 * MINUTE_MS, ge=10 * SECOND_MS, examples=["2 min"])
    every: SpanMs = Field(default=10 * SECOND_MS, ge=SECOND_MS, examples=["10 s"])

    @field_validator("url")
    @classmethod
    def _url(cls, value: str) -> str:
        return web_address(value)


class WebSettings(Section):
    """`[web]`: the pages. address: what notices link to; empty for http://host:port."""

    host: str = Field(default="127.0.0.1", min_length=1, examples=["127.0.0.1"])
    port: Port = Field(default=8420, examples=[8420])
    address: str = Field(default="", examples=["http://boathouse.lan:8420"])

    @field_validator("address")
    @classmethod
    def _address(cls, value: str) -> str:
        return web_address(value).rstrip("/") if value else value

    @property
    def base(self) -> str:
        """The address pages are reached at, without a slash at the end."""
        return self.address or f"http://{self.host}:{self.port}"


class HeartbeatSettings(Section):
    """`[heartbeat]`: an address asked regularly, so that another machine misses us when we die."""

    url: SecretText | None = None
    url_file: str = Field(default="", examples=["heartbeat-url"])
    every: SpanMs = Field(default=5 * MINUTE_MS, ge=10 * SECOND_MS, examples=["5 min"])

    @field_validator("url")
    @classmethod
    def _url(cls, value: SecretText | None) -> SecretText | None:
        if value is not None:
            web_address(value.get_secret_value(), secret=True)
        return value


def web_address(value: str, *, secret: bool = False) -> str:
    """`value` if it is an http or https address with a host. Raises ValueError."""
    shown = "the address" if secret else repr(veiled(value))
    try:
        parts = urlsplit(value)
        host, _ = parts.hostname, parts.port
    except ValueError:
        raise ValueError(
            f"{shown} is no web address; write it like http://127.0.0.1:8086"
        ) from None
    if parts.scheme not in {"http", "https"} or not host:
        raise ValueError(f"{shown} is no web address; write it like http://127.0.0.1:8086")
    return value
