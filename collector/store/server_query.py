"""How readings are asked back from a time-series server: its export calls, or Flux."""

import io
from collections.abc import Callable
from typing import Any, NamedTuple, Protocol
from urllib.parse import urlencode

import numpy as np
import orjson
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import urllib3
from influxdb_client import InfluxDBClient

from analysis.base.time import Span
from analysis.readings.readings import Readings
from collector.errors import StoreUnavailableError

_DAWN_MS = 0
_DUSK_MS = 4_102_444_800_000  # 2100, as far as the export call accepts


class Series(NamedTuple):
    """One field of one measurement of one channel; summaries also have an edition."""

    measurement: str
    field: str
    address: str
    edition: int | None = None


class Dialect(Protocol):
    """The calls of one family of servers."""

    def read(self, series: Series, span: Span) -> Readings:
        """Readings of a series within a span, in any order of arrival."""

    def ends(self, series: Series) -> tuple[Readings, Readings]:
        """First and last reading of a series, each empty where there is none."""

    def settle(self) -> None:
        """Make what was just written durable and visible, where the server needs asking."""


class Http:
    """Plain calls to the server, with its token; every failure says what to do."""

    def __init__(self, url: str, token: str | None) -> None:
        self.url = url.rstrip("/")
        headers = {"Authorization": f"Token {token}"} if token else {}
        self._pool = urllib3.PoolManager(
            headers=headers, retries=False, timeout=urllib3.Timeout(connect=3, read=120)
        )

    def get(self, path: str, **parameters: Any) -> bytes:
        """Body of one answer.

        Raises
        ------
        StoreUnavailableError
            No answer, or one that is no success.
        """
        try:
            answer = self._pool.request("GET", f"{self.url}{path}?{urlencode(parameters)}")
        except urllib3.exceptions.HTTPError as error:
            raise StoreUnavailableError(
                f"{self.url}: the time-series server does not answer "
                f"({type(error).__name__}); start it, or check url in [store]"
            ) from error
        if answer.status >= 300:
            raise StoreUnavailableError(
                f"{self.url}{path}: the server answered {answer.status} "
                f"{answer.data[:200].decode(errors='replace').strip()}; check [store]"
            )
        return bytes(answer.data)

    def started(self) -> str:
        """When the server process began, as it says itself."""
        for line in self.get("/metrics").splitlines():
            if line.startswith(b"process_start_time_seconds"):
                return line.split()[-1].decode()
        return "unknown"


class ExportDialect:
    """Servers that hand out raw series by their export call."""

    def __init__(self, http: Http) -> None:
        self._http = http

    def read(self, series: Series, span: Span) -> Readings:
        """Readings of a series within a span."""
        body = self._http.get(
            "/api/v1/export/csv",
            **{"match[]": _selector(series)},
            format="__timestamp__:unix_ms,__value__",
            start=max(span.start_ms, _DAWN_MS) / 1000,
            end=min(span.end_ms - 1, _DUSK_MS) / 1000,
            # Twice as fast; what it leaves doubled or out of order is put right below.
            reduce_mem_usage=1,
        )
        return readings_from_export(body).within(span)

    def ends(self, series: Series) -> tuple[Readings, Readings]:
        """First and last reading of a series."""
        return self._end(series, "first"), self._end(series, "last")

    def _end(self, series: Series, which: str) -> Readings:
        window = f"{_selector(series)}[100y]"
        time_s = self._instant(f"t{which}_over_time({window})")
        value = self._instant(f"{which}_over_time({window})")
        if time_s is None or value is None:
            return Readings.empty()
        return Readings.of([round(time_s * 1000)], [value])

    def _instant(self, query: str) -> float | None:
        answer = orjson.loads(self._http.get("/api/v1/query", query=query))
        found = answer["data"]["result"]
        return float(found[0]["value"][1]) if found else None

    def settle(self) -> None:
        """Flush what was written to disk and to where queries see it."""
        self._http.get("/internal/force_flush")


def _selector(series: Series) -> str:
    edition = "" if series.edition is None else f',edition="{series.edition}"'
    return f'{series.measurement}_{series.field}{{channel="{series.address}"{edition}}}'


_EXPORT_READ = pa.csv.ReadOptions(column_names=["time", "value"])
_EXPORT_TYPES = pa.csv.ConvertOptions(column_types={"time": pa.int64(), "value": pa.float64()})


def readings_from_export(body: bytes) -> Readings:
    """Readings from an export answer of lines ``milliseconds,value``."""
    if not body.strip():
        return Readings.empty()
    table = pa.csv.read_csv(
        pa.BufferReader(body), read_options=_EXPORT_READ, convert_options=_EXPORT_TYPES
    )
    return Readings.of(table["time"].to_numpy(), table["value"].to_numpy())


class FluxDialect:
    """Servers that are asked in Flux and answer in annotated CSV."""

    def __init__(self, ask: Callable[[str], str], bucket: str) -> None:
        self._ask = ask
        self._bucket = bucket

    @classmethod
    def over(cls, client: InfluxDBClient, bucket: str) -> "FluxDialect":
        """Ask through the client's query call."""

        def ask(flux: str) -> str:
            answer = client.query_api().query_raw(flux)
            return bytes(answer.data).decode()

        return cls(ask, bucket)

    def read(self, series: Series, span: Span) -> Readings:
        """Readings of a series within a span."""
        return self._query(series, span, "").within(span)

    def ends(self, series: Series) -> tuple[Readings, Readings]:
        """First and last reading of a series."""
        everything = Span(_DAWN_MS, _DUSK_MS)
        first = self._query(series, everything, " |> first()")
        return first, self._query(series, everything, " |> last()")

    def _query(self, series: Series, span: Span, tail: str) -> Readings:
        start, end = max(span.start_ms, _DAWN_MS), min(span.end_ms, _DUSK_MS)
        edition = "" if series.edition is None else f' and r.edition == "{series.edition}"'
        flux = (
            f'from(bucket: "{self._bucket}")'
            f" |> range(start: time(v: {start}000000), stop: time(v: {end}000000))"
            f' |> filter(fn: (r) => r._measurement == "{series.measurement}"'
            f' and r._field == "{series.field}" and r.channel == "{series.address}"{edition})'
            f'{tail} |> keep(columns: ["_time", "_value"])'
        )
        return readings_from_annotated_csv(self._ask(flux))

    def settle(self) -> None:
        """Nothing to do: such a server logs every write before it answers."""


def readings_from_annotated_csv(text: str) -> Readings:
    """Readings from a Flux answer: tables with ``_time`` and ``_value`` columns.

    Source of the form: InfluxDB v2 reference, annotated CSV.
    """
    parts = [_annotated_table(block) for block in _blocks(text)]
    times = np.concatenate([t for t, _ in parts]) if parts else np.empty(0, np.int64)
    values = np.concatenate([v for _, v in parts]) if parts else np.empty(0)
    return Readings.of(times, values)


def _blocks(text: str) -> list[str]:
    """Tables of an annotated CSV without their annotation lines."""
    blocks = [
        "\n".join(row for row in block.split("\n") if not row.startswith("#"))
        for block in text.replace("\r\n", "\n").split("\n\n")
    ]
    return [b for b in blocks if b.strip()]


def _annotated_table(block: str) -> tuple[Any, Any]:
    head = block.split("\n", 1)[0].split(",")
    if "error" in head:
        raise StoreUnavailableError(f"the server refused the query: {block}")
    options = pa.csv.ConvertOptions(
        include_columns=["_time", "_value"],
        column_types={"_time": pa.string(), "_value": pa.float64()},
    )
    table = pa.csv.read_csv(io.BytesIO(block.encode()), convert_options=options)
    stamp = pc.cast(table["_time"], pa.timestamp("ns", "UTC"))
    return pc.cast(stamp, pa.int64()).to_numpy() // 1_000_000, table["_value"].to_numpy()
