"""How fast Slack lets itself be called: per method, and for posts per channel; what it asks to wait is
kept.

Tiers from Slack's page on rate limits: calls per minute, per method, workspace and app. Bursts are
tolerated there without a figure; a part of a minute's calls at once is our caution.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from coldframe import logs
from coldframe.ports.chat import Clock, SlowDown

MAX_WAIT = 3.0
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
PER_WORKSPACE = Rate(60 / 300, 30)
"""Posts of all channels together. Slack's page speaks of several hundred a minute and workspace without a figure (from
memory, not read again); 300 keeps below that.
"""

RATES: Mapping[str, Rate] = {
    "chat.postMessage": PER_CHANNEL,
    "files.completeUploadExternal": PER_CHANNEL,
    "files.getUploadURLExternal": TIER_4,
    "files.delete": TIER_3,
    "chat.update": TIER_3,
    "chat.delete": TIER_3,
    "chat.getPermalink": TIER_4,  # "special": many a minute, without a figure
    "chat.postEphemeral": TIER_4,
    "conversations.open": TIER_3,
    "conversations.history": TIER_3,
    "conversations.replies": TIER_3,
    "conversations.members": TIER_4,
    "conversations.info": TIER_3,
    "pins.add": TIER_2,
    "pins.list": TIER_2,
    "pins.remove": TIER_2,
    "reactions.add": TIER_3,
    "reactions.get": TIER_3,
    "users.info": TIER_4,
    "users.list": TIER_2,
    "views.publish": TIER_4,
    "views.update": TIER_4,
}
POSTS = "posts"
BY_CHANNEL = frozenset({"chat.postMessage", "files.completeUploadExternal"})

Key = tuple[str, str, str]


class Pace:
    """Turns for calls. `views.open` takes none: what opens a form lives for three seconds."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._free_at: dict[Key, datetime] = {}
        self._held_until: dict[Key, datetime] = {}
        self._seen = clock.now()

    async def turn(self, tenant: str, method: str, channel: str = "") -> None:
        """Waits for a turn; raises SlowDown, and takes none, where that would be too long."""
        lanes = {_key(tenant, method, channel): RATES.get(method)}
        if method in BY_CHANNEL:
            lanes[tenant, POSTS, ""] = PER_WORKSPACE
        now = self._now()
        wait = max(self._wait(key, rate, now) for key, rate in lanes.items())
        if wait > MAX_WAIT:
            logs.note("slack.wait_too_long")
            raise SlowDown(wait)
        for key, rate in lanes.items():
            self._take(key, rate, now)
        if wait > 0:
            logs.note("slack.waited")
            await self._clock.sleep(wait)

    def _now(self) -> datetime:
        """Where the clock was set back, what was reckoned by it would hold everything up for as long."""
        now = self._clock.now()
        if now < self._seen:
            self._free_at.clear()
            self._held_until.clear()
        self._seen = now
        return now

    def hold(self, tenant: str, method: str, channel: str, seconds: float) -> None:
        """Slack asked to wait: nothing of the kind is sent before."""
        logs.note("slack.asked_to_wait")
        self._held_until[_key(tenant, method, channel)] = self._now() + timedelta(seconds=seconds)

    def _wait(self, key: Key, rate: Rate | None, now: datetime) -> float:
        held = (self._held_until.get(key, now) - now).total_seconds()
        if rate is None:
            return held
        free = max(self._free_at.get(key, now), now)
        return max((free - now).total_seconds() - rate.every * (rate.burst - 1), held, 0.0)

    def _take(self, key: Key, rate: Rate | None, now: datetime) -> None:
        if rate is not None:
            self._free_at[key] = max(self._free_at.get(key, now), now) + timedelta(seconds=rate.every)
            self._forget(now)

    def _forget(self, now: datetime) -> None:
        if len(self._free_at) > 10_000:
            self._free_at = {key: at for key, at in self._free_at.items() if at > now}
            self._held_until = {key: at for key, at in self._held_until.items() if at > now}


def _key(tenant: str, method: str, channel: str) -> Key:
    return tenant, method, channel if method in BY_CHANNEL else ""
