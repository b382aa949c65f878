"""How an act of a person is written down until the bot has taken it."""

from __future__ import annotations

from typing import Any, get_args

from pydantic import BaseModel, ConfigDict, create_model

from coldframe.ports.chat import Happening

_BYTES_AS_TEXT = ConfigDict(ser_json_bytes="base64", val_json_bytes="base64")


def _sheet(kind: type) -> type[BaseModel]:
    fields: dict[str, Any] = {"what": (kind, ...)}
    return create_model(f"{kind.__name__}Sheet", __config__=_BYTES_AS_TEXT, **fields)


_SHEETS = {kind.__name__: _sheet(kind) for kind in get_args(Happening)}


def written(what: Happening) -> tuple[str, bytes]:
    """The kind's name and the act as JSON."""
    sort = type(what).__name__
    return sort, _SHEETS[sort](what=what).model_dump_json().encode()


def read(sort: str, body: bytes) -> Happening:
    """The act as it was written down."""
    sheet: Any = _SHEETS[sort].model_validate_json(body)
    happening: Happening = sheet.what
    return happening
