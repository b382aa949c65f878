"""Everything that is kept, field by field, and what becomes of it for a person who asks: the one list of what leads to
somebody, what `forget` does about it, and under which name `export` shows it to them.

The store deletes by it (`store.forgetting`), the file is explained along it (`speech.people.held_words`), and
tests/house/test_holdings.py holds it against all tables and documents: what is new stands here, or fails there.
Fields are named `table.column`, `Document.field`, or by their file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Then(StrEnum):
    """What `forget` does."""

    ROW_GOES = "the row is deleted"
    PACKED_ROW_GOES = "the row is deleted when the person is a part of it"
    PACKED_ALIAS = "the person's part of it becomes an alias"
    EMPTIED = "emptied"
    GOES = "deleted"
    UNREAD = "deleted while nobody has read it; afterwards it stays, and says nobody's name"
    ALIAS = "the person becomes an alias that leads nowhere"
    WITH = "changes with what is in it"
    STAYS = "stays"
    NOBODYS = "leads to nobody"


@dataclass(frozen=True, slots=True)
class Held:
    """`shown`: where it stands in the file that `export` makes; "" where it is shown with something else, or leads to
    nobody. `why` says what is not plain from the rest."""

    then: Then
    shown: str = ""
    why: str = ""


def _each(names: str, held: Held) -> dict[str, Held]:
    return dict.fromkeys(names.split(), held)


def _all(held: Held, names: str) -> dict[str, Held]:
    return dict.fromkeys(names.split(), held)


def _of(name: str, nobodys: str = "", /, **held: Held) -> dict[str, Held]:
    """A table's columns or a document's fields, those first that lead to nobody."""
    fields = {**_each(nobodys, Held(Then.NOBODYS)), **held}
    return {f"{name}.{field.rstrip('_')}": each for field, each in fields.items()}


_ALIAS, _WITH = Held(Then.ALIAS), Held(Then.WITH)
_TEAMS_WORDS = Held(Then.STAYS, why="the team has read it; it says nobody's name unless somebody typed one")
_REASON = Held(Then.GOES, why="the week's numbers stay")
_NUMBERS = Held(Then.STAYS, why="a number of all, counted or agreed by the team")


def _role(name: str) -> Held:
    return Held(Then.ALIAS, name)


# --- tables -----------------------------------------------------------------------------------------------------------

TABLES: Mapping[str, Held] = {
    **_of("rounds", "id tenant channel step version created_at changed_at", name=_TEAMS_WORDS, doc=_WITH),
    **_of("seats", "round_id tenant", member=Held(Then.ROW_GOES, "rounds")),
    **_of(
        "sealed",
        "round_id kind",
        item=Held(Then.WITH, why="comparisons stand under their judge, who becomes an alias"),
        body=_WITH,
    ),
    **_of(
        "votes",
        "round_id ballot slot quota counts",
        voter=Held(Then.WITH, "dots", "a keyed hash; a counted vote stands under the alias's, for a week"),
        body=Held(Then.WITH, "votes"),
    ),
    **_of("facts", "id round_id at", record=Held(Then.ALIAS, why="what happened, by name and id, without any text")),
    **_of("inbox", "at", key=Held(Then.PACKED_ROW_GOES, why="tells a repeated delivery, by a hash; 30 days")),
    **_of(
        "outbox",
        "id key kind round_id only_in state tries first_try try_at owner lease_until why_parked told_at",
        conversation=Held(Then.ROW_GOES, "messages waiting", "what was to be said to them"),
        name=Held(Then.PACKED_ALIAS, why="of a message to somebody else that is about them"),
        body=Held(Then.ALIAS, why="a message to others that waits and names them says somebody who left"),
    ),
    **_of(
        "posts",
        "tenant kind thread message_id round_id open",
        place=Held(Then.ROW_GOES, "messages sent", "their direct messages, which are taken back first"),
        name=Held(Then.PACKED_ALIAS, why="of a message to somebody else that is about them"),
        body=Held(Then.GOES, why="with the row; name and place of what tells of an act of theirs"),
    ),
    **_of(
        "due",
        "id kind at state owner lease_until tries problem",
        subject=Held(Then.PACKED_ROW_GOES, "reminders to come"),
        occurrence=Held(Then.PACKED_ROW_GOES),
    ),
    **_of(
        "members",
        "tenant",
        id=Held(Then.ROW_GOES, "record"),
        name=Held(Then.GOES, why="with the row"),
        doc=Held(Then.GOES, why="with the row"),
    ),
    **_of("nudges", "tenant at", member=Held(Then.ROW_GOES, "reminded")),
    **_of("counters", "name value"),
    **_of("trial_places", "tenant team place trial_id ends review", owner=Held(Then.EMPTIED, "trials")),
    **_of(
        "trials",
        "id tenant team step version created_at changed_at",
        owner=Held(Then.ALIAS, "trials"),
        doc=_WITH,
        private=_WITH,
    ),
    **_of("trial_facts", "id trial_id at", record=Held(Then.ALIAS)),
    **_of(
        "register",
        "id trial_id tenant team lever verdict at",
        owner=Held(Then.ALIAS, "trials", "that somebody owned it is no learning: the register says somebody who left"),
        words=_TEAMS_WORDS,
        folded=_TEAMS_WORDS,
        doc=_WITH,
    ),
    **_of("teams", "tenant team", doc=_WITH),
    **_of("safeguards", "name body at"),
}
"""Those of the store; an owner of outbox and due rows is the process that holds the row."""

SLACK: Mapping[str, Held] = {
    "slack_installations.user_id": Held(
        Then.STAYS, why="who installed the app, kept by Slack's own library beside the token; gone when it is removed"
    ),
}
"""Kept by Slack's library where several workspaces use one bot."""

_ACCOUNT = Held(Then.STAYS, why="an account of the room, as any chat service has; whoever runs the room ends it")
_CHAT = Held(Then.STAYS, why="what was said in a channel is everybody's chat; who wrote it can delete it there")
_THEIR_CHAT = Held(Then.GOES, why="all of their direct messages with the bot is emptied, on both sides")
ROOM: Mapping[str, Held] = {
    **_of("life", "name chapter revision messages files unclean lost"),
    **_of("people", "is_bot is_guest is_foreign is_gone", id=_ACCOUNT, name=_ACCOUNT, zone=_ACCOUNT, home=_THEIR_CHAT),
    **_of("channels", "id name"),
    **_of("members", "channel", person=_ACCOUNT),
    **_of(
        "messages",
        "seq kind thread at revision mentioned edited gone key",
        root=Held(Then.STAYS, why="that there was a message, without its words"),
        author=Held(Then.STAYS, why="that there was a message, without its words"),
        body=_THEIR_CHAT,
        card=_THEIR_CHAT,
    ),
    **_of("reactions", "message emoji", person=_CHAT),
    **_of("directs", "cleared", person=_ACCOUNT, marks=_THEIR_CHAT),
    **_of("files", "seq message name media_type title alternative", content=_THEIR_CHAT, about=_THEIR_CHAT),
    **_of("notes", "seq kind root thread at", person=_THEIR_CHAT, card=_THEIR_CHAT),
    **_of("forms", "action value kind root thread act", person=_THEIR_CHAT, form=_THEIR_CHAT),
    **_of(
        "acts",
        "seq key person kind root thread at sort done",
        body=Held(Then.GOES, why="as soon as the act is taken"),
    ),
    **_of("passes", digest=_ACCOUNT, person=_ACCOUNT),
    **_of("reads", "kind seq", person=_ACCOUNT, root=_ACCOUNT),
}
"""Those of the room's own file: it is the chat service, and people are its users."""

FILES: Mapping[str, Held] = {
    "pictures, reports and calendar files": Held(
        Then.NOBODYS, why="made when they are posted and handed to the chat; the bot keeps none, and they name nobody"
    ),
    "what `export` made": Held(Then.GOES, why="posted into their direct messages alone, and taken back with those"),
    "calendar feeds": Held(Then.GOES, why="made when they are asked for; without the record the address is nothing"),
    "logs": Held(Then.NOBODYS, why="ids of rounds and kinds of events, never a person, never a text"),
    "write-ahead log and free pages": Held(Then.GOES, why="overwritten when rows go, and emptied after `forget`"),
    "back-ups": Held(Then.STAYS, why="older copies are the operator's: README says how long to keep them"),
}
"""Outside of the tables."""

# --- documents --------------------------------------------------------------------------------------------------------

_OF_A_ROUND: Mapping[str, Held] = {
    **_of(
        "Round",
        "id tenant channel seed step passed paused rests_since open_roles dates_told dates_told_times revealed "
        "writers focus forces plan_order to_place next_round overlap_accepted",
        name=_TEAMS_WORDS,
        settings=_TEAMS_WORDS,
        seats=Held(Then.ALIAS, "seat", "how many took part stays, the name does not"),
        roles=_WITH,
        progress=_WITH,
        held=Held(Then.GOES, "decided and not announced yet", "nobody has heard of it"),
        role_offers=Held(Then.ALIAS, "roles offered"),
        notes=Held(Then.UNREAD, "notes", "revealed ones carry no author, so nobody can find theirs any more"),
        late_notes=Held(Then.UNREAD, "late notes"),
        drafts=Held(Then.GOES, "texts without a place yet"),
        focus_reason=_TEAMS_WORDS,
        proposals=_WITH,
        dots=Held(Then.WITH, "dots", "uncounted ones go; counted ones are an alias's, and are erased after a week"),
        forces_standing=_NUMBERS,
        counted=_NUMBERS,
        questions=_TEAMS_WORDS,
        suggestions=Held(Then.ALIAS, "suggested questions", "said in the open, in a thread"),
        precedents=Held(Then.UNREAD, "precedents", "posted when they are given"),
        jottings=Held(Then.GOES, "jotted down", "for themselves alone; gone at the reveal of the plans"),
        plans=Held(Then.UNREAD, "plans"),
        ballot=Held(Then.WITH, "votes", "as the dots"),
        plans_standing=_NUMBERS,
        weighted_voter=_role("weighted votes"),
        crowd=_role("counted on to compare"),
        comparisons=Held(Then.WITH, "comparisons", "as the dots: deleted while the places are open"),
        choices=_WITH,
        beside=_TEAMS_WORDS,
        alongside=_TEAMS_WORDS,
        ended_because=_TEAMS_WORDS,
    ),
    **_of(
        "Settings",
        "pace lengths reading dots plan_votes weight weight_confirmed carry_on trials_at_once placed_by",
        question=_TEAMS_WORDS,
        levers=_TEAMS_WORDS,
        meanings=_TEAMS_WORDS,
    ),
    **_of("Seat", "away left joined_in held", member=_ALIAS, name=Held(Then.GOES, why="somebody who left")),
    **_of(
        "Roles",
        "handed_over",
        facilitator=_role("roles"),
        decision_maker=_role("roles"),
        facilitator_deputy=_role("roles"),
        decision_deputy=_role("roles"),
    ),
    **_of(
        "Progress",
        "opens due extensions extended settles_at asks_consent stuck nothing told",
        personal=_role("deadline"),
        parts=_role("deadline"),
        done=_role("done with the step"),
    ),
    **_of("Held", "what at lever", by=Held(Then.GOES), reason=Held(Then.GOES)),
    **_of("RoleOffer", "role until", to=_ALIAS, by=_ALIAS),
    **_of(
        "Note",
        "id lever side hidden",
        text=Held(Then.UNREAD),
        author=Held(Then.GOES, why="with the note; none after the reveal"),
        agreed=Held(Then.GOES, why="with the note"),
        origin=Held(Then.GOES, why="with the note; none after the reveal"),
    ),
    **_of("Draft", "id", author=Held(Then.GOES), text=Held(Then.GOES), origin=Held(Then.GOES)),
    **_of("MergeProposal", "first second score answer", why=_TEAMS_WORDS, proposed_by=_role("duplicates proposed")),
    **_of("Likeness", "kind words"),
    **_of("Force", "id notes"),
    **_of("Ledger", "quota", marks=Held(Then.WITH), locked=_role("ballots locked")),
    **_of("Mark", "option sign"),
    **_of("Standing", "option place group decision_maker weighted voters carried drawn"),
    **_of("Question", "id force", text=_TEAMS_WORDS),
    **_of("Suggestion", by=_ALIAS, text=_TEAMS_WORDS),
    **_of(
        "Precedent",
        "id question outside_trade",
        by=_ALIAS,
        **_all(Held(Then.UNREAD), "title idea details source"),
    ),
    **_of(
        "Plan",
        "id question weeks caution borrows",
        author=Held(Then.GOES, why="also of a plan that stays"),
        title=Held(Then.UNREAD),
        hypothesis=Held(Then.UNREAD),
        steps=Held(Then.UNREAD),
        criterion=Held(Then.UNREAD),
        checked_by=_TEAMS_WORDS,
        might_fail=Held(Then.GOES, why="for its author alone"),
        chance=Held(Then.GOES, why="for its author alone"),
    ),
    **_of(
        "Criterion",
        "kind upwards baseline baseline_weeks target weekly planned_share spread lag population stop_at harm_usual "
        "harm_limit",
        **_all(Held(Then.UNREAD), "source measure counted stop_line harm"),
    ),
    **_of("Comparison", "axis first second outcome", judge=_ALIAS),
    **_of(
        "Choice",
        "plan live review announce_at offers_sealed odds",
        asked=_role("trials asked to own"),
        owner=_role("trials owned"),
        declined=Held(Then.GOES, "trials declined"),
        offers=_role("trials offered to own"),
        actions=Held(Then.ALIAS, "first-week actions"),
        forecasts=Held(Then.GOES, "forecasts in per cent"),
        digits=Held(Then.GOES, "forecasts by emoji"),
        feared=Held(Then.GOES, "why a trial would fail"),
    ),
    **_of("Action", "id due", text=_TEAMS_WORDS, who=_ALIAS),
    **_of("Odds", "if_target if_nothing drift remedies"),
    **_of("Alongside", "population until", title=_TEAMS_WORDS, counted=_TEAMS_WORDS),
}
_OF_A_TRIAL: Mapping[str, Held] = {
    **_of(
        "Trial",
        "id tenant team round_id plan lever planned offers step zone sealed planned_live live starts review looks "
        "missed_reviews dates_moved stopped_at odds",
        decision_maker=_role("roles"),
        postponed=Held(Then.ALIAS, "live day moved", "the team has read the reason; it says nobody's name"),
        smaller=_TEAMS_WORDS,
        early=Held(Then.ALIAS, "weeks logged", "the trial's numbers stay"),
        **_all(_TEAMS_WORDS, "round_name title hypothesis question lever_name steps criterion"),
        facilitator=_role("roles"),
        people=Held(Then.ALIAS, "roles", "their name becomes somebody who left"),
        deputy=_role("roles"),
        owner=_role("owned"),
        asked=_role("roles"),
        actions=Held(Then.ALIAS, "actions"),
        weeks=Held(Then.ALIAS, "weeks logged", "the trial's numbers stay"),
        reading=_NUMBERS,
        given=_NUMBERS,
        settled=Held(Then.ALIAS, "crossed lines decided"),
        in_the_way=_TEAMS_WORDS,
        stopped=_TEAMS_WORDS,
        counting_checked=_TEAMS_WORDS,
        chances=Held(Then.GOES, "forecast in per cent"),
        fears=Held(Then.STAYS, why="of three or more people, unsigned; nobody can find theirs any more"),
        feared=Held(Then.GOES, "why it would fail"),
        learnings=Held(Then.GOES, "learning"),
        shown_learnings=Held(Then.STAYS, why="of three or more people, unsigned; nobody can find theirs any more"),
        asked_to_sign=Held(Then.GOES, "asked about your name"),
        signed=Held(Then.GOES, "shown with your name"),
        closing=Held(Then.ALIAS, "review closed"),
    ),
    **_of("TrialAction", "id due done", text=_TEAMS_WORDS, who=_ALIAS),
    **_of("Entry", "week trial control state harm at stop calm", by=_ALIAS, reason=_REASON),
    **_of("Postponed", "to at agreed", reason=_TEAMS_WORDS, by=_ALIAS),
    **_of("Signed", "what", by=Held(Then.GOES), text=Held(Then.GOES)),
    **_of("Figures", "value of sd"),
    **_of("Reading", "outcome reason sentence chance weeks checked alerts chance_high"),
    **_of("Given", "outcome sentence weeks rests_on"),
    **_of("Settled", "what week figure stops at", reason=_TEAMS_WORDS, by=_ALIAS),
    **_of("Closing", "outcome sentence decision at", reason=_TEAMS_WORDS, learning=_TEAMS_WORDS, by=_ALIAS),
}
_OF_A_TEAM: Mapping[str, Held] = {
    **_of(
        "RegisterEntry",
        "trial_id tenant team lever verdict at decision planned took_days met",
        round_name=_TEAMS_WORDS,
        lever_name=_TEAMS_WORDS,
        title=_TEAMS_WORDS,
        hypothesis=_TEAMS_WORDS,
        question=_TEAMS_WORDS,
        measure=_TEAMS_WORDS,
        owner=Held(Then.ALIAS, "trials"),
        sentence=_TEAMS_WORDS,
        reason=_TEAMS_WORDS,
        learning=_TEAMS_WORDS,
        learnings=Held(Then.STAYS, why="of three or more people, unsigned; nobody can find theirs any more"),
        agreed=Held(Then.GOES, "shown with your name"),
        chances=Held(Then.STAYS, why="numbers of three or more people, for how well the team forecasts"),
    ),
    **_of(
        "Team",
        "tenant team weekday hour digest_sent",
        lead=Held(Then.EMPTIED, "leads"),
        funnel=_NUMBERS,
        erasing=_WITH,
        guests=Held(Then.GOES, "guest of"),
        present=Held(
            Then.STAYS,
            why="that somebody with this mark is in the channel, so that they are not taken for somebody new; it leads "
            "nobody to them",
        ),
    ),
    **_of(
        "Erasing",
        "until at",
        by=Held(Then.GOES, "erasing asked", "with the question, which falls"),
        second=Held(Then.GOES, "erasing asked", "with the question, which falls"),
    ),
}
_OF_A_PERSON: Mapping[str, Held] = _of(
    "Member",
    "tenant",
    **_each(
        "id name zone zone_confirmed calendar told_privacy away_until muted facts",
        Held(Then.GOES, why="with the row; shown in `record`"),
    ),
)
DOCUMENTS: Mapping[str, Held] = {**_OF_A_ROUND, **_OF_A_TRIAL, **_OF_A_TEAM, **_OF_A_PERSON}
"""What stands in the JSON of rounds, trials, the register, teams and members."""


def columns(then: Then) -> tuple[tuple[str, str], ...]:
    """(table, column) of the store for which `forget` does this."""
    found = (name.split(".") for name, held in TABLES.items() if held.then is then)
    return tuple((table, column) for table, column in found)
