"""When a private message goes out: one rule, for all that is said to one person.

An answer to what somebody just did goes at once. What asks something of them goes at their next working moment, and
all that waits goes with it. News goes with the next ask, never alone. Who acts towards the bot gets what waits about
that, whatever the hour, and within their hours all of it. What is held in one sitting goes at once. What has been
overtaken while it waited is dropped with its message's life (`lives`), as what went out is ended.
Nothing reaches whoever is away, and news of that time is not kept for them: `people.returning` tells them all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from coldframe.engine.core import lives, members
from coldframe.ports.chat import Place
from coldframe.ports.held import Held, HeldSend
from coldframe.ports.storage import Member, Send, UnitOfWork
from coldframe.timing.calendars import NoWorkingTime
from coldframe.timing.reminders import next_nudge_time

NEWS_FOR = timedelta(days=7)
"""News with which nothing was asked until then is no news any more."""
BEHIND = timedelta(minutes=1)
"""What waited for somebody who was away comes so much after the word that tells them what was meanwhile."""
NEVER = timedelta(days=365)
"""For somebody who never works: until they act."""
AT_ONCE = timedelta(seconds=1)
"""By which something is over before it goes."""
_FILE = "/file"


@dataclass(frozen=True, slots=True)
class Here:
    """What a turn is about: whose act it answers, which rounds it read, which of them are held in one sitting, and who
    comes back to work with it."""

    now: datetime
    asker: Place | None
    touched: frozenset[str]
    live: frozenset[str]
    back: frozenset[Place] = frozenset()


async def in_their_hours(uow: UnitOfWork, here: Here, sends: Sequence[Send]) -> list[Send]:
    """The sends, each private one with the moment for which it waits; what waited already goes along where it may."""
    people = dict.fromkeys(s.place.root() for s in sends if _is_private(s))
    if here.asker is not None:
        people[here.asker] = None
    if not people:
        return list(sends)
    waits = await uow.held(list(people))
    records = await _records(uow, [p for p in people if p != here.asker or waits])
    rule = _Rule(here, records, waits, uow.waits_as)
    out = rule.over(sends)
    await rule.move(uow)
    return out


async def _records(uow: UnitOfWork, people: Collection[Place]) -> Mapping[Place, Member | None]:
    found: dict[Place, Member | None] = {}
    for tenant in dict.fromkeys(place.tenant for place in people):
        of_tenant = [place for place in people if place.tenant == tenant]
        records = await uow.members(tenant, [place.id for place in of_tenant])
        found |= {place: records.get(place.id) for place in of_tenant}
    return found


def at_work(record: Member | None, now: datetime) -> datetime:
    """The next moment at which this person works and is not away: now, or a later one."""
    away = record.away_until if record is not None else None
    try:
        return next_nudge_time(members.calendar_of(record), max(now, away) if away is not None else now)
    except NoWorkingTime:
        return now + NEVER


def _reaches(record: Member | None, now: datetime) -> datetime:
    """The same, and behind the word that comes first after an absence."""
    away = record is not None and record.away_until is not None and record.away_until > now
    return at_work(record, now) + (BEHIND if away else timedelta())


async def reckon_anew(uow: UnitOfWork, tenant: str, person: str, now: datetime) -> None:
    """This person's hours are others from now on."""
    place = Place(tenant, "direct", person)
    asks = [one for one in await uow.held([place]) if not one.held.news]
    if asks:
        await uow.hold_until(asks, _reaches(await uow.member(tenant, person), now))


@dataclass
class _Rule:
    """The rule over one turn's sends, in the order in which they were said."""

    here: Here
    records: Mapping[Place, Member | None]
    waits: Sequence[HeldSend]
    waits_as: Callable[[str], Sequence[str]]
    known: dict[str, Held | None] = field(default_factory=dict)
    """What holds for a message, for whatever changes it or hangs on it."""
    next_ask: dict[Place, datetime] = field(default_factory=dict)
    """When something is asked of a person, or answered: news goes along."""

    def __post_init__(self) -> None:
        for one in self.waits:
            self.known[one.name] = None if self._concerns(one) else one.held
            if not one.held.news:
                self._something_goes(one.place, self.here.now if self._concerns(one) else one.held.at)

    def over(self, sends: Sequence[Send]) -> list[Send]:
        for send in filter(_is_private, sends):
            person = send.place.root()
            if _never_goes(send, self.here.now):
                continue
            if send.kind == "post" and asks(send) and not self._is_known(send.name) and self._brings_more(person):
                self._something_goes(person, self._moment_of(send))
        return [self._held(send) if _is_private(send) else send for send in sends if not self._is_missed(send)]

    def _is_missed(self, send: Send) -> bool:
        """News for somebody who is away."""
        new = send.kind in ("post", "upload") and not self._is_known(_message(send.name))
        return _is_private(send) and new and not asks(send) and self._is_away(send.place.root())

    def _is_away(self, person: Place) -> bool:
        """What they do themselves in that time is answered."""
        record = self.records.get(person)
        away = record.away_until if record is not None and person != self.here.asker else None
        return away is not None and away > self.here.now

    def _brings_more(self, person: Place) -> bool:
        """An answer by night brings nothing but what it is about."""
        return person != self.here.asker or (person in self.records and self._works_now(person))

    def _works_now(self, person: Place) -> bool:
        return at_work(self.records.get(person), self.here.now) <= self.here.now

    def _something_goes(self, person: Place, at: datetime) -> None:
        self.next_ask[person] = min(at, self.next_ask.get(person, at))

    def _moment_of(self, send: Send) -> datetime:
        """When this may go, if it is no news; what was said not to go before some moment (`Turn.not_before`), then."""
        person, now = send.place.root(), self.here.now
        at_once = person == self.here.asker or self._in_one_sitting(send)
        earliest = max(now, send.held.at) if send.held is not None else now
        return now if at_once else _reaches(self.records.get(person), earliest)

    def _held(self, send: Send) -> Send:
        message = _message(send.name)
        followed = (send.thread_of, message if send.kind != "post" else None)
        for about in filter(None, followed):
            if known := self._known_as(about):
                return replace(send, held=self.known[known])
        if send.kind not in ("post", "upload"):
            return send
        self.known[message] = held = self._for_new(send)
        return replace(send, held=held)

    def _known_as(self, name: str) -> str | None:
        """What waits may do so under a hidden name."""
        return next((form for form in (name, *self.waits_as(name)) if form in self.known), None)

    def _is_known(self, name: str) -> bool:
        return self._known_as(name) is not None

    def _for_new(self, send: Send) -> Held | None:
        person, now = send.place.root(), self.here.now
        news = not asks(send) and person != self.here.asker and not self._in_one_sitting(send)
        at = self.next_ask.get(person) if news else self._moment_of(send)
        if at is None:
            return Held(now + NEWS_FOR, news=True)
        return Held(at) if at > now else None

    def _in_one_sitting(self, send: Send) -> bool:
        """A trial of that round goes on for weeks."""
        sitting = send.round_id in self.here.live and not self._is_away(send.place.root())
        return sitting and not lives.named(send.name).owner.startswith(f"{send.round_id}-")

    def _concerns(self, one: HeldSend) -> bool:
        """Whether it goes now because this person acts: what the act is about, and within their hours all."""
        if one.place != self.here.asker:
            return False
        return one.round_id is None or one.round_id in self.here.touched or self._works_now(one.place)

    async def move(self, uow: UnitOfWork) -> None:
        """What waited goes with the act that it concerns, or with what goes to the same person earlier."""
        moments = {one.id: self._moves_to(one) for one in self.waits}
        now = self.here.now
        if due := [one for one in self.waits if moments[one.id] <= now and (one.held.news or one.held.at > now)]:
            await uow.release(due, now)
        for at in {m for m in moments.values() if m > now}:
            if later := [one for one in self.waits if moments[one.id] == at and self._is_moved(one, at)]:
                await uow.hold_until(later, at)

    def _is_moved(self, one: HeldSend, at: datetime) -> bool:
        return one.held.news or one.held.at > at or one.place in self.here.back

    def _moves_to(self, one: HeldSend) -> datetime:
        """Behind the first word to whoever comes back."""
        now = self.here.now
        at = now if self._concerns(one) else min(one.held.at, self.next_ask.get(one.place, one.held.at))
        return max(at, now + BEHIND) if one.place in self.here.back else at


def _is_private(send: Send) -> bool:
    return send.place.kind == "direct" and send.kind != "home" and not send.beside


def _never_goes(send: Send, now: datetime) -> bool:
    """It only waits, as what is told somebody else does (`Turn.among`)."""
    return send.until is not None and send.until < now


def asks(send: Send) -> bool:
    """Whether it asks something of whoever gets it, or tells them what they should know: there is something to press,
    it has a name of its own, or it was said to be so. All else is a passing word."""
    if send.ask or (send.message is not None and lives.offers(send.message)):
        return True
    name = lives.named(send.name)
    return name.what != lives.SAID and bool(name.what) and name.owner != lives.PEOPLE


def _message(name: str) -> str:
    """Of a file that goes along: the name of its message."""
    base, found, number = name.rpartition(_FILE)
    return base if found and number.isdigit() else name
