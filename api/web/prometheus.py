"""The numbers for Prometheus: counted in every worker, added up when they are asked for.

Each worker writes its counts into a file of the folder that PROMETHEUS_MULTIPROC_DIR names, which
``api.server.processes`` makes before this module is imported; without it they are counted in
this process alone. What the database knows is asked for then and there.
"""

import os
from collections.abc import Iterator
from contextlib import suppress
from time import perf_counter

from flask import Flask, Response, g, request
from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.metrics_core import Metric
from prometheus_client.multiprocess import MultiProcessCollector, mark_process_dead
from prometheus_client.registry import Collector
from sqlalchemy import func, select

from api.service import Service
from api.store import StoreUnavailableError
from api.store.models import CaseRow, Delivery
from api.store.schema import newest
from api.version import version

FOLDER = "PROMETHEUS_MULTIPROC_DIR"
_BUCKETS = (0.005, 0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64, 1.28, 2.56, 5.12, 10.24)
_METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
_OWN = CollectorRegistry()

REQUESTS = Counter(
    "threewire_requests", "Requests by route and status.", ("method", "route", "status"),
    registry=_OWN,
)  # fmt: skip
SECONDS = Histogram(
    "threewire_request_seconds", "Seconds from request to answer.", ("route",),
    buckets=_BUCKETS, registry=_OWN,
)  # fmt: skip
DIAGNOSES = Counter(
    "threewire_diagnoses", "Requests that were answered with a diagnosis.", registry=_OWN
)
REFUSED = Counter(
    "threewire_refused", "Requests refused for want of a key, role or rate.", ("reason",),
    registry=_OWN,
)  # fmt: skip


def register(app: Flask) -> None:
    """Count every request of ``app``."""
    app.after_request(_count)


def _count(response: Response) -> Response:
    rule = request.url_rule.rule if request.url_rule is not None else "none"
    method = request.method if request.method in _METHODS else "other"
    REQUESTS.labels(method, rule, str(response.status_code)).inc()
    SECONDS.labels(rule).observe(perf_counter() - g.get("started", perf_counter()))
    if "diagnos" in rule and response.status_code == 200:
        DIAGNOSES.inc()
    if "refused" in g:
        REFUSED.labels(g.refused).inc()
    return response


def page(service: Service) -> str:
    """Return all numbers of all workers in Prometheus' text format."""
    counted, kept = _OWN, CollectorRegistry()
    if os.environ.get(FOLDER):
        counted = CollectorRegistry()
        MultiProcessCollector(counted)  # type: ignore[no-untyped-call]  # adds itself
    kept.register(_Kept(service))
    return (generate_latest(counted) + generate_latest(kept)).decode()


class _Kept(Collector):
    """What the store knows, and what runs here."""

    def __init__(self, service: Service) -> None:
        self._service = service

    def collect(self) -> Iterator[Metric]:
        """Give the build, and the store's numbers while it answers."""
        build = GaugeMetricFamily(
            "threewire_build_info", "What runs here.", labels=("version", "knowledge", "schema")
        )
        build.add_metric((version(), self._service.knowledge.version, newest()), 1)
        yield build
        yield from self._store()

    def _store(self) -> Iterator[Metric]:
        if self._service.database is None:
            return
        cases = select(func.count()).select_from(CaseRow).where(CaseRow.state == "open")
        queued = select(func.count()).select_from(Delivery).where(Delivery.state == "waiting")
        counts: list[int] = []
        if self._service.store_fault() is None:
            with suppress(StoreUnavailableError), self._service.database.reading() as session:
                counts = [session.scalar(one) or 0 for one in (cases, queued)]
        told = "Whether the database takes a write."
        yield GaugeMetricFamily("threewire_store_up", told, int(bool(counts)))
        names = {
            "threewire_cases_open": "Cases that are open.",
            "threewire_deliveries_waiting": "Events that are not delivered yet.",
        }
        for (name, about), count in zip(names.items(), counts, strict=False):
            yield GaugeMetricFamily(name, about, count)


def worker_gone(process: int) -> None:
    """Drop what only a living worker may claim; its counts stay."""
    if os.environ.get(FOLDER):
        mark_process_dead(process)  # type: ignore[no-untyped-call]
