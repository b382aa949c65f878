"""Why something was refused: what happened, what was kept, what to do. One sentence or two per code."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from math import isfinite

from coldframe.domain.names import Step
from coldframe.domain.refusals import Because, Impossible, Refused
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Code, Line, Message, When, line
from coldframe.message.plain import figure
from coldframe.message.saying import told
from coldframe.speech.names import CRITERION_FIELDS, capital, count, in_words, title
from coldframe.timing.dates import short_day, span_words

WORDS: dict[Because, str] = {
    Because.NOT_A_MEMBER: "You aren't taking part in this round. Its facilitator can add you.",
    Because.NO_ROUND_OPEN: "No round of yours is open here, so there was nothing to do. Nothing was changed.",
    Because.NOT_HERE: "You aren't in the channel of {what} any more, so I show you nothing of it. "
    "Nothing was changed. Ask somebody there to bring you back, then do this again.",
    Because.NOT_LET_IN: "You're a guest here{lets_in}. Nothing was changed. Do this again once you're let in.",
    Because.FROM_ELSEWHERE: "I work for the people of one organisation, and you belong to another, so nothing was "
    "changed. Somebody of the channel can do this for you.",
    Because.WHO_IS_HERE: "I can't see just now who is in the channel, so nothing was changed. Please try again in a "
    "minute.",
    Because.NOT_FACILITATOR: "That is for the facilitator, {who}, to do. Nothing was changed.",
    Because.NOT_DECISION_MAKER: "That is for {who} to decide. Nothing was changed.",
    Because.NOT_YOURS: "That belongs to somebody else. Nothing was changed.",
    Because.ERASING_ASKED: "That is asked already; the question stands in the team's channel. Nothing was changed.",
    Because.ERASING_NEEDS_ANOTHER: "You asked for it, so the second yes has to be another's. Nothing was changed.",
    Because.ROLE_NOT_OPEN: "{who} is {role}, and hasn't been silent for long enough. Nothing was changed.",
    Because.HAS_THE_ROLE: "{who} is {role} already. Nothing was changed.",
    Because.DEPUTY_ACTS: "{who} stands in as {role} just now, so no other deputy can be named. Nothing was changed.",
    Because.NO_CHANNEL: "This is no channel, and a round belongs to one. In our own direct messages I can tell you "
    "what is open for you.",
    Because.NOTHING_JOINED: "No notes are joined yet, so there is nothing to take apart.",
    Because.ALONE_HERE: "This is a rehearsal, for one person alone. Nobody was put in.",
    Because.WHICH_ROUND: "Which round do you mean: {names}? Put its name after the word, such as “/coldframe {word} "
    "{first}”. "
    "Nothing was changed.",
    Because.NEEDS_SECOND_PERSON: "Somebody else has to say yes to that as well; until then it stays as it is.",
    Because.NOT_NOW: "That can't be done in this step; `/coldframe` shows what can. Nothing was changed.",
    Because.TOO_LATE: "That came after the step was closed; the round is at {step} now. Nothing was changed.",
    Because.NOT_OPEN_YET: "That isn't open yet; the round is at {step}. I write to you when it opens.",
    Because.PAUSED: "The round rests just now. I write to you when it goes on.",
    Because.NOT_PAUSED: "The round isn't resting.",
    Because.ENDED: "This round has ended. `/coldframe new` starts another.",
    Because.LOCKED: "Your ballot is locked, so it stays as it is.",
    Because.ALREADY_EXTENDED: "This step was extended {most} times already; more isn't possible.",
    Because.DEADLINE_RANGE: "That deadline isn't possible. Choose one between {earliest} and {latest}; to close the "
    "step sooner, type `/coldframe close`. Nothing was changed.",
    Because.STAYS_CLOSED: "{which} can't be opened again from {step}: too much stands on it, or it wasn't played. "
    "Nothing was changed.",
    Because.WINDOW_RUNS: "{which} isn't ahead of the round any more, which is at {step}; its length stays. Nothing "
    "was changed.",
    Because.NOTHING_TO_UNDO: "There is nothing to undo just now: what was decided is announced. Nothing was changed.",
    Because.NOT_IN_CHANNEL: "I'm not in {there}. {let_in}",
    Because.MAY_NOT_POST: "I may not post in {there}, so nothing was started. Ask whoever runs it to let me, then do "
    "this again.",
    Because.TOO_FEW_PEOPLE: (
        "A round needs at least {fewest} people; with {people} nothing in it could be secret or unsigned. Add people "
        "and start again."
    ),
    Because.TOO_MANY_PEOPLE: "A round takes at most {most} people; here are {people}. Make two rounds of it.",
    Because.NO_QUESTION: "The round needs a guiding question first.",
    Because.LEVER_COUNT: "A round has one to six levers; here are {levers}.",
    Because.DEPUTY_MISSING: "Name a deputy for the {role} first, so that the round doesn't hang on one person.",
    Because.DEPUTY_SAME: "A deputy must be somebody else than the person they stand in for.",
    Because.ROLE_NOT_ON_ROSTER: "The {role} and their deputy must both take part in the round.",
    Because.WEIGHT_UNCONFIRMED: (
        "With a weight of {weight} the decision-maker holds {share} of the voting power. Confirm that, or choose a "
        "smaller weight."
    ),
    Because.WEIGHT_DECIDES_ALONE: (
        "With a weight of {weight} among {people} people the decision-maker has all of the voting power: then decide "
        "without a ballot, or choose a smaller weight."
    ),
    Because.BAD_SETTING: "{setting} is {value}; allowed is {allowed}.",
    Because.EMPTY: "There is nothing readable in it ({field}). Nothing was changed.",
    Because.UNREADABLE: (
        "It holds characters that I can't show (control characters, or a pile of accents), so I didn't keep it. "
        "Please send it again without them."
    ),
    Because.TOO_LONG: "It's {over} over the most, which is {most} characters. I didn't keep it: please shorten it "
    "and send it again.",
    Because.TOO_MANY: "You have {most} already, which is the most. Withdraw one first.",
    Because.TOO_MANY_ROUNDS: "{most} rounds are open here, which is the most. Please end one first, or cancel one that "
    "nobody needs: `/coldframe cancel` in its channel.",
    Because.UNKNOWN_LEVER: "There is no lever “{lever}” in this round. Its levers: {levers}.",
    Because.UNKNOWN_ITEM: "That is no longer there. Nothing was changed.",
    Because.REASON_TOO_SHORT: "Please give the reason in a sentence, at least {least} characters.",
    Because.NOTHING_TO_WORK_ON: "Nobody named anything that holds {lever} back, so there is nothing to work on. "
    "Pick another.",
    Because.NOTHING_IN: "Nothing came in yet, so there is nothing to show. Give more time, or cancel the round.",
    Because.NOTHING_HOLDS_BACK: "Nobody wrote what holds us back yet, so there would be nothing to work on. Give more "
    "time, or cancel the round.",
    Because.MERGE_ACROSS: "Only restraining forces of the lever in focus can be joined.",
    Because.ALREADY_MERGED: "These are one force already.",
    Because.KEPT_APART: "These two were kept apart already. If you see it otherwise, talk to the facilitator.",
    Because.TOO_FEW_ALIKE: "Tick two at least. If none of them are the same point, press “They differ”.",
    Because.OVER_QUOTA: "You have used all {quota}. Take one back first.",
    Because.SAME_ITEM: "A plan can't be compared with itself.",
    Because.ASKED_ALREADY: "You have answered that already.",
    Because.NO_QUESTIONS: "There is no question yet. Write at least one.",
    Because.DURATION: "A trial runs three to six weeks, not {weeks}.",
    Because.NO_FREE_PLACE: "{most} at a time, and every place is taken.{free}",
    Because.NO_CHOICE: "No plan is chosen yet.",
    Because.OWNER_MISSING: "“{plan}” has no owner who accepted yet.",
    Because.NOT_ASKED: "You weren't asked that, or it was settled meanwhile.",
    Because.NOT_ANNOUNCED: "A plan is chosen that not everybody has heard of yet. The commitment card says when they "
    "do; then it can be settled.",
    Because.ACTIONS_MISSING: "“{plan}” needs first-week actions with days within the next seven days.",
    Because.ACTION_TOO_FAR: "{at} is later than seven days from now. First actions are due by {latest}.",
    Because.LIVE_MISSING: "“{plan}” needs the day on which it should be live.",
    Because.REVIEW_TOO_EARLY: "The review on {at} would come before the trial has run. The earliest is {earliest}.",
    Because.NEXT_ROUND_MISSING: "The next round needs a date.",
    Because.CRITERION_INCOMPLETE: "“{plan}” still lacks its {fields}. Its owner, the facilitator or the decision-maker "
    "can fill that in.",
    Because.CHECK_MISSING: "“{plan}” touches something delicate: name who checked it. No name, no start.",
    Because.IN_THE_PAST: "{at} is in the past.",
    Because.TOO_FAR: "{at} is too far ahead. The latest is {latest}.",
    Because.WHO_AND_WHEN: "Say who sees it done, and until when.",
    Because.WHAT_STAYS: "Say what stays as it is when it is tried in another way.",
    Because.FATES_MISSING: "Some plans that aren't tried have no fate yet.",
    Because.FATE_INCOMPLETE: "“{plan}”: say who sees it done, by when, and where it is handed over, such as: "
    "Ana | in 3 weeks | the web team's board.",
    Because.DROPPED_WHY: "Why is “{plan}” dropped? A few words are enough.",
    Because.AGAINST_THE_CORNER: "The matrix says of “{plan}”: {corner}. Why otherwise? A few words are enough.",
    Because.OVERLAP_UNCONFIRMED: "Two trials on the same people and the same measure can't be told apart. Accept "
    "that, or change one.",
    Because.NOT_OWNER: "That is for the owner of the trial to do. Nothing was changed.",
    Because.BAD_NUMBERS: "These numbers cannot be: {why}. What was there before stays.",
    Because.WEEK_TAKEN: "Week {week} is logged already. Correct it if it was wrong; both values are kept.",
    Because.WEEK_UNKNOWN: "Week {week} isn't a week of this trial. What was there before stays.",
    Because.NOT_LIVE: "It's still being built, so there is nothing to count yet. Its owner or the facilitator says "
    "from which day it is live.",
    Because.LIVE_ALREADY: "It went live on {day}, and that stands.",
    Because.LIVE_LATER: "{day} is still to come. Say it on that day, or move the planned day.",
    Because.LIVE_BEFORE: "{day} is before the commitment. The earliest day is {earliest}.",
    Because.LIVE_TOO_FAR: "{day} is too far away: a build may take twelve weeks, until {latest}. What takes longer is "
    "a project.",
    Because.WEEK_NOT_COUNTED: "Week {week} can be counted from {day} on: its people need {lag} until they are through. "
    "Nothing was kept.",
    Because.REVIEW_NOT_DUE: "The review isn't due before {at}.",
    Because.REVIEW_TOO_LATE: "{at} is too long after the trial's end; what was learnt fades. The latest is {latest}.",
    Because.NOTHING_CROSSED: "No harm limit or stop line is crossed any more. Nothing was changed.",
    Because.WEEK_NOT_OVER: "Week {week} isn't over: it can be logged from {day} on. Half weeks don't count, so "
    "nothing was kept.",
    Because.TRIAL_OVER: "This trial is over, so nothing was changed. `/coldframe search` finds it in the register.",
    Because.TRIAL_NOT_STARTED: "This trial hasn't started yet: it waits for somebody to own it.",
    Because.ONLY_COUNTED: "“{title}” was brought in without all of its criterion, so I only count that it runs.",
    Because.OWNS_ALREADY: "They own it already.",
}


IMPOSSIBLE: dict[Impossible, str] = {
    Impossible.HARM_NO_NUMBER: "the harm measure is no number",
    Impossible.NO_NUMBERS: "there are no numbers of the trial",
    Impossible.CONTROL_MISSING: "a comparison of two groups needs the control group of the same week too",
    Impossible.NO_CONTROL: "this measure has no control group",
    Impossible.NO_NUMBER: "{group} has a number that is none",
    Impossible.TWO_NUMBERS: "{group} needs two numbers, people and those who did it",
    Impossible.BELOW_ZERO: "{group} has a number below zero",
    Impossible.NOT_WHOLE: "{group} counts people, and {number} isn't a whole number",
    Impossible.MORE_THAN_PEOPLE: "{group} has more successes ({number}) than people ({most})",
    Impossible.COUNT_BELOW_ZERO: "a count below zero",
    Impossible.COUNT_NOT_WHOLE: "events are counted whole, and {number} isn't",
    Impossible.ONE_A_WEEK: "this measure is a count, one number a week",
    Impossible.UNITS_AND_EVENTS: "{group} needs two numbers, units and events",
    Impossible.NO_UNITS: "{group} has no unit to count events over",
    Impossible.MEAN_INCOMPLETE: "{group} needs mean, standard deviation and number of people",
    Impossible.SPREAD_BELOW_ZERO: "{group} has a standard deviation below zero",
    Impossible.TOO_FEW_FOR_MEAN: "{group} needs at least two people for a mean with its spread",
    Impossible.SAME_AS_BASELINE: "target and baseline are the same, so nothing would have to change",
    Impossible.NO_SHARE: "{number} is no share of people; write {instead}",
    Impossible.NO_SPLIT: "the share of people who get the change lies between 0 and 100%, and {number} does not",
    Impossible.NO_SPREAD: "values differ from head to head by more than nothing, and {number} is not more",
    Impossible.NO_RATE: "a rate of {number} before the change leaves nothing to compare with",
    Impossible.NO_LAG: "a lag is at most {most} days, and {number} is not",
    Impossible.LIMIT_IS_USUAL: "the harm measure's limit is its usual value, so every week would cross it",
    Impossible.STOPS_AT_TARGET: "the stop line is at the target or beyond it, so success would stop the trial",
    Impossible.NOT_FINITE: "{number}",
}


def refusal(refused: Refused, *back: Block) -> Message:
    """The answer to who acted; `back` is their own text, so that nothing typed is lost."""
    return told(line(WORDS[refused.code], **_parts(refused)), *back, private=bool(back))


def _parts(refused: Refused) -> dict[str, Line]:
    parts = {name: _part(name, value) for name, value in refused.facts.items()}
    if "lag" in refused.facts:
        parts["lag"] = line("{n}", n=count(int(str(refused.facts["lag"])), "day"))
    if "week" in refused.facts:
        parts["week"] = line("{w}", w=_week(refused.facts))
    if refused.code is Because.NO_FREE_PLACE:
        parts["most"] = line(capital(in_words(int(str(refused.facts["most"])))))
        parts["free"] = _free(refused.facts)
    if refused.code is Because.CRITERION_INCOMPLETE:
        parts["fields"] = line(", ".join(CRITERION_FIELDS[str(each)] for each in _listed(refused.facts["fields"])))
    if refused.code is Because.BAD_NUMBERS:
        parts["why"] = _impossible(refused.facts)
    if refused.code is Because.NOT_HERE:
        what = str(refused.facts["what"])
        parts["what"] = (theirs(what, 80),) if what else line("this team")
    if refused.code is Because.NOT_LET_IN:
        who = str(refused.facts["who"])
        parts["lets_in"] = line(", and {who} says which guests take part", who=theirs(who, 40)) if who else ()
    if refused.code in (Because.NOT_IN_CHANNEL, Because.MAY_NOT_POST):
        channel = str(refused.facts["channel"])
        parts["there"] = line("*#{name}*", name=theirs(channel, 80)) if channel else line("the team's channel")
    if refused.code is Because.NOT_IN_CHANNEL:
        parts["let_in"] = let_in(str(refused.facts["invitation"]))
    return parts


def _free(facts: Mapping[str, object]) -> Line:
    """When there is a place, or what frees one."""
    free_on = facts.get("free_on")
    if isinstance(free_on, datetime):
        return line(" A place is free on {d}.", d=When(free_on, "day"))
    return () if facts["running"] else line(" Take one of the chosen plans out first.")


def _week(facts: Mapping[str, object]) -> str:
    """With its dates, where there is such a week."""
    first, last = facts.get("first"), facts.get("last")
    if not (isinstance(first, date) and isinstance(last, date)):
        return str(facts["week"])
    return f"{facts['week']}, {span_words(first, last)},"


def _listed(found: object) -> tuple[object, ...]:
    return found if isinstance(found, tuple) else ()


def _impossible(facts: Mapping[str, object]) -> Line:
    number = float(str(facts.get("number", 0)))
    instead = f"{number:g}% or {number / 100:g}" if number <= 100 else "it like 4% or 0.04"
    group, most = str(facts.get("group")), str(facts.get("most"))
    words = IMPOSSIBLE[Impossible(str(facts["why"]))]
    return line(
        words, number=figure(number) if isfinite(number) else f"{number:g}", instead=instead, group=group, most=most
    )


def let_in(invitation: str) -> Line:
    """How the bot gets into a channel."""
    if not invitation:
        return line("Add me to it, then do this again.")
    return line("Type {invitation} there, then do this again.", invitation=Code(invitation))


def _part(name: str, value: object) -> Line:
    match value:
        case Step():
            return line("{s}", s=title(value))
        case datetime():
            return (When(value),)
        case date():
            return line("{d}", d=short_day(value))
        case float() if name == "share":
            return line("{p}%", p=round(100 * value))
        case tuple():
            return (theirs(", ".join(map(str, value)), 300),)
        case _:
            return (theirs(str(value), 300),)
