"""What a machine can check of how the bot speaks, on every sentence in `speech` (`python -m tests.words`)."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest

from tests.words import CLI, SPEECH, Said, all_said, filled, main, report

LONGEST = 32  # words of a sentence
LONGEST_TEXT = 62  # words of a text that is said in one piece
NOT_SAID: Mapping[str, str] = {
    r"\bthe bot\b": "I, me",
    r"[\d}] %": "42%",
    r"\bRound \*?\{": "the round's own name",
    r"for your part|at the very latest": "Please answer by …",
    r"\bI take it that\b": "I have … as …",
    r"goes on until": "I've kept … open until …",
    r"\b[Rr]eckon": "work out, count",
    r"Banzhaf|Kendall|Krippendorff|Brier": "its plain word",
    r"\bluck\b": "chance",
    r"\bpretence\b": "what follows from it",
    r"[Oo]nly (your|their) own yes": "it's yours only if you accept",
    r"for you alone until": "nobody sees it before …",
    r"Still open for you": "To do",
    r"The number of notes": "more notes means",
    r"as I understood": "I've set",
    r"\*\{\}\* (closes|stays open)": "the … step …",
    r"!(?!=)": "no exclamation",
    r"[Ss]orry|[Aa]pologi": "what happened and what to do",
    r"\b1 \w+s\b": "the singular",
    r" - ": "a sentence of its own",
    r"“[^”]*\"": "“ and ”",
}
"""Words that words.md gives other words for, and which."""
OF_SPEECH = [said for said in all_said() if said.reader != "operator"]


def bare(said: Said) -> str:
    """Without what its braces name."""
    return re.sub(r"\{[^}]*\}", "{}", said.template)


def sentences(said: Said) -> list[str]:
    return [part for part in re.split(r"(?<=[.!?:;])\s+", said.sample) if part]


@pytest.mark.parametrize("pattern", NOT_SAID)
def test_what_has_a_plainer_word_is_said_with_it(pattern: str) -> None:
    """The plainer one stands beside it in the table."""
    assert [(said.where, said.template) for said in OF_SPEECH if re.search(pattern, bare(said))] == []


def test_no_sentence_is_too_long_to_be_read_once() -> None:
    found = [(said.where, one) for said in OF_SPEECH for one in sentences(said) if len(one.split()) > LONGEST]
    assert found == []


def test_no_text_is_a_wall() -> None:
    """What is longer comes in pieces, or stands behind a button."""
    found = {said.where for said in OF_SPEECH if said.words > LONGEST_TEXT}
    assert found == set()


def test_a_button_is_short_and_says_what_it_does() -> None:
    """A form opens where it ends in an ellipsis; no button is a sentence."""
    labels = [said for said in OF_SPEECH if said.kind == "button"]
    assert len(labels) > 100
    assert [(s.where, s.template) for s in labels if s.template.endswith((".", "!", "...")) or s.words > 12] == []


# --- the list itself --------------------------------------------------------------------------------------------------


def test_every_module_of_speech_is_in_the_list() -> None:
    """Those that hold no sentence hold no words either."""
    listed = {said.where.rpartition(".")[0] for said in all_said()}
    there = {
        path.relative_to(folder).with_suffix("").as_posix() for folder in (SPEECH, CLI) for path in folder.rglob("*.py")
    }
    assert there - listed <= {"__init__", "data_words", "round/__init__", "people/__init__", "register/__init__"} | {
        "trial/__init__", "trial/bench_words", "trial/measure_words", "levels", "round/drawn", "slack",
        "slack_manifest", "completion", "stopping",
    }  # fmt: skip


def test_each_reader_has_a_part_of_it(capsys: pytest.CaptureFixture[str]) -> None:
    """Asked for one of them, it prints theirs; a name that nobody has is refused."""
    whole = "\n".join(report())
    assert [line.split(":")[0] for line in whole.splitlines() if re.match(r"# [a-z-]+: \d", line)] == [
        f"# {reader}"
        for reader in ("participant", "facilitator", "decision-maker", "owner", "lead", "channel", "operator")
    ]
    assert main(["owner"]) == 0
    assert capsys.readouterr().out.startswith("# owner: ")
    assert main(["stranger"]) == 2
    assert "nobody is called stranger" in capsys.readouterr().err


def test_a_sample_has_its_values_in_it() -> None:
    assert filled("Until {due}, {who}.", {}) == "Until 17:00 today, Jonas."
