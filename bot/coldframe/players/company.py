"""Who acts, in which room, and when."""

from __future__ import annotations

from datetime import datetime, timedelta

from coldframe.chat.room.service import Room
from coldframe.domain.names import Step
from coldframe.domain.round.rules import RULES
from coldframe.players.hand import Hand, Screen
from coldframe.players.scenario import Person, Scenario, calendar_of
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.windows import add_working_hours


class Company:
    """The people and the room; who holds which role, and when each comes to something."""

    def __init__(self, scenario: Scenario, room: Room, *, only: frozenset[str] | None = None) -> None:
        self.scenario = scenario
        self.room = room
        self.people = {p.id: p for p in scenario.team if only is None or p.id in only}
        self.screen = Screen(room)
        self.hands = {p: Hand(room, p, self.screen) for p in self.people}
        self.handed_over: set[str] = set()
        self.calendars: dict[str, WorkingCalendar] = {p.id: calendar_of(p) for p in scenario.team}

    # --- when ---

    def at(self, person: Person, since: datetime, step: Step, part: float) -> datetime:
        """The moment at which this person has used `part` of what they need of the step's window."""
        amount = self.scenario.lengths.get(step.value)
        if self.scenario.pace == "live":
            minutes = (amount if amount is not None else RULES[step].minutes) * person.share * part
            return since + timedelta(minutes=minutes)
        hours = (amount if amount is not None else RULES[step].hours) * person.share * part
        return add_working_hours(self.calendars[person.id], since, hours)

    def hand(self, person: Person) -> Hand:
        return self.hands[person.id]

    def is_(self, person: Person, role: str) -> bool:
        """Whether the person holds the role now: its holder, or the deputy since the channel was told so."""
        if role in self.handed_over:
            deputy = "decision_deputy" if role == "decision_maker" else "facilitator_deputy"
            return bool(getattr(self.scenario.roles, deputy) == person.id)
        return bool(getattr(self.scenario.roles, role) == person.id)

    def owns(self, person: Person, plan: str) -> bool:
        """Whether the scenario makes this person the owner of the plan's trial at its review."""
        trial = next((t for t in self.scenario.trials if t.plan == plan), None)
        if trial is not None and (trial.hand_over_to or trial.starts_late):
            return person.id == (trial.hand_over_to or trial.starts_late)
        owners = self.scenario.commitment.owners if self.scenario.commitment else []
        asked = next((o for o in owners if o.plan == plan), None)
        return asked is not None and person.id == next((w for w in asked.asked if w not in asked.declines), None)

    def note_text(self, key: str) -> str:
        return next(n.text for n in self.scenario.notes if n.key == key)

    def plan_title(self, key: str) -> str:
        return next(p.title for p in self.scenario.plans if p.key == key)
