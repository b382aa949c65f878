"""Whereabouts of messages as rows."""

from __future__ import annotations

from typing import Any

from coldframe.ports.chat import Place
from coldframe.ports.storage import Posted


def posted_of(row: Any) -> Posted:
    place = Place(row.tenant, row.kind, row.place, row.thread)
    return Posted(row.name, place, row.message_id, row.round_id, row.open)
