"""What a good facilitator does in a room: time to read, a page of one's own, precedents that plans build on, numbers
before the focus, the decision-maker's votes beside the matrix."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from coldframe.domain.names import LeverId, MemberId, NoteId, PrecedentId, QuestionId, Side, Step
from coldframe.domain.refusals import Because
from coldframe.domain.round import rules
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.settings import Settings
from coldframe.domain.trial.state import Closing, Entry
from coldframe.message.nodes import plain
from coldframe.message.pictures import PlacedPlan, PlacementMatrix
from coldframe.ports.keys import Covers
from coldframe.speech.round import drawn, jot_words, results
from coldframe.speech.trial import review_words
from tests.domain.play import EVERYBODY, D, F, Play, a_plan
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach
from tests.engine.seeing_through import words
from tests.speech.trials import OWNER, a_trial, with_split

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
PAGE = "They rang people before the second month, mulberry"

# --- a page of one's own --------------------------------------------------------------------------------------------


async def test_what_strikes_one_comes_back_where_plans_are_written_and_then_goes(tmp_path: Path) -> None:
    """Nobody else ever reads it, the file holds none of it in the clear, and the reveal of the plans ends it."""
    async with at_step(tmp_path, MONDAY, Step.PRECEDENTS) as team:
        assert await team.fill(JON, "jot.write", {"text": PAGE}) == {}
        await reach(team, Step.PLANS)
        sheet = next(w for w in reversed(team.told(JON)) if "One page" in w)
        form = (await team.press(JON, "plan.write")).form
        assert form is not None and PAGE in sheet and PAGE in plain(form.intro)
        await team.fill(JON, "jot.write", {"text": f"{PAGE} and willow"})
        assert any("willow" in w for w in team.told(JON))
        others = [w for m in EVERYBODY[:6] if m != JON for w in team.told(m)] + team.channel()
        assert not any("mulberry" in w for w in others)
        for file in tmp_path.glob("*.db*"):
            assert b"mulberry" not in file.read_bytes()
        assert Covers.JOTTINGS in await _keys(team)
        await reach(team, Step.BALLOT)
        assert (await team.current()).jottings == {} and Covers.JOTTINGS not in await _keys(team)
        assert not any("mulberry" in w for w in team.told(JON))


async def _keys(team: Running) -> set[Covers]:
    return {use.covers for use in await team.house.store.keys.uses()}


async def test_ones_page_is_in_the_export_and_goes_with_forget(tmp_path: Path) -> None:
    """It is about a person like everything else that they gave in private."""
    async with at_step(tmp_path, MONDAY, Step.PRECEDENTS) as team:
        await team.fill(JON, "jot.write", {"text": PAGE})
        await team.command(JON, "export", channel=False)
        room = team.house.room
        files = [room.log.file(f.id) for r in room.log.messages(room.direct(JON)) for f in r.files]
        assert any(PAGE.encode() in found[2] for found in files if found is not None)
        await team.command(JON, "forget me", channel=False)
        assert (await team.current()).jottings == {}


async def test_an_empty_page_is_none(tmp_path: Path) -> None:
    """What was jotted down can be taken back."""
    async with at_step(tmp_path, MONDAY, Step.PRECEDENTS) as team:
        await team.fill(JON, "jot.write", {"text": PAGE})
        await team.fill(JON, "jot.write", {"text": " "})
        assert (await team.current()).jottings == {}
        assert team.told(JON)[-1] == "Your page is empty again." or not any(PAGE in w for w in team.told(JON))


# --- a plan that borrows --------------------------------------------------------------------------------------------


async def test_a_plan_says_whose_idea_it_takes_over(tmp_path: Path) -> None:
    """The form offers the precedents, and the page that everybody reads gives title and idea."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        fields = {
            "question": "q1", "title": "Ring new teams", "hypothesis": "If we ring, they stay", "steps": "Write a list",
            "measure": "share that stays", "kind": "split", "weeks": "4", "borrows": "x1",
        }  # fmt: skip
        assert await team.fill(JON, "plan.write", fields) == {}
        await reach(team, Step.BALLOT)
        (page,) = [w for w in team.channel() if w.startswith("Ring new teams")]
        assert "Borrows from: “A library”: They rang." in page


def test_a_plan_is_offered_what_was_told_for_its_question_first() -> None:
    """Where there are several questions, each precedent comes with its own; where there is one, that goes without."""
    round_ = Play().to(Step.PLANS).round
    (alone,) = jot_words.borrows(round_, None)
    assert [option.label for option in alone.options] == ["none of them", "A library"]
    one = round_.questions[0]
    other = replace(one, id=QuestionId("q2"), text="How might we end the queue?")
    told = (*round_.precedents, replace(round_.precedents[0], id=PrecedentId("x2"), question=other.id, title="A ferry"))
    several = replace(round_, questions=(one, other), precedents=told)
    (field,) = jot_words.borrows(several, replace(a_plan("p7"), question=other.id))
    assert [option.value for option in field.options] == ["", "x2", "x1"]
    assert field.options[1].label == "A ferry · end the queue?"


def test_only_a_precedent_of_the_round_can_be_borrowed_from() -> None:
    """A made-up one is refused; a plan need not borrow."""
    play = Play().to(Step.PLANS)
    made_up = replace(a_plan("p7"), borrows=PrecedentId("no"))
    assert play.refused(HandInPlan(F, made_up)) is Because.UNKNOWN_ITEM
    play.do(HandInPlan(F, replace(a_plan("p7"), borrows=PrecedentId("x1"))), HandInPlan(F, a_plan("p8")))


# --- before the focus -----------------------------------------------------------------------------------------------

NUMBERS = {"visitors": "1000", "sign_up": "4 %", "activation": "30 %", "retention": "80 %", "margin": "100"}


async def test_the_numbers_are_asked_for_before_the_focus_and_help_there(tmp_path: Path) -> None:
    """The facilitator is asked while notes are written, once; the decision-maker reads what a point is worth."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        assert len([w for w in team.told(F) if "funnel numbers" in w]) == 1
        assert not [w for m in EVERYBODY[1:6] for w in team.told(m) if "funnel numbers" in w]
        assert await team.fill(F, "funnel.write", NUMBERS) == {}
        await reach(team, Step.FOCUS)
        (card,) = [w for w in team.told(D) if "Which lever" in w]
        assert "one more point is worth" in card
        assert not [w for w in team.told(F) if "funnel numbers" in w]


async def test_a_lever_on_which_hardly_anybody_wrote_is_named(tmp_path: Path) -> None:
    """So that it is not taken for one without trouble; where all have few notes, none is named."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.act("one", WriteNote(JON, NoteId("m1"), LeverId("activation"), Side.RESTRAINING, "Slow set-up"))
        await reach(team, Step.FOCUS)
        (card,) = [w for w in team.told(D) if "Which lever" in w]
        rows = {row.partition(":")[0]: "hardly anybody wrote" in row for row in card.splitlines() if "us back, " in row}
        assert rows == {"Acquisition": True, "Activation": True, "Retention": False}


# --- reading, placing, reviewing ------------------------------------------------------------------------------------


def test_a_sitting_has_five_minutes_of_silent_reading_before_the_ballot() -> None:
    """At least, whatever was typed; more is possible, and in days the hours stay as they were."""
    live = Settings(question="q", pace="live")
    assert rules.reading_length(live, Step.BALLOT) == 5
    assert rules.reading_length(replace(live, reading=1), Step.BALLOT) == 5
    assert rules.reading_length(replace(live, reading=12), Step.BALLOT) == 12
    assert rules.reading_length(Settings(question="q", reading=1), Step.BALLOT) == 1
    assert rules.reading_length(live, Step.DOTS) == 0


def _placed() -> tuple[Play, PlacementMatrix]:
    play = Play().to(Step.PLACEMENT)
    titles = [(plan, play.round.plans[plan].title) for plan in play.round.to_place]
    points = tuple(PlacedPlan("ABC"[i], t, 0.1, 0.1, 0.1, 0.1, "trial now", 0.9) for i, (_, t) in enumerate(titles))
    return play, PlacementMatrix(points, 0.0, 0.0, "")


def test_the_decision_makers_votes_stand_beside_the_matrix() -> None:
    """As the ballot's result told them, in the message, the table, the words of the picture and its signs."""
    play, chart = _placed()
    marked = drawn.with_chief(play.round, chart)
    votes = {s.option: s.decision_maker for s in play.round.plans_standing}
    assert [p.chief for p in marked.points] == [votes[plan] for plan in play.round.to_place] != [0, 0, 0]
    said = words(results.placement_result(play.round, marked, 6, 12))
    assert [row.split(" | ")[-1] for row in said.splitlines() if "trial now" in row] == [
        str(p.chief or "") for p in marked.points
    ]
    assert marked.table()[0][-1] == "Decision-maker's votes" and "by the decision-maker" in marked.alternative()


def test_where_the_ballot_told_places_only_the_matrix_tells_no_votes() -> None:
    """Too few voted to show any; then nothing of the kind stands beside the plans."""
    play, chart = _placed()
    few = replace(play.round, counted={**play.round.counted, Step.BALLOT: 2})
    assert drawn.with_chief(few, chart) == chart
    assert "Decision-maker" not in words(results.placement_result(few, chart, 6, 12))


def test_a_finished_trial_is_marked_with_what_was_done() -> None:
    """In figures of this trial, whatever came out of it; a late review and a broken week are said too."""
    closing = Closing("not met", "Not met.", "stop", "It did not work.", "Forms matter less.", OWNER, MONDAY)
    weeks = with_split(a_trial(closing=closing), [((40, 1000), (41, 1000))] * 3)
    said = words(review_words.closed(weeks, None))
    assert (
        "What this team did: 3 of 4 weeks counted, the review held on its date, what was learnt written down." in said
    )
    broken = {**weeks.weeks, 4: (Entry(4, None, state="broken"),)}
    said = words(review_words.closed(replace(weeks, weeks=broken, missed_reviews=1), None))
    assert "1 broken week named as such" in said and "the review held, if late" in said
