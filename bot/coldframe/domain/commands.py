"""What people (and time) ask: imperatives. `by` is who asks; `BOT` stands for time and the bot itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import dataclass_transform

from coldframe.domain.names import MemberId

BOT = MemberId("")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
@dataclass(frozen=True)
class Command:
    """Every kind of command is a frozen dataclass without saying so."""

    by: MemberId

    def __init_subclass__(cls) -> None:
        dataclass(frozen=True)(cls)
