"""What somebody has begun and not handed in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from coldframe.domain.names import MemberId, QuestionId

Kind = Literal["precedent", "plan"]


@dataclass(frozen=True, slots=True)
class Begun:
    """A page that is begun and not handed in: its fields as typed. `of`: the plan or trial that it is to change."""

    author: MemberId
    kind: Kind
    of: str
    fields: Mapping[str, str]
    likely: tuple[QuestionId, ...] = ()  # all questions, the likeliest first, once that is known
