"""What a round asks of Slack: calls by method, for each person and step, and in the busiest minute."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

FREE = frozenset({"auth.test", "apps.connections.open", "bots.info"})
"""Calls of a start and of connections."""
MOST: Mapping[str, int] = {
    "chat.postMessage": 255, "chat.update": 350, "chat.delete": 140, "conversations.members": 165, "users.list": 120,
    "conversations.replies": 90, "conversations.history": 30, "views.open": 50, "users.info": 5, "reactions.get": 0,
    "files.getUploadURLExternal": 22, "files.completeUploadExternal": 22, "files.delete": 12,
    "conversations.open": 8, "conversations.info": 4, "chat.postEphemeral": 8, "chat.getPermalink": 8, "pins.add": 1,
    "pins.list": 1,
}  # fmt: skip
"""In the scenario's round of eight people: what there is today with a little room. None may rise."""
MOST_TO_ONE = 28
"""Posts, edits and deletions in one person's direct messages in one step; most are votes given and taken."""
TIERS: Mapping[str, int] = {
    "chat.update": 50, "chat.delete": 50, "conversations.members": 100, "conversations.replies": 50,
    "conversations.history": 50, "users.list": 20, "users.info": 100, "views.open": 100, "conversations.open": 50,
    "files.getUploadURLExternal": 100,
    "pins.add": 20, "pins.list": 20, "pins.remove": 20, "reactions.get": 50, "reactions.add": 50,
}  # fmt: skip
"""Calls a minute that Slack's page on rate limits allows each method at the least."""


@dataclass
class Costs:
    """Filled while a round is played."""

    by_method: Counter[str] = field(default_factory=Counter)
    to_one: Counter[tuple[str, str]] = field(default_factory=Counter)
    by_minute: Counter[tuple[datetime, str]] = field(default_factory=Counter)
    _seen: int = 0

    def note(self, calls: Sequence[tuple[str, Mapping[str, Any]]], step: str, at: datetime) -> None:
        """What was called since the last look."""
        minute = at.replace(second=0, microsecond=0)
        for method, arguments in calls[self._seen :]:
            if method in FREE:
                continue
            self.by_method[method] += 1
            self.by_minute[minute, method] += 1
            channel = str(arguments.get("channel") or "")
            if method.startswith("chat.") and channel.startswith("D"):
                self.to_one[step, channel] += 1
        self._seen = len(calls)

    def risen(self) -> dict[str, int]:
        """What is more than it was: methods, and people in a step."""
        methods = {m: n for m, n in self.by_method.items() if n > MOST.get(m, 0)}
        people = {f"{step} to {who}": n for (step, who), n in self.to_one.items() if n > MOST_TO_ONE}
        return methods | people

    def busiest(self) -> tuple[datetime, int]:
        """The minute with the most calls, and how many those were."""
        minutes: Counter[datetime] = Counter()
        for (minute, _), number in self.by_minute.items():
            minutes[minute] += number
        return minutes.most_common(1)[0]

    def table(self) -> str:
        """By method: in all, in its own busiest minute, and how many a minute Slack allows."""
        rows = [f"{'method':32}{'calls':>7}{'busiest minute':>16}{'allowed':>9}"]
        for method, number in self.by_method.most_common():
            peak = max(n for (_, m), n in self.by_minute.items() if m == method)
            rows.append(f"{method:32}{number:7}{peak:16}{TIERS.get(method, ''):>9}")
        minute, number = self.busiest()
        rows.append(f"{'all':32}{sum(self.by_method.values()):7}{number:16}   at {minute:%a %H:%M} UTC")
        return "\n".join(rows)

    def people(self) -> str:
        """Posts, edits and deletions to one person, by step: the most, and the mean."""
        steps: dict[str, list[int]] = {}
        for (step, _), number in self.to_one.items():
            steps.setdefault(step, []).append(number)
        rows = [f"{step:14}{max(found):5} most{sum(found) / len(found):7.1f} mean" for step, found in steps.items()]
        return "\n".join(rows)
