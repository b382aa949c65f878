"""What people type, read: notes, numbers, files, windows, dates. Pure."""

from __future__ import annotations

from coldframe.errors import ColdframeError


class Unreadable(ColdframeError, ValueError):
    """It cannot be read; the message says why and what the right form is. `field` is the one, or the group, meant."""

    def __init__(self, sentence: str, field: str = "") -> None:
        super().__init__(sentence)
        self.field = field
