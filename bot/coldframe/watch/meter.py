"""What a process counts of its own work, in the text form that Prometheus reads (prometheus.io, exposition formats)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import generate_latest

from coldframe.ports.chat import Inbound, Intake, Reply
from coldframe.ports.standing import Watched

SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 3.0)
"""Bounds of the histogram; a chat service waits three seconds for an acknowledgement."""
Told = Mapping[tuple[str, str], int]


class Meter:
    """The figures of one process. `told`: how often each event was logged, by (its name, its level)."""

    def __init__(self, told: Callable[[], Told]) -> None:
        self._told = told
        self._watched: Watched | None = None
        self._registry = CollectorRegistry()
        self._heard = Counter(
            "coldframe_happenings", "Happenings taken in.", ("platform", "kind"), registry=self._registry
        )
        self._failed = Counter(
            *("coldframe_happenings_failed", "Happenings that were not kept."),
            labelnames=("platform", "kind"), registry=self._registry,
        )  # fmt: skip
        self._took = Histogram(
            *("coldframe_happening_seconds", "From hearing a happening to its being kept."),
            labelnames=("platform",), buckets=SECONDS, registry=self._registry,
        )  # fmt: skip
        self._registry.register(self)

    def took(self, platform: str, kind: str, seconds: float, *, kept: bool) -> None:
        (self._heard if kept else self._failed).labels(platform, kind).inc()
        self._took.labels(platform).observe(seconds)

    def text(self, watched: Watched | None) -> bytes:
        """All figures; those of the database are left out where it did not answer."""
        self._watched = watched
        return generate_latest(self._registry)

    def collect(self) -> Iterator[Metric]:
        """What is looked up when it is asked for."""
        events = CounterMetricFamily(
            "coldframe_log_events", "Events of the log, by name; errors by their level.", labels=("event", "level")
        )
        for (event, level), times in sorted(self._told().items()):
            events.add_metric((event, level), times)
        yield events
        if self._watched is not None:
            yield from _standing(self._watched)


def _standing(watched: Watched) -> Iterator[Metric]:
    outbox = GaugeMetricFamily("coldframe_outbox_sends", "Sends in the outbox, by state.", labels=("state",))
    for state, sends in sorted(watched.outbox.items()):
        outbox.add_metric((state,), sends)
    yield outbox
    yield GaugeMetricFamily(
        "coldframe_outbox_oldest_seconds", "For how long the oldest send that is to go out waits.", watched.oldest
    )
    yield GaugeMetricFamily("coldframe_due_late", "Due rows that are late by more than a minute.", watched.late)
    yield GaugeMetricFamily("coldframe_due_latest_seconds", "How late the latest due row is.", watched.latest)
    counted = CounterMetricFamily("coldframe_counted", "What the bot counts in its database.", labels=("what",))
    for what, times in sorted(watched.counted.items()):
        counted.add_metric((what,), times)
    yield counted


class Metered:
    """An intake whose work is counted. `steady`: seconds of a clock that nobody sets."""

    def __init__(self, intake: Intake, meter: Meter, platform: str, steady: Callable[[], float]) -> None:
        self._intake, self._meter, self._platform, self._steady = intake, meter, platform, steady

    async def receive(self, event: Inbound) -> Reply:
        begun, kept = self._steady(), False
        try:
            reply = await self._intake.receive(event)
            kept = True
            return reply
        finally:
            kind = type(event.what).__name__.lower()
            self._meter.took(self._platform, kind, self._steady() - begun, kept=kept)
