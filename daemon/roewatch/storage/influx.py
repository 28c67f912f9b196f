"""InfluxDB 2 and VictoriaMetrics as targets of the mirror.

Loading the client takes half a second, so only a room that mirrors loads this.
"""

import json
import logging
from collections.abc import Callable, Sequence
from itertools import chain
from typing import Any

import urllib3
from influxdb_client.client.exceptions import InfluxDBError
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.domain.write_precision import WritePrecision
from influxdb_client.rest import ApiException

from roewatch.room.moment import DAY_MS
from roewatch.room.tank import Probe
from roewatch.storage.cell import cell_of
from roewatch.storage.day import Cells, cells_of
from roewatch.storage.line import MEASUREMENT, Event, event_line, reading_lines
from roewatch.storage.target import Batch, TargetDownError

_log = logging.getLogger(__name__)

_TIMEOUT_MS = 30_000
_MS: Any = WritePrecision.MS  # a plain text, although the client calls for its class
_PAST_RETENTION = 422  # InfluxDB: the others were written, those too old for its bucket were not


class Influx:
    """InfluxDB 2 by its own client; also the writing half of whatever speaks the same protocol."""

    def __init__(self, *, url: str, org: str, bucket: str, token: str, room: str) -> None:
        """room: the tag that tells this room's readings from another's in the same bucket."""
        self.room = room
        self._bucket, self._org = bucket, org
        # no retries of its own: the mirror has them, with a bound and a log line
        self._client = InfluxDBClient(
            url=url, token=token, org=org, timeout=_TIMEOUT_MS, enable_gzip=True
        )
        self._write = self._client.write_api(write_options=SYNCHRONOUS)
        self._url = url
        self.dropped = 0
        self.connections = 0
        """See `Target`."""
        # the pool's own count is of objects: one that finds its line cut dials again unseen
        pool: Any = self._pools.connection_from_url(url)
        pool.ConnectionCls = _counting(pool.ConnectionCls, self._dialled)

    @property
    def _pools(self) -> urllib3.PoolManager:
        pools: urllib3.PoolManager = self._client.api_client.rest_client.pool_manager
        return pools

    def _dialled(self) -> None:
        self.connections += 1

    def look(self) -> None:
        """See `Target`. Both kinds answer a ping; whatever they say, they are there."""
        try:
            self._pools.request("GET", self._url.rstrip("/") + "/ping", timeout=_TIMEOUT_MS / 1000)
        except urllib3.exceptions.HTTPError as error:
            raise self._down(error) from error

    def take(self, readings: Batch, events: Sequence[Event] = ()) -> None:
        """See `Target`. A batch of which its retention refused some counts in `dropped`, whole."""
        lines = list(chain.from_iterable(reading_lines(self.room, *part) for part in readings)) + [
            event_line(self.room, event) for event in events
        ]
        try:
            self._write.write(self._bucket, self._org, "\n".join(lines), _MS)
        except (InfluxDBError, ApiException) as error:
            if _status(error) != _PAST_RETENTION:
                raise self._down(error) from error
            if not self.dropped:  # once: while history is shipped it says so of every batch
                _log.warning("mirror_target_drops said=%r", str(self._down(error)))
            self.dropped += len(lines)
        except urllib3.exceptions.HTTPError as error:
            raise self._down(error) from error

    def _down(self, error: Exception) -> TargetDownError:
        if isinstance(error, urllib3.exceptions.HTTPError):
            why = type(getattr(error, "reason", error)).__name__
            return TargetDownError(f"{self._url}: cannot be reached ({why}); check url and network")
        said = getattr(error, "message", None) or getattr(error, "reason", None) or error
        status = _status(error)
        return TargetDownError(f"{self._url}: {f'answered {status}: ' if status else ''}{said}")

    def rows(self, flux: str) -> list[dict[str, Any]]:
        """What the server answers to a Flux query. Raises TargetDownError."""
        try:
            tables = self._client.query_api().query(flux, self._org)
        except (InfluxDBError, ApiException, urllib3.exceptions.HTTPError) as error:
            raise self._down(error) from error
        return [record.values for table in tables for record in table.records]

    def _from(self, from_ms: int, to_ms: int) -> str:
        return (
            f"from(bucket: {_flux(self._bucket)})"
            f" |> range(start: time(v: {from_ms * 1_000_000}), stop: time(v: {to_ms * 1_000_000}))"
            f' |> filter(fn: (r) => r._measurement == "{MEASUREMENT}"'
            f" and r.room == {_flux(self.room)})"
        )

    def counts(self, day: int) -> dict[str, int]:
        """See `Target`."""
        rows = self.rows(
            self._from(day * DAY_MS, (day + 1) * DAY_MS)
            + ' |> filter(fn: (r) => r._field == "raw") |> group(columns: ["probe"]) |> count()'
        )
        return {str(row["probe"]): int(row["_value"]) for row in rows}

    def read(self, probe: Probe, from_ms: int, to_ms: int) -> Cells:
        """See `Target`."""
        rows = self.rows(
            self._from(from_ms, to_ms) + f" |> filter(fn: (r) => r.probe == {_flux(probe.id)})"
            ' |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")'
            ' |> group() |> sort(columns: ["_time"])'
        )
        found = {}
        for row in rows:
            at_ms = round(row["_time"].timestamp() * 1000)
            found[at_ms] = (at_ms, cell_of(float(row["raw"])), int(row["flag"]))
        return cells_of(found.values())

    def close(self) -> None:
        """See `Target`."""
        self._write.close()  # type: ignore[no-untyped-call]
        self._client.close()  # type: ignore[no-untyped-call]


def _counting(kind: Any, dialled: Callable[[], None]) -> Any:
    """A class of connections like `kind` that tells of each time a line was opened."""

    class Counting(kind):  # type: ignore[misc]
        def connect(self) -> None:
            super().connect()
            dialled()

    return Counting


def _status(error: Exception) -> int:
    found = getattr(error, "status", None) or getattr(
        getattr(error, "response", None), "status", None
    )
    return int(found or 0)


class Victoria(Influx):
    """VictoriaMetrics: written to like InfluxDB, asked in its own way.

    Start it with `-retentionPeriod` as long as you want to keep, or old readings are dropped in
    silence, and `-dedup.minScrapeInterval=1ms`, or what was sent twice is stored twice.
    """

    def said(self, path: str, **fields: str) -> urllib3.BaseHTTPResponse:
        """Whatever the answer to a GET of `path` is. Raises TargetDownError if there is none."""
        try:
            return self._pools.request(
                "GET", self._url.rstrip("/") + path, fields=fields, timeout=_TIMEOUT_MS / 1000
            )
        except urllib3.exceptions.HTTPError as error:
            raise self._down(error) from error

    def ask(self, path: str, **fields: str) -> urllib3.BaseHTTPResponse:
        """What the server answers to a GET of `path`. Raises TargetDownError."""
        answer = self.said(path, **fields)
        if answer.status != 200:
            raise TargetDownError(f"{self._url}{path}: answered {answer.status}")
        return answer

    def _series(self, probe: str, field: str, from_ms: int, to_ms: int) -> dict[int, float]:
        match = f"{MEASUREMENT}_{field}{{room={_quoted(self.room)},probe={_quoted(probe)}}}"
        answer = self.ask(
            "/api/v1/export",
            **{"match[]": match, "start": _seconds(from_ms), "end": _seconds(to_ms - 1)},
        )
        found: dict[int, float] = {}
        for line in answer.data.splitlines():
            series = json.loads(line)
            found.update(zip(series["timestamps"], series["values"], strict=True))
        return found

    def counts(self, day: int) -> dict[str, int]:
        """See `Target`; without `-dedup` repeats count too, so `read` has the last word."""
        last_ms = (day + 1) * DAY_MS - 1
        query = f"count_over_time({MEASUREMENT}_raw{{room={_quoted(self.room)}}}[{DAY_MS}ms])"
        answer = self.ask("/api/v1/query", query=query, time=_seconds(last_ms), nocache="1")
        return {
            str(found["metric"]["probe"]): int(float(found["value"][1]))
            for found in json.loads(answer.data)["data"]["result"]
        }

    def read(self, probe: Probe, from_ms: int, to_ms: int) -> Cells:
        """See `Target`."""
        raw = self._series(probe.id, "raw", from_ms, to_ms)
        flag = self._series(probe.id, "flag", from_ms, to_ms)
        return cells_of((at_ms, cell_of(raw[at_ms]), int(flag[at_ms])) for at_ms in sorted(raw))


def answering(*, url: str, org: str, bucket: str, token: str, room: str) -> Influx:
    """The target at `url`, by what answers there: an `Influx`, or a `Victoria`.

    Both take the same writes, so for shipping alone `Influx` will do, also while nobody answers.
    Raises TargetDownError.
    """
    target = Victoria(url=url, org=org, bucket=bucket, token=token, room=room)
    try:
        if target.said("/health").data.strip() == b"OK":  # InfluxDB tells its name and state there
            return target
    except TargetDownError:
        target.close()
        raise
    target.close()
    return Influx(url=url, org=org, bucket=bucket, token=token, room=room)


def _flux(text: str) -> str:
    """A text of the query language, in which `${` would begin a piece of program."""
    return _quoted(text).replace("${", "\\${")


def _seconds(at_ms: int) -> str:
    return f"{at_ms // 1000}.{at_ms % 1000:03d}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
