"""The site's time-series server, by the write API of InfluxDB v2 (`POST /api/v2/write`, gzip, times in ms).

The library's synchronous call only: its batching drops a batch after its retries. Docs of the answers:
https://docs.influxdata.com/influxdb/v2/api/#operation/PostWrite.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, cast

import urllib3
from influxdb_client.client.exceptions import InfluxDBError
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.rest import ApiException
from influxdb_client.service.write_service import WriteService

from gateway.core.outbox import retry_after_s
from gateway.edges.influx_pool import BoundedPool
from gateway.errors import SeriesFault
from gateway.ports import Clock

TIMEOUT_S = 30.0
CONNECT_S = 10.0
#: A request as a whole may take this many times the time-out of one read.
WHOLE = 3.0
DETAIL_MOST = 300
#: All lines are there. Anything else in the two hundreds comes from something that is no write API.
WRITTEN = 204

_KINDS = {400: "line", 422: "line", 413: "size", 429: "busy", 503: "busy", 408: "away"}
_WORDS = {
    401: "the token is not accepted",
    403: "the token may not write there",
    404: "no such organisation, bucket or address",
}
#: What the library says of an address or a token that can be sent nowhere.
_UNSENDABLE = (urllib3.exceptions.LocationValueError, urllib3.exceptions.URLSchemeUnknown, ValueError)


class Influx:
    """`ports.Series` over influxdb_client. One thread at a time."""

    def __init__(
        self,
        url: str,
        org: str,
        bucket: str,
        token: str,
        clock: Clock,
        *,
        timeout_s: float = TIMEOUT_S,
        ca_file: Path | None = None,
    ) -> None:
        """`clock` is the real one, for a Retry-After that names a date."""
        self._org, self._bucket, self._clock = org, bucket, clock
        self._whole_s = WHOLE * timeout_s
        self._times_ms = (round(min(CONNECT_S, timeout_s) * 1000), round(timeout_s * 1000))
        self._client = InfluxDBClient(url=url, token=token, org=org, enable_gzip=True)
        ca_certs = str(ca_file) if ca_file else None
        self._pool = BoundedPool(self._whole_s, cert_reqs="CERT_REQUIRED", ca_certs=ca_certs)
        self._api = cast(Any, self._client.api_client)
        self._api.rest_client.pool_manager = self._pool
        self._service = cast(Any, WriteService)(self._api)  # it has no types

    def write(self, lines: Sequence[str]) -> None:
        """As `ports.Series.write`; an empty batch is not sent, servers refuse it."""
        if not lines:
            return
        try:
            status = self._post("\n".join(lines).encode())
        except ApiException as fault:
            raise self._refusal(fault) from fault
        except (InfluxDBError, urllib3.exceptions.HTTPError, OSError, ValueError) as fault:
            raise self._away(fault) from fault
        if self._pool.was_cut:
            # It may have said the number and no more: written once more is safer than not at all.
            raise self._late()
        if status != WRITTEN:
            raise SeriesFault("refused", f"status {status} where a server says {WRITTEN}", status=status)

    def interrupt(self) -> None:
        """From another thread: let what is under way end at once, as if the connection had broken."""
        self._pool.cut()

    def close(self) -> None:
        """Close the connection."""
        self._pool.clear()

    def _post(self, body: bytes) -> int:
        kind = "text/plain; charset=utf-8"
        self._service.post_write(
            self._org,
            self._bucket,
            body,
            precision="ms",
            content_type=kind,
            _request_timeout=self._times_ms,
        )
        return int(self._api.last_response.status)

    def _refusal(self, fault: Any) -> SeriesFault:
        status = fault.status or 0
        said = _printable(fault.message if fault.response is not None else fault.reason)
        if not status:
            return SeriesFault("refused", f"no secure connection: {said}")
        kind = _KINDS.get(status, "away" if status >= 500 else "refused")
        text = ": ".join(part for part in (f"status {status}", _WORDS.get(status), said) if part)
        asked = (fault.headers or {}).get("Retry-After", "")
        wait_s = retry_after_s(asked, self._clock.wall_ms()) if kind in ("busy", "away") else None
        return SeriesFault(kind, text[:DETAIL_MOST], status=status, retry_after_s=wait_s)

    def _late(self) -> SeriesFault:
        return SeriesFault("away", f"no answer within {self._whole_s:g} s in all")

    def _away(self, fault: BaseException) -> SeriesFault:
        """What went wrong on the way there, without the library's object addresses."""
        if self._pool.was_cut:
            return self._late()
        if isinstance(fault, _UNSENDABLE) and not isinstance(fault, OSError):
            return SeriesFault("refused", f"the address or the token cannot be used: {type(fault).__name__}")
        if isinstance(fault, urllib3.exceptions.NameResolutionError):
            return SeriesFault("away", "no connection: nobody knows that host's name")
        if type(fault) is urllib3.exceptions.ConnectTimeoutError:
            return SeriesFault("away", f"no connection within {self._times_ms[0] / 1000:g} s")
        if isinstance(fault, urllib3.exceptions.ReadTimeoutError):
            return SeriesFault("away", f"no answer within {self._times_ms[1] / 1000:g} s")
        seen: BaseException | None = fault
        while seen is not None:
            if isinstance(seen, OSError) and seen.strerror:
                return SeriesFault("away", f"no connection: {seen.strerror}"[:DETAIL_MOST])
            seen = seen.__cause__ or seen.__context__
        return SeriesFault("away", f"the connection broke: {type(fault).__name__}")


def _printable(said: object) -> str:
    """The beginning of what the server said, on one line."""
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said or "")
    return "".join(one if one.isprintable() else " " for one in text[: 2 * DETAIL_MOST]).strip()[:DETAIL_MOST]
