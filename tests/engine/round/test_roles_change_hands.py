"""Roles pass from hand to hand in the room: who is asked, who hears, who can go on; by buttons, forms and words."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PauseReason, PlanId, Role, Step
from coldframe.domain.people.commands import Leave
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.merging import ProposeMerges
from coldframe.domain.round.moves import Pause
from coldframe.domain.state import MergeProposal
from coldframe.engine.register import teams
from coldframe.ports.chat import Joined, Left, Person, Pressed, Submitted
from tests.domain.play import DD, FD, OTHERS, D, F
from tests.engine.clockwork import Running
from tests.engine.people.test_who_may_take_part import there_is
from tests.engine.reaching import at_step, reach
from tests.engine.seeing_through import CHANNEL, a_team
from tests.engine.vanishing import WAYS, Way, vanish

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = OTHERS[:2]
LEAD, CHIEF = Role.FACILITATOR, Role.DECISION_MAKER
A_DAY = timedelta(days=1)


async def _asks(team: Running, by: MemberId, role: Role, to: MemberId) -> None:
    """By the word that shows the roles, its button and its form."""
    await team.command(by, "roles", channel=False)
    assert await team.fill(by, "role.offer", {"member": to}, f"{team.round.id}|{role}") == {}


# --- passing on -----------------------------------------------------------------------------------------------------


async def test_a_facilitator_passes_the_role_on_with_the_others_yes(tmp_path: Path) -> None:
    """The other is asked by whom, what it means, until when; their yes is told in a line, and the desk goes with it."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await _asks(team, F, LEAD, INES)
        assert (await team.current()).is_facilitator(F)
        assert "Faye asks you to be facilitator of name of r1" in team.told(INES)[-1]
        assert "Please answer by Tue 3 Mar" in team.told(INES)[-1] and "You join duplicates" in team.told(INES)[-1]
        assert "I've asked Ines" in team.told(F)[-1]
        await team.press(INES, "role.yes")
        assert (await team.current()).is_facilitator(INES)
        assert [w for w in team.channel() if w.startswith("Ines is facilitator of name of r1 from now on")]
        assert [w for w in team.told(F) if w == "name of r1: Merge is with Ines now."]
        assert not [w for w in team.told(F) if "Close the merge" in w or "Please answer by" in w]
        await team.press(INES, "step.close")
        await team.press(INES, "held.now")
        assert (await team.current()).step is Step.DOTS


async def test_a_decision_maker_passes_the_role_on_and_the_other_decides(tmp_path: Path) -> None:
    """The question of the step comes to whoever has the role now, and is closed with whoever had it."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _asks(team, D, CHIEF, INES)
        await team.press(INES, "role.yes")
        assert [w for w in team.told(D) if w == "name of r1: Focus is with Ines now."]
        await team.fill(INES, "focus.pick", {"reason": "It leaks most of what we win."})
        await team.command(INES, "announce")
        assert (await team.current()).step is Step.MERGE


async def test_a_no_is_told_to_whoever_asked_and_leads_to_somebody_else(tmp_path: Path) -> None:
    """The role stays; the next to ask is one press away."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _asks(team, F, LEAD, INES)
        await team.press(INES, "role.no")
        assert "Ines would rather not be facilitator of name of r1. Faye stays facilitator." in team.told(F)[-1]
        await team.fill(F, "role.offer", {"member": JON})
        assert "Faye asks you" in team.told(JON)[-1]
        assert not [w for w in team.told(INES) if "Without a yes" in w]


async def test_silence_is_no_yes(tmp_path: Path) -> None:
    """After two working days of whoever was asked the role is not offered any more, and the asker hears."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _asks(team, F, LEAD, INES)
        await team.act("rest", Pause(F))
        await team.until(MONDAY + timedelta(days=4))
        assert [w for w in team.told(F) if w.startswith("The time for Ines to become facilitator")]
        assert (await team.current()).role_offers == ()
        with pytest.raises(LookupError):
            team.button(INES, "role.yes")


async def test_who_asked_takes_it_back(tmp_path: Path) -> None:
    """Nothing of it can be pressed any more on either side."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _asks(team, F, LEAD, INES)
        await team.press(F, "role.keep")
        for person, action in ((INES, "role.yes"), (F, "role.keep")):
            with pytest.raises(LookupError):
                team.button(person, action)


async def test_a_made_up_role_is_refused(tmp_path: Path) -> None:
    """Whatever a button's value says, nobody gets what nobody offered."""
    async with there_is(tmp_path, Person(JON, "Jon")) as there:
        before = await there.team.current()
        for action in ("role.yes", "role.no", "role.take", "role.keep", "role.back"):
            for value in (before.id, f"{before.id}|king", f"{before.id}|facilitator"):
                await there.happens(Pressed(action, value), INES)
        for person, to in ((INES, JON), (F, "nobody"), (F, "")):
            await there.happens(Submitted("role.offer", f"{before.id}|facilitator", {"member": to}), person)
            await there.happens(Submitted("role.deputy", f"{before.id}|facilitator", {"member": to}), person)
        assert await there.team.current() == before


async def test_a_deputy_is_named_and_hears_of_it(tmp_path: Path) -> None:
    """Where none is left, the roles offer it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.act("goes", Leave(BOT, FD))
        assert "The facilitator has no deputy any more." in team.told(F)[-1]
        await team.fill(F, "role.deputy", {"member": INES})
        assert "Faye named you as deputy of the facilitator" in team.told(INES)[-1]
        await team.act("goes too", Leave(BOT, F))
        assert (await team.current()).is_facilitator(INES)


# --- somebody silent ------------------------------------------------------------------------------------------------


async def test_a_silent_decision_maker_without_a_deputy_is_replaced_by_the_facilitators_choice(tmp_path: Path) -> None:
    """The choice comes while there is more time, and again when the round rests; the other's yes leads on."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await team.act("goes", Leave(BOT, DD))
        due = (await team.current()).progress.due
        assert due is not None
        await team.until(due + timedelta(hours=17))  # the deadline fell at the end of the day
        assert "There is no deputy" in team.told(F)[-1]
        await team.until(due + 3 * A_DAY - timedelta(hours=1))
        assert (await team.current()).paused is PauseReason.NOBODY_DECIDED
        await team.fill(F, "role.offer", {"member": INES}, f"{team.round.id}|decision-maker")
        assert "in place of Dora" in team.told(INES)[-1]
        await team.press(INES, "role.yes")
        assert (await team.current()).paused is None
        await team.fill(INES, "focus.pick", {"reason": "It leaks most of what we win."})
        await team.command(INES, "announce")
        assert (await team.current()).step is Step.MERGE


async def test_a_silent_facilitators_round_is_taken_over(tmp_path: Path) -> None:
    """It rests; the facilitator is asked, then those next to them may take over, then anybody in the channel."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        await team.act("goes", Leave(BOT, FD))
        while (await team.current()).paused is None:
            await team.until(team.clock.now() + timedelta(hours=1))
        assert (await team.current()).paused is PauseReason.NOBODY_DECIDED
        assert [w for w in team.told(F) if "rests in the questions step" in w]
        with pytest.raises(LookupError):
            team.button(INES, "role.take")
        await team.until(MONDAY + timedelta(days=14))
        assert [w for w in team.told(D) if "still rests" in w]
        assert [w for w in team.channel() if "still rests" in w]
        await team.press(INES, "role.take")
        after = await team.current()
        assert after.is_facilitator(INES) and after.paused is None
        assert [w for w in team.channel() if w.startswith("Ines has taken over as facilitator")]
        assert INES in rules.expected(after)
        for person in (F, D, JON):
            assert not [w for w in team.told(person) if "still rests" in w or "What should happen?" in w]
            with pytest.raises(LookupError):
                team.button(person, "role.take")


async def test_a_round_paused_on_purpose_asks_its_facilitator_first(tmp_path: Path) -> None:
    """A pause may take a week; going on closes what others might have taken."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.act("rest", Pause(F))
        await team.until(MONDAY + timedelta(days=4))
        assert not [w for w in team.told(F) if "What should happen?" in w]
        await team.until(MONDAY + timedelta(days=8))
        assert "What should happen?" in team.told(F)[-1]
        await team.until(MONDAY + timedelta(days=15))
        assert [w for w in team.told(FD) if "Whoever takes over as facilitator" in w]
        await team.press(F, "round.resume")
        assert (await team.current()).paused is None and (await team.current()).open_roles == frozenset()
        assert (await team.current()).is_facilitator(F)
        with pytest.raises(LookupError):
            team.button(FD, "role.take")


async def test_the_panel_offers_what_leads_on(tmp_path: Path) -> None:
    """In a resting round its facilitator goes on by one press."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.act("rest", Pause(F))
        await team.command(F, "")
        await team.press(F, "round.resume")
        assert (await team.current()).paused is None


# --- somebody comes back, somebody leaves -----------------------------------------------------------------------------


async def test_who_left_and_came_back_is_asked_whether_they_want_their_role_again(tmp_path: Path) -> None:
    """Their yes counts; whoever has it meanwhile hears that they are asked."""
    async with there_is(tmp_path, Person(F, "Faye")) as there:
        await there.happens(Left(), F)
        assert (await there.team.current()).is_facilitator(FD)
        await there.happens(Joined(), F)
        assert "Welcome back. You were facilitator" in there.team.told(F)[-1]
        assert "I've asked Faye to be facilitator" in there.team.told(FD)[-1]
        await there.team.press(F, "role.yes")
        assert (await there.team.current()).is_facilitator(F)
        assert [w for w in there.team.channel() if w.startswith("Faye is back, and facilitator")]


async def test_the_facilitator_hears_who_left_and_what_it_changes(tmp_path: Path) -> None:
    """In one private line, with what they can do; nobody else hears of it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.act("one", Leave(BOT, JON))
        assert team.told(F)[-1].startswith("Jon has left name of r1: 5 of 6 remain, the quorum is now 3.")
        assert "/coldframe add" in team.told(F)[-1]
        assert not [w for w in team.told(D) if "has left" in w]


async def test_the_facilitator_hears_that_a_chosen_plan_lost_its_owner(tmp_path: Path) -> None:
    """And asks somebody else by one press."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        p0 = PlanId("p0")
        await team.act("own", ChoosePlan(F, p0), AskOwner(F, p0, INES), AnswerOwnership(INES, p0, accept=True))
        await team.act("goes", Leave(BOT, INES))
        assert "“Title of p0” has no owner any more." in team.told(F)[-1]
        await team.fill(F, "owner.ask", {"member": JON})
        assert (await team.current()).choices[p0].asked == JON


async def test_everybody_with_a_role_is_forgotten_and_somebody_can_still_go_on(tmp_path: Path) -> None:
    """Nobody's name stands in what is said of it."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        for person in (F, FD, D, DD):
            await team.command(person, "forget me", channel=False)
        round_ = await team.current()
        assert {round_.roles.acting(role) for role in Role} == {INES}
        assert [w for w in team.told(INES) if w.startswith("You're facilitator of name of r1 now")]
        assert not [w for w in team.told(INES)[-9:] if "Dirk" in w or "Fred" in w]
        await team.press(INES, "step.close")
        await team.press(INES, "held.now")
        assert (await team.current()).step is Step.DOTS


# --- the weight -----------------------------------------------------------------------------------------------------


async def test_the_weight_of_an_open_ballot_stays_and_the_words_say_so(tmp_path: Path) -> None:
    """Who votes with more weight does not change under the voters' hands."""
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        opens = (await team.current()).progress.opens
        assert opens is not None
        await team.until(opens + timedelta(minutes=1))
        await _asks(team, D, CHIEF, INES)
        await team.press(INES, "role.yes")
        assert "it is still Dora whose votes weigh more" in team.channel()[-1]
        await team.act("vote", CastVote(INES, "p0", "button"), CastVote(D, "p1", "button"))
        await team.command(F, "close")
        await team.command(F, "announce")
        await team.until(team.clock.now() + timedelta(minutes=1))
        found = {s.option: s.weighted for s in (await team.current()).plans_standing}
        assert found == {"p0": 1, "p1": 2, "p2": 0}


# --- after the round ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", WAYS[1:])
async def test_the_next_round_is_not_lost_with_its_facilitator(tmp_path: Path, way: Way) -> None:
    """Whoever facilitated has gone since the round ended: its date comes to the deputy, and nothing to who is gone."""
    async with a_team(tmp_path) as team:
        await vanish(team, F, way)
        before = len(team.told(F))
        async with team.house.store.begin() as uow:
            assert await teams.facilitator_of(uow, "room", CHANNEL) == FD
        await team.weeks(7)
        assert [w for w in team.told(FD) if "next round" in w.lower()]
        assert len(team.told(F)) == before
        assert not [w for w in team.channel() if "acts as facilitator" in w]


# --- merges ---------------------------------------------------------------------------------------------------------


async def test_open_proposals_go_with_the_desk(tmp_path: Path) -> None:
    """A new facilitator is asked what the earlier one had not answered."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        first, second = (f.notes[0] for f in (await team.current()).forces[:2])
        await team.act("propose", ProposeMerges(BOT, (MergeProposal(first, second, 0.9, "alike"),)))
        await _asks(team, F, LEAD, INES)
        await team.press(INES, "role.yes")
        await team.press(INES, "merge.yes")
        assert len((await team.current()).forces) == 5
        assert [w for w in team.told(INES) if "Joined:" in w]


async def test_an_offer_may_be_answered_in_a_later_step(tmp_path: Path) -> None:
    """A role is not a step's: whoever is asked answers when they have thought about it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await _asks(team, F, LEAD, INES)
        await reach(team, Step.MERGE)
        await team.press(INES, "role.yes")
        assert (await team.current()).is_facilitator(INES)
        await team.press(INES, "step.close")
        await team.press(INES, "held.now")
        assert (await team.current()).step is Step.DOTS


@pytest.mark.parametrize("way", WAYS[1:])
async def test_whoever_has_left_reads_nothing_of_the_team_any_more(tmp_path: Path, way: Way) -> None:
    """Neither the digest nor the register, in a round as after its end; by word and by an older button."""
    async with a_team(tmp_path) as team:
        await team.command(JON, "digest", channel=False)
        assert [w for w in team.told(JON) if "Title of p0" in w]
        await vanish(team, JON, way)
        before = team.told(JON)
        for asked in ("digest", "search Title", "trials"):
            await team.command(JON, asked, channel=False)
        assert not [w for w in team.told(JON)[len(before) :] if "Title of p0" in w]


async def test_whoever_came_back_after_the_round_reads_again(tmp_path: Path) -> None:
    """Nothing is said of it, and no role changes hands by it."""
    async with a_team(tmp_path) as team:
        await vanish(team, F, "left")
        before = len(team.told(F))
        await team.house.room.join(Person(F, "Faye", "UTC"), CHANNEL)
        await team.settle()
        assert len(team.told(F)) == before
        await team.command(F, "digest", channel=False)
        assert "Title of p0" in team.told(F)[-1]
        async with team.house.store.begin() as uow:
            assert await teams.facilitator_of(uow, "room", CHANNEL) == FD
