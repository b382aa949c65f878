"""What a browser may ask for over its wire, read strictly: anything else is refused before it is looked at."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from coldframe.chat.room.records import MAX_FILES, MAX_TEXT

_Id = Annotated[str, Field(max_length=100)]
_Key = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
_Text = Annotated[str, Field(max_length=MAX_TEXT + 1)]  # one more, so that the room itself says what is too long
_MAX_ENCODED = 1_400_000  # a file of 1 MiB in base64


class _Order(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, hide_input_in_errors=True)

    n: int = Field(ge=0, le=2**53)  # the browser's number for the question, given back with the answer


class _Act(_Order):
    key: _Key


class Hello(_Order):
    """The browser (again) looks on; it knows everything up to `since` of the life of the room that it names."""

    do: Literal["hello"]
    life: _Id = ""
    since: int = Field(default=0, ge=0, le=2**53)


class Ping(_Order):
    do: Literal["ping"]


class Read(_Order):
    do: Literal["read"]
    place: _Id
    message: _Id


class Earlier(_Order):
    do: Literal["earlier"]
    place: _Id
    before: _Id


class Search(_Order):
    """Looks for words in all of a conversation."""

    do: Literal["search"]
    place: _Id
    text: Annotated[str, Field(min_length=1, max_length=200)]


class PutAway(_Order):
    do: Literal["put_away"]
    note: _Id


class CloseForm(_Order):
    do: Literal["close_form"]
    action: _Id
    value: Annotated[str, Field(max_length=2000)]


class Devices(_Order):
    """Which browsers are in for this person."""

    do: Literal["devices"]


class LetIn(_Order):
    """A code by which another browser of this person comes in."""

    do: Literal["let_in"]


class SignOut(_Order):
    """Ends a sign-in of this person, by the name that `devices` gave it."""

    do: Literal["sign_out"]
    device: _Id


class SentFile(BaseModel):
    """A dropped file; `content` is base64, or None when it was too large to send."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, hide_input_in_errors=True)

    name: Annotated[str, Field(min_length=1, max_length=255)]
    size: int = Field(ge=0, le=2**53)
    content: Annotated[str, Field(max_length=_MAX_ENCODED)] | None = None


class Say(_Act):
    do: Literal["say"]
    place: _Id
    text: _Text
    thread: _Id | None = None
    files: Annotated[list[SentFile], Field(max_length=MAX_FILES)] = []


class Edit(_Act):
    do: Literal["edit"]
    message: _Id
    text: _Text


class Erase(_Act):
    do: Literal["erase"]
    message: _Id


class React(_Act):
    do: Literal["react"]
    message: _Id
    emoji: _Id
    added: bool


class Press(_Act):
    do: Literal["press"]
    message: _Id | None
    action: _Id
    value: Annotated[str, Field(max_length=2000)]


class Submit(_Act):
    do: Literal["submit"]
    action: _Id
    value: Annotated[str, Field(max_length=2000)]
    fields: Annotated[dict[_Id, _Text], Field(max_length=100)]


class Command(_Act):
    do: Literal["command"]
    place: _Id
    text: _Text


class OpenHome(_Act):
    do: Literal["open_home"]


class Rehearse(_Order):
    """A turn at the rehearsal's controls."""

    do: Literal["rehearse"]
    what: Literal["run", "stop", "jump", "others", "again"]
    speed: float = Field(default=60.0, ge=1, le=100_000)
    step: _Id = ""


Act = Say | Edit | Erase | React | Press | Submit | Command | OpenHome
Order = Hello | Ping | Read | Earlier | Search | PutAway | CloseForm | Devices | LetIn | SignOut | Rehearse | Act


class _Numbered(BaseModel):
    n: int = Field(ge=0, le=2**53)


def number_of(data: str | bytes) -> int | None:
    """The browser's number for a question that cannot be read otherwise."""
    try:
        return _Numbered.model_validate_json(data).n
    except ValidationError:
        return None


ORDERS: TypeAdapter[Order] = TypeAdapter(Annotated[Order, Field(discriminator="do")])
