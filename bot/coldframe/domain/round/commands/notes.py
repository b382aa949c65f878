"""What is asked about notes, from the draft to what came late."""

from __future__ import annotations

from coldframe.domain.commands import Command
from coldframe.domain.names import LateChoice, LeverId, NoteId, Side


class WriteNote(Command):
    note: NoteId
    lever: LeverId
    side: Side
    text: str
    origin: str = ""


class KeepDraft(Command):
    """Keep a text whose lever or direction is not clear until its writer has said."""

    draft: NoteId
    text: str
    origin: str = ""


class DropDraft(Command):
    """The draft became notes, or its writer does not want it."""

    draft: NoteId


class EditNote(Command):
    note: NoteId
    text: str


class WithdrawNote(Command):
    note: NoteId


class Consent(Command):
    """I agree that my notes are shown although colleagues may guess who wrote them."""


class HideNote(Command):
    """Keep a note out of view and export (confidential or abusive text); the reason is kept."""

    note: NoteId
    reason: str


class SettleLateNote(Command):
    """What becomes of a note that came after the reveal."""

    note: NoteId
    choice: LateChoice
