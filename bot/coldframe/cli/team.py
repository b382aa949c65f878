"""The file that names a room's team: its channel and its people."""

from __future__ import annotations

import zoneinfo
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from coldframe.chat.room.records import BOT
from coldframe.errors import WRONG, ColdframeError
from coldframe.ports.chat import Person
from coldframe.yaml_files import Key, NotYaml, WrongFile, form_of, read

_MAX_BYTES = 1 << 20
WHOLE = "must name the people; `coldframe room --help` shows how"


class TeamError(ColdframeError):
    """The file cannot be used; one sentence for each thing that is wrong."""

    status = WRONG


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Member(_Part):
    id: Key
    name: str = Field(min_length=1, max_length=60)
    zone: str = "UTC"

    @field_validator("zone")
    @classmethod
    def _known(cls, value: str) -> str:
        if value not in zoneinfo.available_timezones():
            raise ValueError(f"{value} is no time zone; they look like Europe/Berlin or Asia/Kolkata")
        return value


class Team(_Part):
    channel: Key = "growth"
    people: list[Member] = Field(min_length=2, max_length=60)

    @model_validator(mode="after")
    def _each_once(self) -> Team:
        ids = [p.id for p in self.people]
        twice = sorted({one for one in ids if ids.count(one) > 1})
        if twice:
            raise ValueError(f"{', '.join(twice)} stands there twice")
        if BOT in ids:
            raise ValueError(f"{BOT} is the bot's own id")
        return self

    def persons(self) -> list[Person]:
        return [Person(p.id, p.name, p.zone) for p in self.people]


SAMPLE = Team(
    people=[
        Member(id="ada", name="Ada Marsh", zone="Europe/Berlin"),
        Member(id="ben", name="Ben Okri-Lund", zone="Asia/Kolkata"),
        Member(id="cas", name="Cas Rivera", zone="America/New_York"),
        Member(id="dee", name="Dee Halloran", zone="Europe/London"),
        Member(id="emi", name="Emi Tanabe", zone="Asia/Tokyo"),
    ]
)
"""Five invented people, for trying the room out."""


def read_team(path: Path) -> Team:
    """The team of the file. Raises TeamError that names what is wrong and where."""
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise TeamError(f"{path}: larger than 1 MiB, which no team file is")
        return form_of(read(path.read_text(encoding="utf-8")), Team, WHOLE)
    except OSError as error:
        raise TeamError(f"{path}: cannot be read ({error.strerror})") from None
    except UnicodeDecodeError:
        raise TeamError(f"{path}: is no UTF-8 text") from None
    except NotYaml as problem:
        raise TeamError(f"{path}, {problem}") from None
    except WrongFile as wrong:
        raise TeamError("\n".join(f"{path}, {problem}" for problem in wrong.problems)) from None
