"""The main scenario with as many people and notes as a round is made for, for how much each of them is told."""

from __future__ import annotations

from itertools import product

from coldframe.players.scenario import Note, Person, Scenario
from tests.demo.runs import scenario

PEOPLE, NOTES = 25, 120
FAVOURED = 9  # forces that get all dots
WHO = (
    "Conductors of small choirs", "Singers without a smartphone", "Choirs with several voices", "Newcomers on a Monday",
    "School choirs in the holidays", "Festival guests", "Substitute conductors", "Parents of young singers",
    "Treasurers who pay for all", "Soloists before a concert", "Choirs abroad", "People who sing by ear",
)  # fmt: skip
WHAT = (
    "wait too long for an answer to their first question", "do not find the button that starts a recording",
    "lose what they had practised when the connection breaks", "are asked for a password once too often",
    "cannot read the notes on a small screen", "never hear that a new song is there",
    "get the tempo of somebody else", "do not dare to invite the others",
)  # fmt: skip
ZONES = ("Europe/Berlin", "Europe/London", "America/New_York", "Asia/Kolkata")


def large(people: int = PEOPLE, notes: int = NOTES) -> Scenario:
    main = scenario("quillmarsh")
    more = [_person(number) for number in range(len(main.team), people)]
    team = [person.id for person in (*main.team, *more)]
    written = [*main.notes, *_notes(main, team, notes - len(main.notes))]
    keys = [note.key for note in written if note.key and note.lever == "Activation" and note.side == "restraining"]
    plans = [plan.key for plan in main.plans]
    dots = {person.id: [keys[(i * (n + 1)) % FAVOURED] for n in range(3)] for i, person in enumerate(more)}
    ballot = {person.id: [plans[i % len(plans)], plans[(i + 1) % len(plans)]] for i, person in enumerate(more)}
    return main.model_copy(
        update={
            "team": [*main.team, *more], "notes": written, "dots": {**main.dots, **dots},
            "ballot": {**main.ballot, **ballot},
        }
    )  # fmt: skip


def _person(number: int) -> Person:
    share = 0.3 + 0.02 * (number % 10)
    return Person(id=f"person-{number}", name=f"Person {number}", zone=ZONES[number % len(ZONES)], share=share)


def _notes(main: Scenario, team: list[str], many: int) -> list[Note]:
    """Half of them hold back the lever that is picked."""
    texts = [f"{who} {what}" for what, who in product(WHAT, WHO)][:many]
    others = [lever for lever in main.levers if lever != "Activation"]
    return [
        Note(
            by=team[number % len(team)],
            lever="Activation" if number % 2 else others[number % 4 // 2 % len(others)],
            side="driving" if number % 8 == 2 else "restraining",
            text=text,
            key=f"more-{number}",
        )
        for number, text in enumerate(texts)
    ]
