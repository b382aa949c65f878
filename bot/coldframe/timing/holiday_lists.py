"""Public holidays, by the holidays library, which is loaded only when a member names a country."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import cache, lru_cache

_NEAREST = 3
_CLOSE_TO_BEST = 12
_ALSO_CALLED = {
    "england": "GB",
    "scotland": "GB",
    "wales": "GB",
    "great britain": "GB",
    "america": "US",
    "holland": "NL",
}


@lru_cache(maxsize=2048)
def holidays_in(country: str, subdivision: str | None, year: int) -> Mapping[date, str]:
    """Days off of one year with their names; both codes must be known to the library."""
    import holidays

    found = holidays.country_holidays(country, subdiv=subdivision, years=year, language="en_US")
    return dict(found.items())


@cache
def _countries() -> frozenset[str]:
    from holidays.registry import COUNTRIES

    return frozenset(code for codes in COUNTRIES.values() for code in codes[1:] if len(code) == 2)


@cache
def subdivisions_of(country: object) -> tuple[str, ...] | None:
    """Codes of a country's subdivisions, () when it has none, None for an unknown country code."""
    import holidays

    # Asking for this one country; the library's own list of all loads the tables of the whole world.
    return tuple(getattr(holidays, country).subdivisions) if country in _countries() else None


def nearest_countries(text: object) -> tuple[str, ...]:
    """Up to three codes whose code or English name is like `text`, best first ("Germny": DE)."""
    from holidays.registry import COUNTRIES
    from rapidfuzz import fuzz, process

    known = _countries()
    names = {name.replace("_", " "): codes[1] for name, codes in COUNTRIES.items() if codes[1] in known} | _ALSO_CALLED
    codes = {code.casefold(): codes[1] for codes in COUNTRIES.values() for code in codes[1:3] if codes[1] in known}
    wanted = str(text)[:60].strip().casefold()
    hits = process.extract(wanted, names.keys(), scorer=fuzz.ratio, limit=_NEAREST, score_cutoff=75)
    hits += process.extract(wanted, codes.keys(), scorer=fuzz.ratio, limit=_NEAREST, score_cutoff=60)
    best = sorted(hits, key=lambda hit: -hit[1])
    near = [(names | codes)[hit[0]] for hit in best if hit[1] >= best[0][1] - _CLOSE_TO_BEST]
    return tuple(dict.fromkeys(near))[:_NEAREST]
