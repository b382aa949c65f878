"""What is kept in tables and files, column by column, and what becomes of it for a person who asks; the documents that
stand in some of them have their own list (`ports.holdings`), in the same words.
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


def each(names: str, held: Held) -> dict[str, Held]:
    return dict.fromkeys(names.split(), held)


def of(name: str, nobodys: str = "", /, **held: Held) -> dict[str, Held]:
    """A table's columns or a document's fields, those first that lead to nobody."""
    fields = {**each(nobodys, Held(Then.NOBODYS)), **held}
    return {f"{name}.{field.rstrip('_')}": each for field, each in fields.items()}


WITH = Held(Then.WITH)
TEAMS_WORDS = Held(Then.STAYS, why="the team has read it; it says nobody's name unless somebody typed one")


# --- tables -----------------------------------------------------------------------------------------------------------

TABLES: Mapping[str, Held] = {
    **of("rounds", "id tenant channel step version created_at changed_at", name=TEAMS_WORDS, doc=WITH),
    **of("seats", "round_id tenant", member=Held(Then.ROW_GOES, "rounds")),
    **of(
        "sealed",
        "round_id kind",
        item=Held(Then.WITH, why="comparisons stand under their judge, who becomes an alias"),
        body=WITH,
    ),
    **of(
        "votes",
        "round_id ballot slot quota counts",
        voter=Held(Then.WITH, "dots", "a keyed hash; a counted vote stands under the alias's, for a week"),
        body=Held(Then.WITH, "votes"),
    ),
    **of("facts", "id round_id at", record=Held(Then.ALIAS, why="what happened, by name and id, without any text")),
    **of("inbox", "at", key=Held(Then.PACKED_ROW_GOES, why="tells a repeated delivery, by a hash; 30 days")),
    **of(
        "outbox",
        "id key kind round_id only_in state tries first_try try_at owner lease_until why_parked told_at",
        conversation=Held(Then.ROW_GOES, "messages waiting", "what was to be said to them"),
        name=Held(Then.PACKED_ALIAS, why="of a message to somebody else that is about them"),
        body=Held(Then.ALIAS, why="a message to others that waits and names them says somebody who left"),
    ),
    **of(
        "posts",
        "tenant kind thread message_id round_id open asked",
        place=Held(Then.ROW_GOES, "messages sent", "their direct messages, which are taken back first"),
        name=Held(Then.PACKED_ALIAS, why="of a message to somebody else that is about them"),
        body=Held(Then.GOES, why="with the row; name and place of what tells of an act of theirs"),
        choices=Held(Then.GOES, why="with the row; what its numbers mean, where a platform has no buttons"),
    ),
    **of(
        "dialogues",
        "at",
        id=Held(Then.ROW_GOES, why="a form half filled in, shown in their direct messages while it is open; a week"),
        body=Held(Then.GOES, why="with the row"),
    ),
    **of(
        "due",
        "id kind at state owner lease_until tries problem",
        subject=Held(Then.PACKED_ROW_GOES, "reminders to come"),
        occurrence=Held(Then.PACKED_ROW_GOES),
    ),
    **of(
        "members",
        "tenant",
        id=Held(Then.ROW_GOES, "record"),
        name=Held(Then.GOES, why="with the row"),
        doc=Held(Then.GOES, why="with the row"),
    ),
    **of(
        "nudges",
        "tenant at",
        member=Held(Then.ROW_GOES, "reminded", "a keyed hash, and the day beside it"),
        body=Held(Then.GOES, why="with the row; at which moments of the day"),
    ),
    **of("counters", "name value"),
    **of("trial_places", "tenant team place trial_id ends review", owner=Held(Then.EMPTIED, "trials")),
    **of(
        "trials",
        "id tenant team step version created_at changed_at",
        owner=Held(Then.ALIAS, "trials"),
        doc=WITH,
        private=WITH,
    ),
    **of("trial_facts", "id trial_id at", record=Held(Then.ALIAS)),
    **of(
        "register",
        "id trial_id tenant team lever verdict at",
        owner=Held(Then.ALIAS, "trials", "that somebody owned it is no learning: the register says somebody who left"),
        words=TEAMS_WORDS,
        folded=TEAMS_WORDS,
        doc=WITH,
    ),
    **of("teams", "tenant team", doc=WITH),
    **of("safeguards", "name body at"),
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
    **of("life", "name chapter revision messages files unclean lost"),
    **of("people", "is_bot is_guest is_foreign is_gone", id=_ACCOUNT, name=_ACCOUNT, zone=_ACCOUNT),
    **of("channels", "id name"),
    **of("members", "channel", person=_ACCOUNT),
    **of(
        "messages",
        "seq kind thread at revision mentioned edited gone key",
        root=Held(Then.STAYS, why="that there was a message, without its words"),
        author=Held(Then.STAYS, why="that there was a message, without its words"),
        body=_THEIR_CHAT,
        card=_THEIR_CHAT,
    ),
    **of("reactions", "message emoji", person=_CHAT),
    **of("own", row=_ACCOUNT, body=_THEIR_CHAT),
    **of("files", "seq message name media_type title alternative chart", content=_THEIR_CHAT, about=_THEIR_CHAT),
    **of(
        "acts",
        "seq key person kind root thread at sort done",
        body=Held(Then.GOES, why="as soon as the act is taken"),
    ),
    **of("passes", "hidden revision until", digest=_ACCOUNT, person=_ACCOUNT),
    **of("signins", "hidden revision since", digest=_ACCOUNT, person=_ACCOUNT),
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


def columns(then: Then) -> tuple[tuple[str, str], ...]:
    """(table, column) of the store for which `forget` does this."""
    found = (name.split(".") for name, held in TABLES.items() if held.then is then)
    return tuple((table, column) for table, column in found)
