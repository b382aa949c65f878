"""What Slack refuses in blocks and views: the SDK's own validation, and the published limits it does not
check.

Written from Slack's reference pages of blocks, block elements, composition objects and views, apart from
what the bot itself reckons with, so that one is a check of the other. Lengths are counted in UTF-16 units,
the strictest reading.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from slack_sdk.errors import SlackObjectFormationError
from slack_sdk.models.blocks import Block
from slack_sdk.models.views import View

MESSAGE_BLOCKS, VIEW_BLOCKS = 50, 100
MESSAGE_SIZE = 13_000  # unpublished: refusals were reported from about 13,200 characters on
VIEW_SIZE = 250_000
TEXT = 4_000
KNOWN = {"header", "section", "context", "actions", "divider", "input", "rich_text", "table"}
IN_MESSAGES, IN_VIEWS = KNOWN - {"input"}, KNOWN - {"table"}
ESCAPED = re.compile(r"&(?!amp;|lt;|gt;)")
TOKEN = re.compile(r"<(@[UW][A-Z0-9]+|!date\^\d+\^[^^|<>]*\{[^|<>]*\|[^<>|]+|https?://[^<>|\s]+(\|[^<>|]*)?)>")


def units(text: str) -> int:
    return len(text.encode("utf-16-le", "surrogatepass")) // 2


def message_problems(text: str, blocks: list[dict[str, Any]]) -> list[str]:
    """Everything that Slack would refuse in a message, or that could come alive in it unasked."""
    out = list(_blocks(blocks, IN_MESSAGES, MESSAGE_BLOCKS))
    if units(json.dumps(blocks, ensure_ascii=False)) > MESSAGE_SIZE:
        out.append("msg_blocks_too_long")
    if sum(block["type"] == "table" for block in blocks) > 1:
        out.append("more than one table")
    if not text.strip():
        out.append("no text beside the blocks")
    if units(text) > TEXT:
        out.append(f"text of {units(text)} units")
    return out + list(_marked(text, "text"))


def view_problems(view: dict[str, Any]) -> list[str]:
    """Everything that Slack would refuse in a view."""
    out = list(_blocks(view["blocks"], IN_VIEWS, VIEW_BLOCKS))
    try:
        View(**view).validate_json()
    except SlackObjectFormationError as error:
        out.append(f"SDK: {error}")
    if units(json.dumps(view, ensure_ascii=False)) > VIEW_SIZE:
        out.append("view_too_large")
    if view["type"] == "modal":
        out += _modal(view)
    return out


def _modal(view: dict[str, Any]) -> Iterator[str]:
    if not view.get("title", {}).get("text"):
        yield "a modal without a title"
    if any(block["type"] == "input" for block in view["blocks"]) and not view.get("submit"):
        yield "an input without a submit button"
    if units(view.get("private_metadata", "")) > 3000 or not 0 < units(view.get("callback_id", "x")) <= 255:
        yield "private_metadata or callback_id too long"


def _blocks(blocks: list[dict[str, Any]], known: set[str], most: int) -> Iterator[str]:
    if not 0 < len(blocks) <= most:
        yield f"{len(blocks)} blocks"
    for block in blocks:
        if block.get("type") not in known:
            yield f"unknown or misplaced block {block.get('type')}"
            continue
        try:
            parsed = Block.parse(block)
            assert parsed is not None
            parsed.to_dict()
        except (SlackObjectFormationError, TypeError) as error:
            yield f"SDK: {error}"
        yield from _one(block)
    yield from _unique([block["block_id"] for block in blocks if "block_id" in block], "block_id")
    actions = [e.get("action_id") for b in blocks if b["type"] == "actions" for e in b["elements"]]
    yield from _unique(actions, "action_id")


def _unique(values: list[Any], name: str) -> Iterator[str]:
    if len(set(values)) < len(values):
        yield f"the same {name} twice"


def _one(block: dict[str, Any]) -> Iterator[str]:
    match block["type"]:
        case "header":
            yield from _text(block["text"], 150, "plain_text")
        case "section":
            yield from _section(block)
        case "context" | "actions":
            yield from _several(block)
        case "input":
            yield from _input(block)
        case "rich_text":
            yield from _rich(block)
        case "table":
            yield from _table(block)


def _several(block: dict[str, Any]) -> Iterator[str]:
    context = block["type"] == "context"
    if not 1 <= len(block["elements"]) <= (10 if context else 25):
        yield f"{block['type']} elements"
    for element in block["elements"]:
        yield from _text(element, 3000) if context else _element(element)


def _section(block: dict[str, Any]) -> Iterator[str]:
    if "text" in block:
        yield from _text(block["text"], 3000)
    if len(block.get("fields", [])) > 10:
        yield "section fields"
    for field in block.get("fields", []):
        yield from _text(field, 2000)


def _text(text: dict[str, Any], most: int, kind: str | None = None) -> Iterator[str]:
    if kind and text.get("type") != kind:
        yield f"{text.get('type')} where {kind} belongs"
    if not 0 < units(text.get("text", "")) <= most:
        yield f"a text of {units(text.get('text', ''))} units where {most} are allowed"
    if text.get("type") == "mrkdwn":
        yield from _marked(text["text"], "mrkdwn")


def _marked(text: str, where: str) -> Iterator[str]:
    """Marked-up text may hold only the tokens that the bot means: people, moments, web addresses."""
    rest = TOKEN.sub("", text)
    if "<" in rest or ">" in rest or ESCAPED.search(rest):
        yield f"{where}: something unescaped in {rest[:60]!r}"


def _rich(block: dict[str, Any]) -> Iterator[str]:
    if not block.get("elements"):
        yield "empty rich text"
    for part in block.get("elements", []):
        rows = part["elements"] if part["type"] == "rich_text_list" else [part]
        if part["type"] == "rich_text_list" and part.get("style") not in ("bullet", "ordered"):
            yield "a list without a style"
        if not rows:
            yield "an empty list"
        for row in rows:
            yield from _run(row)


def _run(part: dict[str, Any]) -> Iterator[str]:
    if part["type"] not in ("rich_text_section", "rich_text_quote", "rich_text_preformatted"):
        yield f"rich text part {part['type']}"
    for element in part["elements"]:
        match element["type"]:
            case "text":
                if not element["text"]:
                    yield "an empty text element"
            case "date":
                if not isinstance(element["timestamp"], int) or not element.get("fallback"):
                    yield "a date without its fallback"
            case "link":
                if not re.match(r"https?://", element["url"]) or units(element["url"]) > 3000:
                    yield "a link that is none"
            case "user":
                if not re.fullmatch(r"[UW][A-Z0-9]+", element["user_id"]):
                    yield "a user id that is none"
            case other:
                yield f"element {other} in rich text"


def _table(block: dict[str, Any]) -> Iterator[str]:
    rows = block["rows"]
    if not 1 <= len(rows) <= 100 or not all(1 <= len(row) <= 20 for row in rows):
        yield "table size"
    if len({len(row) for row in rows}) > 1:
        yield "a ragged table"
    if units(json.dumps(rows, ensure_ascii=False)) > 10_000:
        yield "table characters"
    for cell in (cell for row in rows for cell in row):
        if cell["type"] == "raw_text" and not cell["text"]:
            yield "an empty cell"
        if cell["type"] == "rich_text":
            yield from _rich(cell)


def _input(block: dict[str, Any]) -> Iterator[str]:
    yield from _text(block["label"], 2000, "plain_text")
    if "hint" in block:
        yield from _text(block["hint"], 2000, "plain_text")
    yield from _element(block["element"])


def _element(element: dict[str, Any]) -> Iterator[str]:
    if not 0 < units(element.get("action_id", "")) <= 255:
        yield "action_id"
    match element["type"]:
        case "button":
            yield from _button(element)
        case "plain_text_input":
            most = element.get("max_length", 3000)
            if not 1 <= most <= 3000 or units(element.get("initial_value", "")) > most:
                yield "plain_text_input length"
        case "number_input":
            if "is_decimal_allowed" not in element:
                yield "number_input without is_decimal_allowed"
        case "datepicker":
            if not re.fullmatch(r"\d{4}-\d\d-\d\d|", element.get("initial_date", "")):
                yield "initial_date"
        case "users_select":
            pass
        case "static_select" | "multi_static_select" | "checkboxes" | "radio_buttons":
            yield from _choice(element)
        case other:
            yield f"unknown element {other}"


def _button(element: dict[str, Any]) -> Iterator[str]:
    yield from _text(element["text"], 75, "plain_text")
    if units(element.get("value", "")) > 2000:
        yield "button value"
    if not 0 < units(element.get("accessibility_label", "x")) <= 75:
        yield "accessibility_label"
    if element.get("style", "primary") not in ("primary", "danger"):
        yield "button style"
    if confirm := element.get("confirm"):
        yield from _text(confirm["title"], 100, "plain_text")
        yield from _text(confirm["text"], 300)
        yield from _text(confirm["confirm"], 30, "plain_text")
        yield from _text(confirm["deny"], 30, "plain_text")


def _choice(element: dict[str, Any]) -> Iterator[str]:
    most = 10 if element["type"] in ("checkboxes", "radio_buttons") else 100
    groups = element.get("option_groups", [{"options": element.get("options", [])}])
    if len(groups) > 100 or ("option_groups" in element and most == 10):
        yield "option groups"
    options = [option for group in groups for option in group["options"]]
    for group in groups:
        if not 1 <= len(group["options"]) <= most:
            yield f"{len(group['options'])} options"
        if "label" in group:
            yield from _text(group["label"], 75, "plain_text")
    for option in options:
        yield from _text(option["text"], 75)
        if not 0 < units(option["value"]) <= 75:
            yield "option value"
        if "description" in option:
            yield from _text(option["description"], 75)
    yield from _unique([option["value"] for option in options], "option value")
    initial = element.get("initial_options", [element["initial_option"]] if "initial_option" in element else [])
    if any(option not in options for option in initial):
        yield "an initial option that is not offered"
