"""Keys of their own for what is given in confidence: what they are for, and where they are had and destroyed.

What is sealed under the secret and such a key opens no more once the key is destroyed: in no older copy of the database
either, not even with the secret. So they stand apart from what they seal, and no back-up may hold them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Protocol

from coldframe.domain.names import Step

KEY_ID = 8  # bytes


class Covers(StrEnum):
    """What a key covers of its subject. Each is destroyed as soon as that has been revealed, counted or ended."""

    NOTES = "notes"
    """Notes and drafts until the reveal, and what was said to their writers about them."""
    LATE = "late"
    """A note that came after the reveal, until its writer has settled it. Each has a key of its own."""
    HELD = "held"
    """Unsigned notes that wait for a later round, until the round is deleted."""
    DOTS = "dots"
    JOTTINGS = "jottings"
    """What people wrote down for themselves while they read, and began to write, until the plans' reveal."""
    PLANS = "plans"
    """Plans until their reveal."""
    AUTHORSHIP = "authorship"
    """Who wrote which plan, until the round ends."""
    BALLOT = "ballot"
    COMPARISONS = "comparisons"
    CHOICES = "choices"
    """Chances, fears, offers."""
    TRIAL = "trial"
    """What members said of a trial for themselves alone, until it is shown."""
    SCORED = "scored"
    """Each member's chance of a trial that is over."""
    SAID = "said"
    """What was said in private and has not gone out; a key for each month."""
    ROOM = "room"
    """What stands in direct messages of the room, from the end of one step to the end of the next."""
    PLACES = "places"
    """Names under which acts and private messages are known; it lasts as long as the database."""


@dataclass(frozen=True, slots=True)
class Use:
    """What a key is for: a round, a trial or a room by its id, and what of it. `which` tells several alike apart."""

    subject: str
    covers: Covers
    which: str = ""


@dataclass(frozen=True, slots=True)
class Key:
    """`id` says which it is and nothing else; it stands beside what the key seals."""

    id: bytes
    use: Use
    secret: bytes = field(repr=False)


OF_STEP: Mapping[str, Covers] = {
    Step.NOTES: Covers.NOTES, Step.DOTS: Covers.DOTS, Step.PLANS: Covers.PLANS, Step.BALLOT: Covers.BALLOT,
    Step.PLACEMENT: Covers.COMPARISONS, Step.COMMITMENT: Covers.CHOICES,
}  # fmt: skip
"""What is given in confidence in a step."""
NAMES = Use("", Covers.PLACES)


def said(now: datetime) -> Use:
    """The key of this month for what is said in private."""
    return Use("", Covers.SAID, f"{now:%Y-%m}")


_OF_ACTS = frozenset(
    {
        "say",
        "page",
        "late",
        "draft",
        "which",
        "meant",
        "misplaced",
        "handed",
        "alike",
        "author",
        "consent",
        "score",
        "sign",
        "form",
    }
)


def is_of_an_act(name: str) -> bool:
    """Whether a message of this name stands only where somebody did something, so that its place would tell of that."""
    owner, *rest = name.split("/")
    return owner in _OF_ACTS or owner.startswith("said-") or (rest[:1] != [] and rest[0] in _OF_ACTS)


class Keys(Protocol):
    """The place of keys."""

    async def of(self, use: Use) -> Key:
        """The key for this use, made if there is none: it is kept for good before anything is sealed with it."""
        ...

    async def find(self, ids: Collection[bytes]) -> None:
        """Has these keys at hand afterwards, unless they have been destroyed."""
        ...

    def at_hand(self, id: bytes) -> Key | None:
        """The key of this id, if this process knows it."""
        ...

    def look_again(self, subject: str) -> None:
        """Another process has changed what these keys are of, and may have destroyed some: none is taken for there that
        was not read since."""
        ...

    async def destroy(self, uses: Collection[Use]) -> None:
        """For good: nothing of them stays, neither here nor in the files."""
        ...

    async def destroy_all(self, subject: str) -> None:
        """The same for all keys of a subject that is no more."""
        ...
