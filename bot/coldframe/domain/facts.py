"""What became true: past participles. `private` facts say nothing in the audit trail but their name.

A fact may hold private text and authors on its way to `evolve`; `public_record` is the only form that is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from typing import Any, ClassVar, dataclass_transform

from coldframe.domain.state import Round


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
@dataclass(frozen=True)
class Fact:
    """Every kind of fact is a frozen dataclass without saying so."""

    private: ClassVar[bool] = False

    def __init_subclass__(cls) -> None:
        dataclass(frozen=True)(cls)

    def public_record(self) -> dict[str, object]:
        """What the audit trail keeps: the name, and for public facts the plain ids and numbers in it."""
        record: dict[str, object] = {"fact": type(self).__name__}
        if not self.private:
            for f in fields(self):
                value = getattr(self, f.name)
                if isinstance(value, str | int | float | bool) and f.name not in PRIVATE_FIELDS:
                    record[f.name] = value
        return record


Facts = tuple[Fact, ...]
Decide = Mapping[type[Any], Callable[[Round, Any, datetime], Facts]]
"""Commands to what follows from them."""
Evolve = Mapping[type[Any], Callable[[Round, Any], Round]]
"""Facts to what they change."""
PRIVATE_FIELDS = frozenset({"text", "reason", "fear", "name", "by"})
