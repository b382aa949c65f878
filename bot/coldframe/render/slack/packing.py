"""Blocks laid into as few messages as the limits allow, nothing torn from what it belongs to. Pure."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from coldframe.render.slack.mrkdwn import length

BlockKit = dict[str, Any]

MAX_BLOCKS = 48  # of 50; one is kept for the line that says where it goes on
ABOUT, SAYS = 2, ("rich_text", "section", "context")
"""So many blocks right above buttons, of these kinds, say what they are about."""


def size(block: BlockKit) -> int:
    """How much of a message's room a block takes: its JSON in UTF-16 units, the safe way to count."""
    return length(json.dumps(block, ensure_ascii=False))


def packed(blocks: Sequence[BlockKit], most: int) -> list[list[BlockKit]]:
    """Blocks in order, in few messages within the limits; a heading is never the last of one, and buttons are never
    without the words that they are about."""
    out: list[list[BlockKit]] = [[]]
    room = most
    for group in _together(blocks, most):
        needs = sum(map(size, group))
        if out[-1] and (needs > room or len(out[-1]) + len(group) > MAX_BLOCKS or _second_table(out[-1], group[0])):
            out.append(_taken_along(out[-1]))
            room = most - sum(map(size, out[-1]))
        out[-1] += group
        room -= needs
    return out


def _together(blocks: Sequence[BlockKit], most: int) -> list[list[BlockKit]]:
    """Buttons with what stands right above them, where that fits into a message; everything else alone."""
    groups: list[list[BlockKit]] = []
    for block in blocks:
        along = _words_above(groups) if block["type"] == "actions" else 0
        words = [group[0] for group in groups[len(groups) - along :]]
        if sum(map(size, (*words, block))) > most:
            along, words = 0, []
        groups[len(groups) - along :] = [[*words, block]]
    return groups


def _words_above(groups: Sequence[Sequence[BlockKit]]) -> int:
    along = 0
    for group in reversed(groups[-ABOUT:]):
        if len(group) > 1 or group[0]["type"] not in SAYS:
            break
        along += 1
    return along


def _taken_along(part: list[BlockKit]) -> list[BlockKit]:
    along = 0
    while along < len(part) - 1 and part[-1 - along]["type"] in ("header", "divider"):
        along += 1
    taken = part[len(part) - along :]
    del part[len(part) - along :]
    return taken


def _second_table(part: Sequence[BlockKit], block: BlockKit) -> bool:
    return block["type"] == "table" and any(other["type"] == "table" for other in part)
