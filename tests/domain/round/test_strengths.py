"""What drives a lever is shown beside what holds it back, where both speak of the same thing."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.names import ForceId, LeverId, NoteId, Side, Step
from coldframe.domain.round.strengths import beside
from coldframe.domain.state import Force, Note, Round, Standing
from coldframe.message.nodes import plain
from coldframe.render.room import message_text
from coldframe.speech.round.forms import question
from coldframe.speech.round.work_prompts import questions_desk
from tests.domain.play import F, Play

LEVER = LeverId("activation")
HOLDS = {"f1": "Shy singers fear that others hear their recordings", "f2": "The empty library scares new choirs",
         "f3": "Singers land in the wrong part"}  # fmt: skip
DRIVES = {"d1": "The first recording makes people smile", "d2": "A choir that sings together stays",
          "d3": "Nobody has to pay in the first year", "d4": "Singers bring their friends"}  # fmt: skip


def _round(*drives: str, lever: LeverId = LEVER) -> Round:
    """At the questions, with these three forces carried in this order, and these driving notes."""
    notes = [Note(NoteId(f"n-{key}"), LEVER, Side.RESTRAINING, text) for key, text in HOLDS.items()]
    notes += [Note(NoteId(key), lever, Side.DRIVING, DRIVES[key]) for key in drives]
    return replace(
        Play().to(Step.QUESTIONS).round,
        focus=LEVER,
        notes={note.id: note for note in notes},
        revealed=tuple(note.id for note in notes),
        forces=tuple(Force(ForceId(key), (NoteId(f"n-{key}"),)) for key in HOLDS),
        forces_standing=tuple(Standing(key, place, 0, 0, 0, 1, True) for place, key in enumerate(HOLDS, 1)),
        questions=(),
    )


def _found(round_: Round) -> tuple[dict[str, list[str]], list[str]]:
    helps, others = beside(round_)
    return {force: [note.id for note in notes] for force, notes in helps.items()}, [note.id for note in others]


def test_a_driving_force_stands_beside_the_one_that_speaks_of_the_same_thing() -> None:
    """By how its words begin, whatever their endings; what speaks of none of them stands apart."""
    assert _found(_round("d1", "d2", "d3")) == ({"f1": ["d1"], "f2": ["d2"]}, ["d3"])


def test_where_two_speak_of_it_the_one_with_more_dots_has_it() -> None:
    """Each is shown once."""
    assert _found(_round("d4")) == ({"f1": ["d4"]}, [])


def test_another_lever_s_strengths_are_left_out() -> None:
    assert _found(_round("d1", lever=LeverId("retention"))) == ({}, [])


def test_the_facilitator_reads_it_below_the_force_and_first_in_its_form() -> None:
    """What stands beside none is in the form alone."""
    round_ = _round("d3", "d1")
    text = message_text(questions_desk(round_, F))
    assert text.index(HOLDS["f1"]) < text.index(f"Helps: {DRIVES['d1']}")
    assert HOLDS["f2"] not in text and DRIVES["d3"] not in text
    form = plain(question(round_, ForceId("f1")).intro)
    assert form.index(DRIVES["d1"]) < form.index(DRIVES["d3"])
