"""What stays private until it is shown, and what is said to one person alone: forecasts, fears, learnings, scores."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.state import Plan
from coldframe.engine.register.digest import gather
from coldframe.engine.worker import judging
from coldframe.ports.chat import Person
from coldframe.ports.follow_through import RegisterEntry, Wanted
from coldframe.speech.register import digest_words
from coldframe.speech.register.digest_words import Digest, TrialRow
from tests.domain.play import DD, FD, D, F, a_plan
from tests.engine.seeing_through import MONDAY, a_team, words

HOUR = timedelta(hours=1)
INES = MemberId("ines")


async def test_chances_are_given_by_button_emoji_or_form_and_nobody_sees_them_before_the_seal(tmp_path: Path) -> None:
    """The question comes to each member; a digit stands for tens of per cent; the channel hears nothing."""
    async with a_team(tmp_path, sealed=False) as team:
        plan = PlanId("p0")
        await team.act("choose", ChoosePlan(F, plan, running_trials=0))
        line = team.last_id(INES, "“Title of p0”")
        await team.house.room.react_as(INES, line, "4⃣")
        await team.press(FD, "forecast.give", f"{team.round.id}|{plan}|70")
        await team.fill(D, "forecast.write", {"chance": "50", "fear": "canary"})
        await team.settle()
        assert any("You said 40%" in words for words in team.told(INES))
        assert "You said 70%" in "\n".join(team.told(FD))
        seen = "\n".join([*team.channel(), *team.told(F)])
        assert "canary" not in seen and "70%" not in seen.replace("[", "")
        current = await team.current()
        assert current.choices[plan].forecasts == {INES: 40, FD: 70, D: 50}


async def test_what_fewer_than_three_said_is_not_shown_as_if_it_were_unsigned(tmp_path: Path) -> None:
    """Two are no crowd: neither the seal, nor the review, nor its close, register or digest says what they said, or
    that somebody wrote at all. [a single forecast was shown as "from 40 to 40%"]"""
    async with a_team(tmp_path, chances={FD: 73, D: 37}, fears=("canary one", "canary two")) as team:
        await team.weeks(4, at=timedelta(days=1, hours=1))
        for member in (FD, INES):
            assert not await team.fill(member, "trial.learn", {"text": f"canary of {member}"})
        await team.fill(D, "trial.close", {"learning": "Calling works", "decision": "stop", "reason": "no numbers"})
        await team.weeks(5)
        await team.command(F, "digest")
        await team.command(F, "search calling")
        seen = "\n".join([*team.channel(), *team.told(F), *(words(n.message) for n in team.house.room.notes(F))])
        assert seen.count("not shown: fewer than three people gave one") == 2
        assert "wrote what they learnt" not in seen and "wrote why" not in seen
        assert not any(said in seen for said in ("canary", "73%", "37%", "55%", "mean score"))
        async with team.house.store.begin() as uow:
            (entry,) = await uow.search("room", ["growth"], Wanted())
        assert (entry.chances, entry.learnings) == ((), ())


async def test_of_too_few_each_chooses_whether_what_they_fear_is_shown_with_their_name(tmp_path: Path) -> None:
    """Asked in private, at their next working moment, each for themselves alone. What one has shown stands in the
    channel and in the review; what another keeps is nowhere, and the question goes with the answer."""
    async with a_team(tmp_path, chances={FD: 73, INES: 37, D: 50}, fears=("canary one", "canary two")) as team:
        assert not any("canary" in m for m in team.channel())
        for member, fear in ((FD, "canary one"), (INES, "canary two")):
            (asked,) = [m for m in team.told(member) if "with your name" in m]
            assert fear in asked and "If you choose nothing, nobody sees it." in asked
        assert not any("with your name" in m for member in (F, D, DD) for m in team.told(member))
        shown = await team.press(FD, "trial.show_mine")
        kept = await team.press(INES, "trial.keep_mine")
        assert (words(shown.note), words(kept.note)) == ("It's in the channel, with your name.", "It stays with you.")
        assert [m for m in team.channel() if "canary" in m] == ["What Fred fears of “Title of p0”: canary one"]
        assert not any("with your name" in m for member in (FD, INES) for m in team.told(member))
        await team.weeks(4, at=timedelta(days=1, hours=1))
        (review,) = [m for m in team.channel() if m.startswith("Review: ")]
        assert "canary one (Fred)" in review and "canary two" not in "\n".join(team.channel())
        assert (await team.trial()).feared == {INES: "canary two"}


async def test_of_too_few_each_chooses_whether_what_they_learnt_is_shown_with_their_name(tmp_path: Path) -> None:
    """After the review; the register finds it then, without the name. Whoever is forgotten takes it along."""
    async with a_team(tmp_path, chances={INES: 37}, fears=("an old canary",)) as team:
        await team.weeks(4, at=timedelta(days=1, hours=1))
        for member in (FD, INES):
            assert not await team.fill(member, "trial.learn", {"text": f"canary of {member}"})
        await team.fill(D, "trial.close", {"learning": "Calling works", "decision": "stop", "reason": "no numbers"})
        await team.weeks(5)
        assert len([m for m in team.told(INES) if "what you learnt from “Title of p0”?" in m]) == 1
        with pytest.raises(LookupError):
            team.button(INES, "trial.show_mine", f"{team.round.id}-p0%:sign fear")
        await team.press(INES, "trial.show_mine")
        assert [m for m in team.channel() if "canary" in m] == ["What Ines learnt from “Title of p0”: canary of ines"]
        async with team.house.store.begin() as uow:
            (entry,) = await uow.search("room", ["growth"], Wanted(words="canary"))
        assert entry.of_others == ("canary of ines",) and entry.learnings == ()
        await team.command(INES, "forget me", channel=False)
        await team.until(team.clock.now() + timedelta(minutes=6))
        async with team.house.store.begin() as uow:
            assert await uow.search("room", ["growth"], Wanted(words="canary")) == []
        assert (await team.trial()).signed == ()


async def test_a_question_about_ones_name_that_nobody_answers_goes_after_a_week(tmp_path: Path) -> None:
    """Nothing was shown, by nobody else's press either."""
    async with a_team(tmp_path, chances={INES: 37}, fears=("canary",)) as team:
        message, button = team.button(INES, "trial.show_mine")
        reply = await team.house.room.press(FD, message, button.action, button.value, forged=True)
        assert "It was settled" in words(reply.note)
        await team.until(team.clock.now() + timedelta(days=7, hours=1))
        assert not any("with your name" in m for m in team.told(INES))
        assert "canary" not in "\n".join(team.channel())


async def test_three_forecasts_are_shown_so_that_nobodys_own_can_be_read_off(tmp_path: Path) -> None:
    """Neither the lowest nor the highest, so that three who agree do not give each other away."""
    async with a_team(
        tmp_path, chances={F: 40, D: 40, FD: 40}, fears=("canary one", "canary two", "canary three")
    ) as team:
        seen = "\n".join(team.channel())
        assert "Forecasts: 3, not far apart; the middle one is 40%" in seen
        assert all(f"canary {n}" in seen for n in ("one", "two", "three"))


@pytest.mark.parametrize(("others", "said"), [(100, "90% or more"), (90, "90% or more"), (0, "10% or less")])
async def test_three_forecasts_at_the_end_of_the_scale_do_not_give_two_away(
    others: int, said: str, tmp_path: Path
) -> None:
    """Whoever said something else would know of both others what they said: the end itself is told coarsely, and the
    score, a sum of so few, not at all."""
    async with a_team(tmp_path, chances={F: 50, D: others, FD: others}) as team:
        await team.weeks(4, at=timedelta(days=1, hours=1))
        await team.fill(D, "trial.close", {"learning": "Calling works", "decision": "stop", "reason": "no numbers"})
        await team.weeks(5)
        seen = "\n".join(team.channel())
        assert f"the middle one is {said}" in seen and "mean score" not in seen


async def test_a_fear_that_was_taken_back_or_rewritten_is_never_published(tmp_path: Path) -> None:
    """By the form, which shows one's last words and takes them back when it is sent empty; a button leaves them."""
    async with a_team(tmp_path, sealed=False) as team:
        plan = PlanId("p0")
        await team.act("choose", ChoosePlan(F, plan, running_trials=0))
        await team.settle()
        for member in (INES, FD, DD, D, F):
            await team.fill(member, "forecast.write", {"chance": "50", "fear": f"withdrawn canary of {member}"})
        opened = await team.press(INES, "forecast.write")
        assert opened.form is not None
        assert [field.initial for field in opened.form.fields] == ["50", f"withdrawn canary of {INES}"]
        await team.fill(INES, "forecast.write", {"chance": "50", "fear": ""})
        for member in (FD, DD, D):
            await team.fill(member, "forecast.write", {"chance": "50", "fear": f"last word of {member}"})
        await team.press(DD, "forecast.give", f"{team.round.id}|{plan}|70")
        await team.fill(F, "forecast.write", {"chance": "60", "fear": " "})
        await team.settle()
        assert f"last word of {DD}" in "\n".join(team.told(DD)) and "withdrawn" not in "\n".join(team.told(DD))
        choice = (await team.current()).choices[plan]
        assert choice.feared == {m: f"last word of {m}" for m in (FD, DD, D)}


async def test_learnings_stay_private_until_the_review_is_closed(tmp_path: Path) -> None:
    """Nobody reads them before, facilitator and digest included; afterwards no name stands beside them."""
    async with a_team(tmp_path) as team:
        await team.weeks(4, at=timedelta(days=1, hours=1))
        for member in (INES, FD, DD):
            assert not await team.fill(member, "trial.learn", {"text": "a withdrawn canary"})
            assert not await team.fill(member, "trial.learn", {"text": f"canary learning of {member}"})
        opened = await team.press(INES, "trial.learn")
        assert opened.form is not None and opened.form.fields[0].initial == f"canary learning of {INES}"
        await team.command(F, "digest")
        said = "\n".join([*team.channel(), *team.told(F), *(words(n.message) for n in team.house.room.notes(F))])
        assert "canary" not in said
        await team.fill(D, "trial.close", {"learning": "Calling works", "decision": "stop", "reason": "no numbers"})
        closed = next(m for m in team.channel() if m.startswith("Reviewed"))
        assert closed.count("canary learning") == 3 and "withdrawn" not in closed and "Ines" not in closed


async def test_an_author_is_shown_an_earlier_plan_before_handing_theirs_in(tmp_path: Path) -> None:
    """The form stays open with the earlier trial beside the title; sent again it is handed in all the same."""
    async with a_team(tmp_path, sealed=False, step=Step.PLANS) as team:
        plan: Plan = a_plan("p9", question=team.round.questions[0].id)
        async with team.house.store.begin() as uow:
            earlier = RegisterEntry(
                "t1", "room", "growth", "winter", "retention", "Retention", plan.title, plan.hypothesis, "", "",
                "Mia", "not met", MONDAY, learning="Nobody answers before ten",
            )  # fmt: skip
            await uow.enter(earlier)
        fields = {
            "question": plan.question, "title": plan.title, "hypothesis": plan.hypothesis, "steps": "Call them",
            "measure": "calls", "kind": "split", "weeks": "4",
        }  # fmt: skip
        room, handed = team.house.room, len(team.round.plans)
        reply = await room.submit(INES, "plan.write", team.round.id, fields, forged=True)
        assert "resembles an earlier one" in reply.errors["title"]
        async with team.house.store.begin() as uow:
            kept = await uow.round(team.round.id)
        assert kept is not None and len(kept.plans) == handed
        again = await room.submit(INES, "plan.write", team.round.id, fields, forged=True)
        assert not again.errors
        async with team.house.store.begin() as uow:
            kept = await uow.round(team.round.id)
        assert kept is not None and len(kept.plans) == handed + 1


async def test_an_earlier_trial_like_a_plan_is_found_and_told_to_nobody_but_its_author(tmp_path: Path) -> None:
    """On the author's own sheet (test_likening); the channel and the others hear nothing of it."""
    async with a_team(tmp_path, sealed=False, step=Step.PLANS) as team:
        plan: Plan = a_plan("p9", question=team.round.questions[0].id)
        async with team.house.store.begin() as uow:
            earlier = RegisterEntry(
                "t1", "room", "growth", "winter", "retention", "Retention", "Call teams", plan.hypothesis, "", "",
                "Mia", "not met", MONDAY, learning="Nobody answers before ten",
            )  # fmt: skip
            await uow.enter(earlier)
        await team.act("hand in", HandInPlan(INES, plan))
        await team.settle()
        assert [one.title for one in (await team.current()).plans[plan.id].earlier] == ["Call teams"]
        for heard in (team.channel(), *(team.told(person) for person in (F, D))):
            assert not any("Like an earlier" in words for words in heard)


def test_the_calibration_picture_waits_for_twenty_resolved_forecasts() -> None:
    """Before that a picture would pretend to know."""
    assert judging.calibration([50] * 19, [1] * 19) is None
    chart = judging.calibration([20] * 10 + [80] * 10, [0] * 8 + [1] * 2 + [1] * 8 + [0] * 2)
    assert chart is not None and chart.resolved == 20
    assert [(b.stated, b.happened) for b in chart.bins] == [(0.2, 0.2), (0.8, 0.8)]


async def test_the_digest_of_a_team_is_json_and_markdown(tmp_path: Path) -> None:
    """Both hold the same; no person is scored or counted in either."""
    async with a_team(tmp_path) as team:
        await team.weeks(2, at=HOUR)
        async with team.house.store.begin() as uow:
            digest = await gather(uow, "room", "growth", team.clock.now())
        read = json.loads(digest_words.as_json(digest))
        assert read["trials"][0]["title"] == "Title of p0" and read["places_free"] == 1
        text = digest_words.markdown(digest)
        assert "## Trials" in text and "Title of p0" in text
        assert not any(word in text.casefold() for word in ("score", "streak", "best", "worst", "overdue by"))


@pytest.mark.parametrize(
    "title", ["# Heading", "[x](javascript:alert(1))", "<img src=x onerror=1>", "a|b", "- item\n# x"]
)
def test_peoples_words_in_the_markdown_digest_stay_words(title: str) -> None:
    """No heading, link, tag, table cell or list comes out of a title."""
    row = TrialRow(title, "Mia", "week 1 of 4", "", None, None, "", (), "")
    text = digest_words.markdown(Digest("c", datetime(2026, 3, 2, tzinfo=UTC), None, (), (row,), (), (), 2, None))
    line = next(one for one in text.splitlines() if "Mia" in one)
    assert not any(sign in line.replace("\\" + sign, "") for sign in "<>|[]#")
    assert text.count("\n# ") == 0


async def test_a_second_team_sees_nothing_of_the_first(tmp_path: Path) -> None:
    """Digest, search and details are those of one's own channels."""
    async with a_team(tmp_path) as team:
        await team.weeks(1, at=HOUR)
        room = team.house.room
        room.add_channel("other", "other")
        room.add_person(Person("sue", "Sue", "UTC"), "other")
        await room.command("sue", room.channel("other"), "search title")
        assert "No trial in the register" in words(room.notes("sue")[-1].message)
        await room.press("sue", None, "digest.more", "growth|trials", forged=True)
        await team.settle()
        assert not any("Title of p0" in m for m in team.told("sue"))
