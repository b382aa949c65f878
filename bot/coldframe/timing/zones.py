"""Time zones from the pinned tzdata package, wall-clock times as instants, and aware instants only."""

from __future__ import annotations

import re
import zoneinfo
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo

from coldframe.errors import WRONG, ColdframeError

_OFFSET = re.compile(r"(utc|gmt|z)?\s*[+-]?\d{1,2}(:?\d{2})?", re.IGNORECASE | re.ASCII)
_NEAREST = 3
_CLOSE_TO_BEST = 12


class UnknownZone(ColdframeError, ValueError):
    """No zone of this name; `name` is what was given, `nearest` up to three names that exist."""

    status = WRONG

    def __init__(self, name: object, nearest: tuple[str, ...]) -> None:
        self.name = name
        self.nearest = nearest
        hint = "Did you mean " + " or ".join(nearest) + "?" if nearest else "Write a place, as in Europe/London."
        super().__init__(f"No time zone is called {str(name)[:60]!r}. {hint}")


class NaiveMoment(ColdframeError, ValueError):
    """A datetime without a zone was given where an instant is needed."""


@dataclass(frozen=True, slots=True)
class ZoneChoice:
    """The zone to reckon with; `doubted` is the name that was reported and could not be used, else None."""

    zone: ZoneInfo
    doubted: str | None = None
    nearest: tuple[str, ...] = ()


def pin_zone_data() -> str:
    """Read zones from the tzdata package alone, whatever the operating system has; return its version
    ("2026f").

    To be called once at start, before any zone is used: two machines would else reckon with two databases.
    """
    zoneinfo.reset_tzpath(to=())
    ZoneInfo.clear_cache()
    _zone.cache_clear()
    return zone_data()


def zone_data() -> str:
    """The version of the zone database, a year and letters in order of release: "2026f"."""
    import tzdata

    return str(tzdata.IANA_VERSION)


def release_number(version: str) -> int:
    """The version as a number that grows with every release: 202606 for "2026f". ValueError for another form."""
    found = re.fullmatch(r"(\d{4})([a-z])", version)
    if found is None:
        raise ValueError(f"{version!r} is no release of the zone database; one is called like 2026f.")
    return int(found[1]) * 100 + ord(found[2]) - ord("a") + 1


@cache
def zone_names() -> tuple[str, ...]:
    """Every name in the tzdata package, links included, sorted."""
    listed = resources.files("tzdata").joinpath("zones").read_text(encoding="ascii")
    return tuple(sorted(listed.split()))


@cache
def _by_folded_name() -> dict[str, str]:
    return {_fold(name): name for name in zone_names()}


def _fold(name: str) -> str:
    return name.strip().replace(" ", "_").casefold()


def known_zone(name: object) -> ZoneInfo:
    """The zone of this name, whatever its case ("europe/london"); UnknownZone with the nearest names
    otherwise."""
    return _zone(name) if isinstance(name, str) else _refuse(name)


@cache
def _zone(name: str) -> ZoneInfo:
    found = _by_folded_name().get(_fold(name)) if len(name) <= 80 else None
    return ZoneInfo(found) if found else _refuse(name)


def _refuse(name: object) -> ZoneInfo:
    raise UnknownZone(name, nearest_zones(name) if isinstance(name, str) else ())


def nearest_zones(text: str) -> tuple[str, ...]:
    """Up to three zone names like `text`, by the whole name or its last part ("london"); none for bare
    offsets."""
    from rapidfuzz import fuzz, process

    wanted = _fold(text[:80])
    if not wanted or _OFFSET.fullmatch(wanted):
        return ()
    by_name = process.extract(wanted, _by_folded_name().keys(), scorer=fuzz.ratio, limit=_NEAREST, score_cutoff=75)
    cities = {folded: folded.rpartition("/")[2] for folded in _by_folded_name()}
    by_city = process.extract(wanted.rpartition("/")[2], cities, scorer=fuzz.ratio, limit=_NEAREST, score_cutoff=80)
    scores: dict[str, float] = {}
    for folded, score in [(hit[0], hit[1]) for hit in by_name] + [(hit[2], hit[1]) for hit in by_city]:
        scores[folded] = max(score, scores.get(folded, 0.0))
    best = sorted(scores, key=lambda folded: (-scores[folded], folded))[:_NEAREST]
    near = [folded for folded in best if scores[folded] >= scores[best[0]] - _CLOSE_TO_BEST]
    return tuple(_by_folded_name()[folded] for folded in near)


def zone_from_platform(reported: str | None) -> ZoneChoice:
    """The zone that a chat service reports; UTC, with the doubted name to warn the person, when it is not
    known."""
    try:
        return ZoneChoice(known_zone(reported))
    except UnknownZone as unknown:
        return ZoneChoice(known_zone("UTC"), doubted=reported or "", nearest=unknown.nearest)


def in_utc(moment: datetime, field: str = "moment") -> datetime:
    """The same instant in UTC; NaiveMoment when `moment` has no zone."""
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise NaiveMoment(f"{field} {moment.isoformat()} has no time zone; give an aware datetime, best in UTC.")
    return moment.astimezone(UTC)


def instant(day: date, wall: time, zone: ZoneInfo) -> datetime:
    """The UTC instant of a wall-clock time: a missing time moves forward by the gap, a doubled one is the
    first."""
    return datetime.combine(day, wall.replace(fold=0), tzinfo=zone).astimezone(UTC)


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """First instant of a local day and of the next; equal for a day that the zone left out (Apia,
    2011-12-30)."""
    return instant(day, time(0), zone), instant(day + timedelta(days=1), time(0), zone)


def local(moment: datetime, zone: ZoneInfo) -> datetime:
    """The instant as the wall clock of the zone shows it."""
    return in_utc(moment).astimezone(zone)
