"""What was there before coldframe: running trials and past results, entered by the facilitator through the room."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import date, timedelta
from pathlib import Path

import pytest

from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.ports.follow_through import RegisterEntry, Wanted
from tests.domain.play import EVERYBODY, D, F
from tests.engine.seeing_through import CHANNEL, MONDAY, WEEK, Team, a_team, words

JON = EVERYBODY[5]
RUNS = {
    "title": "Letters by post",
    "owner": F,
    "weeks": "4",
    "written": "Notes of the May meeting",
    "lever": "retention",
}
WHOLE = {
    "measure": "Share that answers", "kind": "split", "baseline": "20%", "target": "26%", "weekly": "400",
    "counted": "New teams", "stop_line": "complaints double", "harm": "support tickets",
}  # fmt: skip
PAST = {
    "title": "A telephone tree", "verdict": "It went well: a third rang back", "learning": "Ring before ten",
    "ended": "2025-06-30", "written": "Yearly report", "lever": "retention", "measure": "calls", "owner": "Cora",
}  # fmt: skip


@pytest.fixture
async def team(tmp_path: Path) -> AsyncIterator[Team]:
    """A round in which nothing was committed yet."""
    async with a_team(tmp_path, sealed=False) as found:
        yield found


async def _bring(team: Team, action: str, fields: dict[str, str], person: str = F) -> dict[str, str]:
    await team.command(person, "bring")
    return dict(await team.fill(person, action, fields))


async def _trials(team: Team) -> list[Trial]:
    async with team.house.store.begin() as uow:
        return await uow.trials_of("room", CHANNEL, over=True)


async def _entries(team: Team) -> list[RegisterEntry]:
    async with team.house.store.begin() as uow:
        return await uow.search("room", [CHANNEL], Wanted())


async def test_a_running_trial_takes_a_place_and_is_marked(team: Team) -> None:
    """Its card, the digest and the register say that it was brought in; the second place is all that is left."""
    assert await _bring(team, "bring.trial", RUNS | WHOLE) == {}
    (trial,) = await _trials(team)
    assert (trial.step, trial.owner, trial.planned, trial.only_counted) == (TrialStep.RUNNING, F, 4, False)
    assert (trial.starts, trial.starts and trial.starts.weekday()) == (date(2026, 3, 2), 0)
    card = next(text for text in team.channel() if text.startswith("Trial: Letters by post"))
    assert "Brought in: Notes of the May meeting; its criterion wasn't fixed here beforehand" in card
    desk = await team.command(F, "digest")
    assert (
        desk.note is not None
        and "Letters by post (brought in)" in words(desk.note)
        and "one place free" in words(desk.note)
    )
    (entry,) = await _entries(team)
    assert (entry.verdict, entry.brought) == ("running", "Notes of the May meeting")


async def test_what_it_showed_until_then_is_shown_and_not_judged(team: Team) -> None:
    """It runs since a day that is past: one entry stands for the days until its first whole week here."""
    assert await _bring(team, "bring.trial", RUNS | WHOLE | {"since": "2026-02-09"}) == {}
    (trial,) = await _trials(team)
    assert (trial.live, trial.starts) == (date(2026, 2, 9), date(2026, 3, 2))
    assert trial.early_days() == (date(2026, 2, 9), date(2026, 3, 1))
    await team.say(F, "week 0: control 1200/240, trial 1180/300")
    (trial,) = await _trials(team)
    assert [entry.week for entry in trial.early] == [0] and not trial.weeks
    answer = next(text for text in reversed(team.told(F)) if "I noted" in text)
    assert "the days before week 1, Mon 9 February to Sun 1 March" in answer and "(not judged)" in answer


async def test_all_that_was_agreed_about_it_can_be_entered(team: Team) -> None:
    """Harm and stop line with their values, who is counted, the split, the lag: crossing them tells as ever."""
    agreed = {"harm_usual": "4", "harm_limit": "9", "stop_at": "15%", "planned_share": "30%", "lag": "7"}
    assert await _bring(team, "bring.trial", RUNS | WHOLE | agreed | {"population": "new"}) == {}
    (trial,) = await _trials(team)
    criterion = trial.criterion
    assert (criterion.harm_usual, criterion.harm_limit, criterion.stop_at) == (4, 9, 0.15)
    assert (criterion.planned_share, criterion.lag, criterion.population) == (0.3, 7, "new")
    assert trial.all_counted() == date(2026, 4, 6)


async def test_its_weeks_are_asked_for_and_logged_like_others(team: Team) -> None:
    """And its review is opened with what the numbers support."""
    await _bring(team, "bring.trial", RUNS | WHOLE)
    await team.until(MONDAY + WEEK + timedelta(hours=2))
    assert any("Letters by post" in text and "numbers of week 1" in text for text in team.told(F))
    await team.say(F, "control 400/80, trial 390/82")
    assert list((await _trials(team))[0].weeks) == [1]
    await team.until(MONDAY + 4 * WEEK + timedelta(days=1, hours=5))
    assert (await _trials(team))[0].step is TrialStep.IN_REVIEW


async def test_without_all_of_its_criterion_it_is_only_counted(team: Team) -> None:
    """Nobody is asked for numbers, none are taken, and its review judges nothing."""
    assert await _bring(team, "bring.trial", RUNS) == {}
    (trial,) = await _trials(team)
    assert trial.only_counted
    await team.until(MONDAY + 3 * WEEK)
    assert not any("numbers of week" in text for text in team.told(F))
    await team.say(F, "control 400/80, trial 390/82")
    assert "I only count that it runs" in team.told(F)[-1]
    await team.until(MONDAY + 4 * WEEK + timedelta(days=1, hours=5))
    assert any("Brought in without all of its criterion: I don't judge it." in text for text in team.channel())
    done = {"learning": "Letters are read", "decision": "stop", "reason": "It is over"}
    assert not await team.fill(F, "trial.close", done)
    (entry,) = await _entries(team)
    assert (entry.verdict, entry.met) == ("cannot tell", None)


async def test_somebody_else_owns_it_with_a_yes_of_their_own(team: Team) -> None:
    """Until then it runs without an owner, and is counted all the same."""
    await _bring(team, "bring.trial", RUNS | WHOLE | {"owner": JON})
    (trial,) = await _trials(team)
    assert (trial.owner, trial.asked) == (None, JON)
    await team.press(JON, "trial.accept")
    assert (await _trials(team))[0].owner == JON


async def test_two_are_the_most_from_the_first_day(team: Team) -> None:
    """A third is refused with the date when a place is free; the commitment counts those that were brought in."""
    for title in ("Letters by post", "Calls at noon"):
        await _bring(team, "bring.trial", RUNS | {"title": title})
    await team.command(F, "bring")
    assert (await team.press(F, "bring.trial")).form is None
    assert "Two at a time" in team.told(F)[-1] or "Two at a time" in words(team.house.room.notes(F)[-1].message)
    await team.house.room.press(F, None, "choice.make", f"{team.round.id}%:commitment|p0", forged=True)
    assert not (await team.current()).choices


@pytest.mark.parametrize(
    ("fields", "field"),
    [({"since": "2027-01-01"}, "since"), ({"since": "long ago"}, "since"),
     ({"weeks": "0"}, "weeks"), ({"weeks": "99"}, "weeks"), ({"title": " "}, "title"), ({"written": ""}, "written"),
     (WHOLE | {"target": "20%"}, "target")],
)  # fmt: skip
async def test_a_wrong_field_is_told_and_nothing_is_kept(team: Team, fields: dict[str, str], field: str) -> None:
    """Weeks, title, source, numbers that cannot be."""
    assert list(await _bring(team, "bring.trial", RUNS | fields)) == [field]
    assert not await _trials(team)


async def test_a_past_result_stands_in_the_register_in_the_teams_own_words(team: Team) -> None:
    """With its source, and that it was not judged here; it counts in no odds and in no digest of news."""
    assert await _bring(team, "bring.result", PAST) == {}
    (entry,) = await _entries(team)
    assert (entry.verdict, entry.sentence, entry.brought) == ("brought in", PAST["verdict"], "Yearly report")
    assert entry.at.date() == date(2025, 6, 30)
    note = (await team.command(D, "search telephone")).note
    assert note is not None
    said = words(note)
    assert "It went well: a third rang back" in said and "Brought in: Yearly report; not judged by my rules" in said
    assert "Learnt: Ring before ten" in said


@pytest.mark.parametrize(
    ("fields", "field"),
    [({"ended": "2027-01-01"}, "ended"), ({"ended": "last year"}, "ended"), ({"verdict": ""}, "verdict")],
)  # fmt: skip
async def test_a_wrong_past_result_is_told_at_its_field(team: Team, fields: dict[str, str], field: str) -> None:
    """A day that is none or ahead, no verdict."""
    assert list(await _bring(team, "bring.result", PAST | fields)) == [field]
    assert not await _entries(team)


async def test_it_is_the_facilitators_to_enter(team: Team) -> None:
    """Nobody else is shown the buttons, and a press that was made up changes nothing."""
    reply = await team.command(JON, "bring")
    assert "bring.trial" not in repr(reply)
    value = f"{team.round.id}%:commitment"
    reply = await team.house.room.press(JON, None, "bring.result", value, forged=True)
    assert reply.form is None
