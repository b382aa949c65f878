"""How fast Slack lets itself be called: per method, and for posts per channel; what it asks to wait is
kept.

Tiers from Slack's page on rate limits: calls per minute, per method, workspace and app. Bursts are
tolerated there without a figure; a part of a minute's calls at once is our caution.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from bot.ports import Clock, SlowDown

LONGEST_WAIT = 3.0
"""Seconds that a call waits for its turn by itself; a longer wait is the sender's to plan."""


@dataclass(frozen=True, slots=True)
class Rate:
    """At most one call per `every` seconds in the long run, `burst` at once."""

    every: float
    burst: int


TIER_2 = Rate(60 / 20, 5)
TIER_3 = Rate(60 / 50, 12)
TIER_4 = Rate(60 / 100, 50)
PER_CHANNEL = Rate(1.0, 3)

RATES: Mapping[str, Rate] = {
    "chat.postMessage": PER_CHANNEL,
    "files.completeUploadExternal": PER_CHANNEL,
    "files.getUploadURLExternal": TIER_4,
    "files.delete": TIER_3,
    "chat.update": TIER_3,
    "chat.delete": TIER_3,
    "chat.postEphemeral": TIER_4,
    "conversations.open": TIER_3,
    "conversations.history": TIER_3,
    "conversations.replies": TIER_3,
    "conversations.members": TIER_4,
    "conversations.info": TIER_3,
    "reactions.add": TIER_3,
    "reactions.get": TIER_3,
    "users.info": TIER_4,
    "users.list": TIER_2,
    "views.publish": TIER_4,
}
BY_CHANNEL = frozenset({"chat.postMessage", "files.completeUploadExternal"})

Key = tuple[str, str, str]


class Pace:
    """Turns for calls. `views.open` takes none: what opens a form lives for three seconds."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._free_at: dict[Key, datetime] = {}
        self._held_until: dict[Key, datetime] = {}

    async def turn(self, tenant: str, method: str, channel: str = "") -> None:
        """Waits for a turn; raises SlowDown, and takes none, where that would be too long."""
        key = _key(tenant, method, channel)
        wait = self._wait(key, RATES.get(method))
        if wait > LONGEST_WAIT:
            raise SlowDown(wait)
        if wait > 0:
            await self._clock.sleep(wait)

    def hold(self, tenant: str, method: str, channel: str, seconds: float) -> None:
        """Slack asked to wait: nothing of the kind is sent before."""
        self._held_until[_key(tenant, method, channel)] = self._clock.now() + timedelta(seconds=seconds)

    def _wait(self, key: Key, rate: Rate | None) -> float:
        now = self._clock.now()
        held = (self._held_until.get(key, now) - now).total_seconds()
        if rate is None or held > LONGEST_WAIT:
            return held
        free = max(self._free_at.get(key, now), now)
        wait = max((free - now).total_seconds() - rate.every * (rate.burst - 1), held, 0.0)
        if wait <= LONGEST_WAIT:
            self._free_at[key] = free + timedelta(seconds=rate.every)
            self._forget(now)
        return wait

    def _forget(self, now: datetime) -> None:
        if len(self._free_at) > 10_000:
            self._free_at = {key: at for key, at in self._free_at.items() if at > now}
            self._held_until = {key: at for key, at in self._held_until.items() if at > now}


def _key(tenant: str, method: str, channel: str) -> Key:
    return tenant, method, channel if method in BY_CHANNEL else ""
