"""Everything that is kept, field by field, and what becomes of it for a person who asks: the one list of what leads to
somebody, what `forget` does about it, and under which name `export` shows it to them. Here the documents; tables and
files stand in `ports.kept`.

The store deletes by it (`store.forgetting`), the file is explained along it (`speech.people.held_words`), and
tests/house/test_holdings.py holds it against all tables and documents: what is new stands here, or fails there.
Fields are named `table.column`, `Document.field`, or by their file.
"""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.ports.kept import TEAMS_WORDS as _TEAMS_WORDS
from coldframe.ports.kept import WITH as _WITH
from coldframe.ports.kept import Held, Then
from coldframe.ports.kept import each as _each
from coldframe.ports.kept import of as _of

_ALIAS = Held(Then.ALIAS)
_REASON = Held(Then.GOES, why="the week's numbers stay")
_NUMBERS = Held(Then.STAYS, why="a number of all, counted or agreed by the team")


def _role(name: str) -> Held:
    return Held(Then.ALIAS, name)


_OF_A_ROUND: Mapping[str, Held] = {
    **_of(
        "Round",
        "id tenant channel seed step passed paused rests_since open_roles dates_told dates_told_times revealed "
        "writers focus forces by_words side_by_side plan_order to_change to_place corners next_round overlap_accepted",
        name=_TEAMS_WORDS,
        settings=_TEAMS_WORDS,
        seats=Held(Then.ALIAS, "seat", "how many took part stays, the name does not"),
        roles=_WITH,
        progress=_WITH,
        held=Held(Then.GOES, "decided and not announced yet", "nobody has heard of it"),
        role_offers=Held(Then.ALIAS, "roles offered"),
        notes=Held(Then.UNREAD, "notes", "revealed ones carry no author, so nobody can find theirs any more"),
        late_notes=Held(Then.UNREAD, "late notes"),
        drafts=Held(Then.GOES, "texts without a place yet"),
        focus_reason=_TEAMS_WORDS,
        proposals=_WITH,
        dots=Held(Then.WITH, "dots", "uncounted ones go; counted ones are an alias's, and are erased after a week"),
        forces_standing=_NUMBERS,
        counted=_NUMBERS,
        told_before=_NUMBERS,
        questions=_TEAMS_WORDS,
        kin=_TEAMS_WORDS,
        same_people=_TEAMS_WORDS,
        suggestions=Held(Then.ALIAS, "suggested questions", "said in the open, in a thread"),
        precedents=Held(Then.UNREAD, "precedents", "posted when they are given"),
        jottings=Held(Then.GOES, "jotted down", "for themselves alone; gone at the reveal of the plans"),
        begun=Held(Then.GOES, "begun and not handed in", "theirs alone; gone with its step"),
        plans=Held(Then.UNREAD, "plans"),
        ballot=Held(Then.WITH, "votes", "as the dots"),
        plans_standing=_NUMBERS,
        weighted_voter=_role("weighted votes"),
        crowd=_role("counted on to compare"),
        comparisons=Held(Then.WITH, "comparisons", "as the dots: deleted while the places are open"),
        choices=_WITH,
        fates=Held(Then.ALIAS, "plans to see done"),
        beside=_TEAMS_WORDS,
        alongside=_TEAMS_WORDS,
        ended_because=_TEAMS_WORDS,
    ),
    **_of(
        "Settings",
        "pace lengths reading dots plan_votes weight weight_confirmed carry_on trials_at_once placed_by",
        question=_TEAMS_WORDS,
        levers=_TEAMS_WORDS,
        meanings=_TEAMS_WORDS,
    ),
    **_of("Seat", "away left joined_in held", member=_ALIAS, name=Held(Then.GOES, why="somebody who left")),
    **_of(
        "Roles",
        "handed_over",
        facilitator=_role("roles"),
        decision_maker=_role("roles"),
        facilitator_deputy=_role("roles"),
        decision_deputy=_role("roles"),
    ),
    **_of(
        "Progress",
        "opens due extensions extended settles_at asks_consent stuck nothing told",
        personal=_role("deadline"),
        parts=_role("deadline"),
        done=_role("done with the step"),
    ),
    **_of("Held", "what at lever", by=Held(Then.GOES), reason=Held(Then.GOES)),
    **_of("RoleOffer", "role until", to=_ALIAS, by=_ALIAS),
    **_of(
        "Note",
        "id lever side hidden",
        text=Held(Then.UNREAD),
        author=Held(Then.GOES, why="with the note; none after the reveal"),
        agreed=Held(Then.GOES, why="with the note"),
        origin=Held(Then.GOES, why="with the note; none after the reveal"),
    ),
    **_of("Begun", "kind of likely", author=Held(Then.GOES), fields=Held(Then.GOES)),
    **_of("Draft", "id lever side likely", **_each("author text origin tried", Held(Then.GOES))),
    **_of(
        "MergeProposal",
        "first second more apart score answer",
        why=_TEAMS_WORDS,
        proposed_by=_role("duplicates proposed"),
    ),
    **_of("Likeness", "kind words"),
    **_of("Force", "id notes"),
    **_of("Ledger", "quota", marks=Held(Then.WITH), locked=_role("ballots locked")),
    **_of("Mark", "option sign"),
    **_of("Standing", "option place group decision_maker weighted voters carried drawn"),
    **_of("Question", "id force", text=_TEAMS_WORDS),
    **_of("Kin", "question", **_each("round_name text told", _TEAMS_WORDS)),
    **_of("Suggestion", by=_ALIAS, text=_TEAMS_WORDS),
    **_of(
        "Precedent",
        "id question outside_trade",
        by=_ALIAS,
        **_each("title idea details source", Held(Then.UNREAD)),
    ),
    **_of(
        "Plan",
        "id question weeks caution not_so borrows child_of",
        author=Held(Then.GOES, why="also of a plan that stays"),
        title=Held(Then.UNREAD),
        hypothesis=Held(Then.UNREAD),
        steps=Held(Then.UNREAD),
        raised=Held(Then.UNREAD),
        criterion=Held(Then.UNREAD),
        checked_by=_TEAMS_WORDS,
        might_fail=Held(Then.GOES, why="for its author alone"),
        chance=Held(Then.GOES, why="for its author alone"),
        earlier=_TEAMS_WORDS,
    ),
    **_of("Earlier", "trial verdict", **_each("title learning", _TEAMS_WORDS)),
    **_of(
        "Criterion",
        "kind upwards baseline baseline_weeks target weekly planned_share spread lag population stop_at harm_usual "
        "harm_limit",
        **_each("source measure counted stop_line harm", Held(Then.UNREAD)),
    ),
    **_of("Comparison", "axis first second outcome", judge=_ALIAS),
    **_of(
        "Choice",
        "plan live review announce_at offers_sealed odds likes",
        asked=_role("trials asked to own"),
        owner=_role("trials owned"),
        declined=Held(Then.GOES, "trials declined"),
        offers=_role("trials offered to own"),
        actions=Held(Then.ALIAS, "first-week actions"),
        forecasts=Held(Then.GOES, "forecasts in per cent"),
        digits=Held(Then.GOES, "forecasts by emoji"),
        feared=Held(Then.GOES, "why a trial would fail"),
        why=_TEAMS_WORDS,
    ),
    **_of("ToChange", "trial", **_each("title stays", _TEAMS_WORDS)),
    **_of("Likes", "number reached lever kind weeks"),
    **_of("Placed", "corner sure position"),
    **_of("Position", "impact impact_error effort effort_error certainty alone"),
    **_of("PlanFate", "kind due", owner=_ALIAS, **_each("where reason", _TEAMS_WORDS)),
    **_of("Action", "id due", text=_TEAMS_WORDS, who=_ALIAS),
    **_of("Odds", "if_target if_nothing drift remedies"),
    **_of("Alongside", "population until", title=_TEAMS_WORDS, counted=_TEAMS_WORDS),
}
_OF_A_TRIAL: Mapping[str, Held] = {
    **_of(
        "Trial",
        "id tenant team round_id plan lever planned offers step zone sealed planned_live live starts review looks "
        "missed_reviews dates_moved stopped_at odds child_of",
        decision_maker=_role("roles"),
        postponed=Held(Then.ALIAS, "live day moved", "the team has read the reason; it says nobody's name"),
        smaller=_TEAMS_WORDS,
        early=Held(Then.ALIAS, "weeks logged", "the trial's numbers stay"),
        **_each("round_name title hypothesis question lever_name steps criterion", _TEAMS_WORDS),
        facilitator=_role("roles"),
        people=Held(Then.ALIAS, "roles", "their name becomes somebody who left"),
        deputy=_role("roles"),
        owner=_role("owned"),
        asked=_role("roles"),
        actions=Held(Then.ALIAS, "actions"),
        weeks=Held(Then.ALIAS, "weeks logged", "the trial's numbers stay"),
        reading=_NUMBERS,
        given=_NUMBERS,
        settled=Held(Then.ALIAS, "crossed lines decided"),
        in_the_way=_TEAMS_WORDS,
        stopped=_TEAMS_WORDS,
        counting_checked=_TEAMS_WORDS,
        chances=Held(Then.GOES, "forecast in per cent"),
        fears=Held(Then.STAYS, why="of three or more people, unsigned; nobody can find theirs any more"),
        feared=Held(Then.GOES, "why it would fail"),
        learnings=Held(Then.GOES, "learning"),
        shown_learnings=Held(Then.STAYS, why="of three or more people, unsigned; nobody can find theirs any more"),
        asked_to_sign=Held(Then.GOES, "asked about your name"),
        signed=Held(Then.GOES, "shown with your name"),
        closing=Held(Then.ALIAS, "review closed"),
        brought=_TEAMS_WORDS,
    ),
    **_of("TrialAction", "id due done", text=_TEAMS_WORDS, who=_ALIAS),
    **_of("Entry", "week trial control state harm at stop calm sent", by=_ALIAS, reason=_REASON),
    **_of("Postponed", "to at agreed", reason=_TEAMS_WORDS, by=_ALIAS),
    **_of("Signed", "what", by=Held(Then.GOES), text=Held(Then.GOES)),
    **_of("Figures", "value of sd"),
    **_of("Reading", "outcome reason sentence chance weeks checked alerts chance_high"),
    **_of("Given", "outcome sentence weeks rests_on"),
    **_of("Settled", "what week figure stops at", reason=_TEAMS_WORDS, by=_ALIAS),
    **_of(
        "Closing",
        "outcome sentence decision at due",
        **_each("reason learning what", _TEAMS_WORDS),
        **_each("by owner", _ALIAS),
    ),
}
_OF_A_TEAM: Mapping[str, Held] = {
    **_of(
        "RegisterEntry",
        "trial_id tenant team lever verdict at decision planned took_days met child_of",
        round_name=_TEAMS_WORDS,
        lever_name=_TEAMS_WORDS,
        title=_TEAMS_WORDS,
        hypothesis=_TEAMS_WORDS,
        question=_TEAMS_WORDS,
        measure=_TEAMS_WORDS,
        owner=Held(Then.ALIAS, "trials"),
        sentence=_TEAMS_WORDS,
        reason=_TEAMS_WORDS,
        learning=_TEAMS_WORDS,
        learnings=Held(Then.STAYS, why="of three or more people, unsigned; nobody can find theirs any more"),
        agreed=Held(Then.GOES, "shown with your name"),
        brought=_TEAMS_WORDS,
        chances=Held(Then.STAYS, why="numbers of three or more people, for how well the team forecasts"),
    ),
    **_of(
        "Team",
        "tenant team weekday hour digest_sent",
        lead=Held(Then.EMPTIED, "leads"),
        funnel=_NUMBERS,
        erasing=_WITH,
        guests=Held(Then.GOES, "guest of"),
        present=Held(
            Then.STAYS,
            why="that somebody with this mark is in the channel, so that they are not taken for somebody new; it leads "
            "nobody to them",
        ),
        fates=Held(Then.ALIAS, "to see done", "it goes on without an owner, and the facilitator is told"),
    ),
    **_of(
        "Fate",
        "id kind due asked_at needs_yes moved done ended",
        **_each("title origin where reason", _TEAMS_WORDS),
        **_each("owner asked", _ALIAS),
    ),
    **_of(
        "Erasing",
        "until at",
        by=Held(Then.GOES, "erasing asked", "with the question, which falls"),
        second=Held(Then.GOES, "erasing asked", "with the question, which falls"),
    ),
}
_OF_A_PERSON: Mapping[str, Held] = _of(
    "Member",
    "tenant",
    **_each(
        "id name zone zone_confirmed calendar told_privacy away_until muted facts",
        Held(Then.GOES, why="with the row; shown in `record`"),
    ),
)
DOCUMENTS: Mapping[str, Held] = {**_OF_A_ROUND, **_OF_A_TRIAL, **_OF_A_TEAM, **_OF_A_PERSON}
"""What stands in the JSON of rounds, trials, the register, teams and members."""
