"""What Slack refuses for good, in the house's own words. Pure.

Codes from Slack's pages of the methods. One that is not named here is told by the method alone: whatever keeps a file
from being shared, its words may still be posted.
"""

from __future__ import annotations

from coldframe.ports.chat import Denial

NOT_THERE = frozenset({"not_in_channel", "channel_not_found"})
GONE_PEOPLE = frozenset({"user_not_found", "user_disabled", "users_not_found"})
GONE_MESSAGES = frozenset({"message_not_found", "thread_not_found"})
NO_DIRECTS = frozenset({"messages_tab_disabled", "cannot_dm_bot", "user_not_visible", "user_not_in_channel"})
CLOSED = frozenset(
    {
        "is_archived",
        "restricted_action",
        "restricted_action_read_only_channel",
        "restricted_action_thread_only_channel",
        "restricted_action_non_threadable_channel",
        "restricted_action_thread_locked",
    }
)
ACCESS = frozenset(
    {"account_inactive", "invalid_auth", "not_authed", "token_revoked", "token_expired", "org_login_required"}
)
"""The whole workspace is out of reach: no other way leads in."""


def denial_of(method: str, code: str, channel: str = "") -> Denial | None:
    """What was refused. `channel` is Slack's id of the conversation; one of direct messages begins with D."""
    if code in ACCESS:
        return None
    if method.startswith("files."):
        return Denial.CANT_DELETE if method == "files.delete" else Denial.NO_FILES
    if code in GONE_MESSAGES:
        return Denial.MESSAGE_GONE
    if code in GONE_PEOPLE:
        return Denial.PERSON_GONE
    if method == "conversations.open" or (channel.startswith("D") and code in NOT_THERE | CLOSED | NO_DIRECTS):
        return Denial.NO_DIRECT
    if code in NOT_THERE:
        return Denial.NOT_IN_CHANNEL
    return _of_method(method, code)


def _of_method(method: str, code: str) -> Denial | None:
    match method:
        case "chat.update":
            return Denial.CANT_CHANGE
        case "chat.delete":
            return Denial.CANT_DELETE
        case "conversations.members" if code == "missing_scope":  # those of channels, the bot has always
            return Denial.NO_CHANNEL
        case "chat.postMessage" if code in CLOSED or code == "missing_scope":
            return Denial.NO_POST
        case _:
            return None
