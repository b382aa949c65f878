"""The files that a played round leaves."""

from __future__ import annotations

import json
from pathlib import Path

from coldframe.domain.state import Round
from coldframe.players.scenario import Scenario
from coldframe.speech.register.round_data import round_data
from coldframe.wiring import House
from demo.play import Play
from demo.transcript import Transcript


def leave_files(
    house: House, transcript: Transcript, scenario: Scenario, round_: Round | None, play: Play, out: Path
) -> list[str]:
    """Writes conversation, pictures, calendar files, digest and the round; returns their names."""
    records = house.room.all_messages()
    texts = {"conversation.md": transcript.markdown(records, scenario.title)}
    if round_ is not None:
        texts["round.json"] = json.dumps(round_data(round_), indent=2, ensure_ascii=False) + "\n"
    texts |= play.papers
    for name, text in texts.items():
        (out / name).write_text(text, encoding="utf-8")
    names = list(texts)
    for record in records:
        for file in record.files:
            found = house.room.log.file(file.id)
            if found is not None and file.name not in names:
                (out / file.name).write_bytes(found[2])
                names.append(file.name)
    return sorted(names)
