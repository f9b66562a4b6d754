"""Probes for monitoring: liveness, readiness and metrics."""

import datetime as dt
import hmac
import ipaddress
import logging
import os
from collections.abc import Callable, Iterable

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import resolve
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.metrics_core import GaugeMetricFamily, Metric
from prometheus_client.multiprocess import MultiProcessCollector

from training.database import note
from training.services import row_scope
from training.services.operations import metrics as figures
from training.services.operations import readiness

logger = logging.getLogger(__name__)
PATHS = ("/healthz", "/readyz", "/metrics")
_FORWARDED = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-IP", "Via")


def is_operator(request: HttpRequest) -> bool:
    """Whether the request may see details: it has the operator's token or comes from this machine.

    Behind a proxy every request comes from a loopback address, so that counts only if no proxy is configured
    and no header names one.
    """
    if settings.METRICS_TOKEN:
        given = request.headers.get("Authorization", "")
        return hmac.compare_digest(given.encode(), f"Bearer {settings.METRICS_TOKEN}".encode())
    if settings.HTTPS or settings.BEHIND_OUR_PROXY or any(name in request.headers for name in _FORWARDED):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:  # a Unix socket, so there is some proxy
        return False


class ByAnyName:
    """Middleware: answers machines before the host is checked, for they ask by an address of their own.

    These views make no link of the host's name, and tell strangers no more than yes or no.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path_info not in PATHS:
            return self.get_response(request)
        request.resolver_match = resolve(request.path_info)
        answer: HttpResponse = request.resolver_match.func(request)
        return answer


@never_cache
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """200 if the process takes requests. It queries nothing, so a database error restarts no web server."""
    return JsonResponse({"alive": True})


@never_cache
@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """200 if this instance can do its work, else 503; only operators see why."""
    row_scope.everything()
    checks = readiness.look(dt.datetime.now(dt.UTC))
    faults = [f"{check.name}: {check.fault}" for check in checks if check.fault]
    ready = not faults
    told: dict[str, object] = {"ready": ready}
    if is_operator(request):
        told["checks"] = {check.name: check.fault or "ok" for check in checks}
    answer = JsonResponse(told, status=200 if ready else 503)
    if not ready:
        logger.warning("not ready: %s", "; ".join(faults))
        answer._has_been_logged = True  # type: ignore[attr-defined]  # by us: to Django 503 is a fault of a view
    return answer


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Metrics of all processes of this server in Prometheus text format; for operators only."""
    if not is_operator(request):
        return JsonResponse({"detail": "For operators only: send the operator's token."}, status=403)
    row_scope.everything()
    registry: CollectorRegistry = REGISTRY
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        registry = CollectorRegistry()
        MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    ours = CollectorRegistry()
    ours.register(_Counted(dt.datetime.now(dt.UTC)))
    return HttpResponse(
        generate_latest(registry) + generate_latest(ours),
        content_type="text/plain; version=0.0.4; charset=utf-8",
    )


class _Counted:
    """The metrics from the database, queried once. If one fails, the others still appear."""

    def __init__(self, at: dt.datetime) -> None:
        self.at = at

    def describe(self) -> Iterable[Metric]:
        return []  # registering would collect the metrics, and run their queries, a second time

    def collect(self) -> Iterable[Metric]:
        answers = 1
        for each in figures.FIGURES.values():
            gauge = GaugeMetricFamily(
                f"training_{each.name}", each.help, labels=[each.label] if each.label else []
            )
            try:
                read = each.read(self.at)
            except DatabaseError as fault:
                note(fault)
                answers = 0
                connection.close()
                break
            except Exception:
                logger.exception("Metric %s cannot be read", each.name)
                continue
            if isinstance(read, int | float):
                gauge.add_metric([], read)
            else:
                for value, number in read.items():
                    gauge.add_metric([value], number)
            yield gauge
        yield GaugeMetricFamily("training_database_answers", "1 where the database answers.", value=answers)
