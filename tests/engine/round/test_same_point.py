"""Members say "same point" too, in private, with the facilitator's yes; the merge shows the next pairs on request; what
drives the lever stands beside what holds it back; and the force field's arrows follow the dots."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from coldframe.domain.commands import BOT
from coldframe.domain.names import LeverId, MemberId, NoteId, Role, Side, Step
from coldframe.domain.round.merging import ProposeMerges
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.round.roles import AnswerRole, OfferRole
from coldframe.domain.state import Likeness, MergeProposal
from coldframe.engine.worker import explaining
from coldframe.message.nodes import Drawing, plain
from coldframe.message.pictures import ForceField
from coldframe.ports.chat import Reply
from coldframe.speech.round import results
from tests.domain.play import RETENTION, D, F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = MemberId("ines"), MemberId("jon")


async def _says(team: Running, by: str = INES, pair: tuple[int, int] = (0, 1)) -> Reply:
    """Says so by the button of the step's card in the channel."""
    forces = (await team.current()).forces
    first, second = forces[pair[0]].id, forces[pair[1]].id
    room, opened = team.house.room, (await team.press(by, "merge.same")).form
    assert opened is not None
    reply = await room.submit(by, opened.action, opened.value, {"first": first, "second": second})
    await team.settle()
    return reply


async def _both_roles(team: Running) -> None:
    """The facilitator becomes decision-maker as well."""
    offer = OfferRole(D, Role.DECISION_MAKER, F, team.clock.now() + timedelta(days=1))
    await team.act("both", offer, AnswerRole(F, Role.DECISION_MAKER, accept=True))


async def test_the_facilitator_decides_on_what_a_member_says(tmp_path: Path) -> None:
    """They are asked, a yes joins; nobody else hears of it, and nothing stored tells who said it."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        channel, others = team.channel(), {m: team.told(m) for m in (D, JON)}
        await _says(team)
        round_ = await team.current()
        assert len(round_.forces) == 6 and INES not in str(round_.proposals)
        assert any("Somebody in the team says that it is" in words for words in team.told(F))
        assert team.channel() == channel and {m: team.told(m) for m in (D, JON)} == others
        await team.press(F, "merge.yes")
        assert len((await team.current()).forces) == 5


async def test_said_twice_it_is_asked_once_and_a_no_stands(tmp_path: Path) -> None:
    """A second voice brings no second question; what was kept apart is not asked again, and its sayer hears so."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await _says(team, INES)
        asked = len(team.told(F))
        await _says(team, JON)
        assert len(team.told(F)) == asked and len((await team.current()).proposals) == 1
        await team.press(F, "merge.no")
        reply = await _says(team, JON, (1, 0))
        assert "kept apart already" in str(reply)
        assert len((await team.current()).forces) == 6


async def test_the_facilitator_saying_so_joins_at_once(tmp_path: Path) -> None:
    """It is theirs to decide."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await _says(team, F)
        assert len((await team.current()).forces) == 5


async def test_one_person_in_both_roles_and_a_member_are_two(tmp_path: Path) -> None:
    """Who facilitates and decides needs a second person's yes: whoever said it first has given that."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await _both_roles(team)
        await _says(team)
        await team.press(F, "merge.yes")
        assert len((await team.current()).forces) == 5


async def test_what_the_bot_found_goes_to_everybody_for_the_second_yes(tmp_path: Path) -> None:
    """Without anybody's word, one in both roles says yes first, and then anybody else may."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await _both_roles(team)
        first, second = (force.notes[0] for force in (await team.current()).forces[:2])
        await team.act("found", ProposeMerges(BOT, (MergeProposal(first, second, 0.9, (Likeness("shared words"),)),)))
        before = len(team.channel())
        await team.press(F, "merge.yes")
        assert len((await team.current()).forces) == 6 and len(team.channel()) == before + 1
        await team.press(JON, "merge.yes")
        assert len((await team.current()).forces) == 5


async def test_the_pairs_that_the_bot_found_are_answered_on_one_sheet(tmp_path: Path) -> None:
    """It moves on to the next pair in place, leaves out what is joined by then, and shows what was joined."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        a, b, c = (force.notes[0] for force in (await team.current()).forces[:3])
        found = [MergeProposal(*pair, 0.9, (Likeness("shared words"),)) for pair in ((a, b), (b, c), (a, c))]
        before = len(team.told(F))
        await team.act("found", ProposeMerges(BOT, tuple(found)))
        assert "3 pairs to go" in team.told(F)[-1]
        await team.press(F, "merge.yes")
        assert "2 pairs to go" in team.told(F)[-1] and "Joined:" in team.told(F)[-1]
        await team.press(F, "merge.yes")
        assert "No pair to answer: 4 forces as it stands." in team.told(F)[-1]
        assert len(team.told(F)) == before


async def test_the_next_pairs_come_on_request_until_there_are_none(tmp_path: Path) -> None:
    """Each request brings pairs that were not shown yet, the facilitator alone sees them, and the last says so."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        texts = ("The bill is hard to read", "Reading the bill is slow", "Slow pages", "The pages are hard to find")
        notes = (WriteNote(INES, NoteId(f"m{i}"), RETENTION, Side.RESTRAINING, t) for i, t in enumerate(texts))
        await team.act("alike", *notes)
        await reach(team, Step.MERGE)
        seen: set[frozenset[str]] = set()
        for _ in range(20):
            pairs = [frozenset((p.first, p.second)) for p in (await team.current()).proposals]
            assert len(pairs) == len(set(pairs)) and len(pairs) - len(seen) <= 5
            if seen == set(pairs) and seen:
                break
            seen = set(pairs)
            await team.press(F, "merge.more")
        assert "no more pairs" in team.told(F)[-1]
        assert not any("Same point" in words and "pages" in words for words in team.channel())


async def test_the_questions_step_shows_what_drives_the_lever(tmp_path: Path) -> None:
    """In the form, beside the force to turn round; of the lever in focus alone."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        driving = WriteNote(INES, NoteId("d1"), RETENTION, Side.DRIVING, "People love the weekly letter")
        elsewhere = WriteNote(INES, NoteId("d2"), LeverId("activation"), Side.DRIVING, "The demo call sells")
        await team.act("drives", driving, elsewhere)
        await reach(team, Step.QUESTIONS)
        form = (await team.press(F, "question.write")).form
        assert form is not None
        beside = plain(form.intro)
        assert "People love the weekly letter" in beside and "The demo call sells" not in beside


async def test_arrows_follow_the_dots_where_dots_are_told(tmp_path: Path) -> None:
    """Each force in focus has its dots in the picture; with too few voters there is no such picture."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        round_ = await team.current()
        drawn = results.dots_result(round_, None, 0).attachments
        (field,) = (d.chart for d in drawn if isinstance(d, Drawing) and isinstance(d.chart, ForceField))
        assert field.dots == tuple(s.group for s in round_.forces_standing) and sum(field.dots) == 6
        assert any("forces-by-dots" in words for words in team.channel())


async def test_without_the_encoder_the_desk_and_the_log_say_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever leads knows what to look for, and whoever runs the bot what to install."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        monkeypatch.setattr(explaining, "encoder", lambda: None)
        with capture_logs() as logged:
            await team.press(F, "merge.more")
        assert any("Compared by words alone" in words for words in team.told(F))
    assert [entry["round"] for entry in logged if entry["event"] == "merge.by_words_alone"] == ["r1"]


async def test_of_a_group_the_facilitator_can_join_some(tmp_path: Path) -> None:
    """The card offers all, some or none of it, in words how sure it is; ticked notes are joined, the others stay."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        first, second, third = (force.notes[0] for force in (await team.current()).forces[:3])
        group = MergeProposal(first, second, 0.6, (Likeness("shared words"),), more=(third,))
        await team.act("found", ProposeMerges(BOT, (group,), by_words=True))
        assert any("Perhaps the same point." in words for words in team.told(F))
        assert any("Compared by words alone" in words for words in team.told(F))
        form = (await team.press(F, "merge.some")).form
        assert form is not None and len(form.fields[0].options) == 3
        await team.house.room.submit(F, form.action, form.value, {"same": f"{first}\n{third}"})
        await team.settle()
        assert {first, third} in [set(force.notes) for force in (await team.current()).forces]
        assert len((await team.current()).forces) == 5
