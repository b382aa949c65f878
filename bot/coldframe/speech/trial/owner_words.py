"""What the owner of a trial is asked and told in private, and who hears when nobody owns or answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from coldframe.domain.fates import Fate
from coldframe.domain.names import MemberId
from coldframe.domain.state import Odds
from coldframe.domain.trial.state import Trial, TrialStep
from coldframe.message.harmless import signed, theirs
from coldframe.message.nodes import Block, Button, Code, Items, Line, Message, When, Who, line
from coldframe.message.packed import ButtonValue
from coldframe.message.saying import offer, paragraph, said, small, told
from coldframe.speech import likely
from coldframe.speech.names import NO_REASON, about_trial, of_action, of_offer, of_owner, of_review, of_week, spelt
from coldframe.speech.trial import building_words, trial_dates, week_dates
from coldframe.speech.trial.trial_words import said_of, title, who
from coldframe.timing.dates import short_day

SHOWN = 6  # things in one reminder


@dataclass(frozen=True, slots=True)
class Open:
    """One thing that a person can do for a trial now. A week is best logged before the next one is over."""

    trial: Trial
    what: str  # "week", "action" or "live"
    key: str  # the week's number, the action's id, or "live"
    due: datetime


def bundle(
    rounds: Sequence[tuple[Line, When]], open_: Sequence[Open], now: datetime, steps: Sequence[Button] = ()
) -> Message:
    """One private message with everything that is due, the smallest next action at hand: `steps` for the rounds."""
    number = len(rounds) + len(open_)
    things = [what + line(", by {d}", d=due) for what, due in rounds]
    only = [*things, *map(open_line, open_)] if number == 1 else [line("{n}", n=spelt(number, "thing"))]
    summary = line("To do: {n}.", n=only[0])
    alone = number == 1 and not things  # it says itself what it is
    blocks: list[Block] = [] if alone else [paragraph(summary)]
    if things and number > 1:
        blocks.append(Items(tuple(things)))
    if steps:
        blocks.append(offer(*steps))
    for one in open_[:SHOWN]:
        blocks += _open_blocks(one, line("To do: ") if alone else ())
    if len(open_) > SHOWN:
        blocks.append(small("{n} more; `/coldframe mine` lists all.", n=len(open_) - SHOWN))
    today = ButtonValue("", made_for=now.isoformat()).pack()
    blocks.append(offer(Button("Not today", "me.later", today), Button("I'm away", "me.away", "")))
    return Message(summary, tuple(blocks))


def _open_blocks(one: Open, lead: Line = ()) -> list[Block]:
    trial = one.trial
    if one.what == "action":
        action = next(a for a in trial.actions if a.id == one.key)
        words = line("“{t}”, by {d}: {a}", t=title(trial), d=When(action.due, "day"), a=theirs(action.text, 300))
        key = of_action(trial, action.id)
        done = Button("Done", "trial.tick", key, "primary")
        buttons: tuple[Button, ...] = (done, Button("Move the date …", "trial.move", key))
    elif one.what == "live":
        words, buttons = building_words.asked(trial), building_words.buttons(trial)
    else:
        words = line(
            "“{t}”: the numbers of {w}. Answer here in a line, such as {e} ({h}), or use the form.",
            t=title(trial),
            w=week_dates.week(trial, int(one.key)),
            e=Code(example(trial)),
            h=line(EXPLAINED[trial.criterion.kind]) + _harm(trial),
        )
        buttons = (Button("Log it …", "trial.log", of_week(trial, one.key, one.key), "primary"),)
    more = (
        Button("Something is in the way …", "trial.block", about_trial(trial)),
        Button("Not me …", "trial.hand_over", of_owner(trial)),
    )
    return [paragraph(lead + words), offer(*buttons, *more)]


def _is_guarded(trial: Trial) -> bool:
    return trial.criterion.harm_limit is not None


def _harm(trial: Trial) -> Line:
    """Which number that is."""
    return line("; harm: {h}", h=theirs(trial.criterion.harm, 80)) if _is_guarded(trial) else ()


EXAMPLES = {
    "split": "control 1200/48, trial 1180/61",
    "before-after": "1180/61",
    "count": "7",
    "mean": "control 20.5/15/300, trial 22.1/14.8/310",
    "rate": "control 1200/48, trial 1180/61",
    "share": "1180/61",
}
EXPLAINED = {
    "split": "all people/those who did it",
    "before-after": "all people/those who did it",
    "count": "how many",
    "mean": "mean/spread/people",
    "rate": "units/events",
    "share": "all people/those who did it",
}


def example(trial: Trial) -> str:
    """A week's numbers in a line."""
    return EXAMPLES[trial.criterion.kind] + (", harm 3" if _is_guarded(trial) else "")


def open_line(one: Open) -> Line:
    """The same in a line, for a list."""
    if one.what == "week":
        return line("{t}: the numbers of {w}", t=title(one.trial), w=week_dates.week(one.trial, int(one.key)))
    if one.what == "live":
        return line("say whether {t} is live", t=title(one.trial))
    action = next(a for a in one.trial.actions if a.id == one.key)
    return line("{t}: {a}", t=title(one.trial), a=theirs(action.text, 100))


def weeks_missed(trial: Trial, weeks: Sequence[int]) -> Message:
    """To the deputy and the facilitator, after two weeks without numbers: a fact, no blame."""
    words = line(
        "“{t}” has no numbers for {w}. {o} was reminded and will not be again for these weeks. Perhaps the "
        "counting is hard, or somebody else could own it.",
        t=title(trial),
        w=week_dates.weeks(trial, weeks),
        o=who(trial, trial.owner),
    )
    return told(words, offer(Button("Ask somebody …", "trial.ask", of_owner(trial))))


# --- ownership ----------------------------------------------------------------------------------------------------


def offered(trial: Trial, by: MemberId, reason: str) -> Message:
    words = line(
        "{by} asks you to own the trial “{t}” from now on: the next action, one number a week, the review on {d}. It's "
        "yours only if you accept. Please answer within one working day.",
        by=who(trial, by) if by else line("The team"),
        t=title(trial),
        d=When(trial.review, "day") if trial.review else "its date",
    )
    blocks: list[Block] = [paragraph(words)]
    if reason:
        blocks.append(paragraph("Because: {r}", r=signed(reason, by, 300)))
    if trial.step is TrialStep.PROPOSED and trial.odds is not None:
        blocks += _odds(trial, trial.odds)
    key = of_offer(trial)
    yes = Button("I accept", "trial.accept", key, "primary")
    blocks.append(offer(yes, Button("I decline …", "trial.decline", key)))
    return Message(words, tuple(blocks))


def _odds(trial: Trial, odds: Odds) -> list[Block]:
    """Of a plan that starts later: its criterion is frozen with the yes."""
    words = "Your yes freezes its criterion. An effect as large as its target would show in {n} of 100 such trials."
    known = paragraph(words, n=likely.shown(likely.shows(odds)))
    return [known, *likely.blocks(trial.criterion, trial.planned, odds)]


def cannot_be_judged(trial: Trial, why: str) -> Message:
    """To the facilitator, of a plan that was to start."""
    return said_of(
        "“{title}” isn't started, and nobody was asked: its criterion cannot be judged as it stands: {w}. Start it "
        "again with another one.",
        trial,
        w=(theirs(why, 200),),
    )


def offer_declined(trial: Trial, member: MemberId, reason: str) -> Message:
    words = line(
        "{m} declined to own “{t}”: {r}. {now}",
        m=who(trial, member),
        t=title(trial),
        r=signed(reason.rstrip(".") or NO_REASON, member, 300),
        now=line("You still own it.") if trial.owner else line("It has no owner."),
    )
    return told(words, offer(Button("Ask somebody else …", "trial.ask", of_owner(trial))))


def unanswered(plan: str, member: Line) -> Message:
    return said(
        "I asked {m} a working day ago to own “{t}”, and have no answer yet. You can ask somebody else; their answer "
        "still counts until then.",
        m=member,
        t=theirs(plan, 80),
    )


def owner_changed(trial: Trial, before: MemberId | None, taken: bool) -> Message:
    if before is None or taken:
        return said_of("{m} owns the trial “{title}” now.", trial, m=who(trial, trial.owner))
    return said_of(
        "{m} owns the trial “{title}” now; {b} handed it over. Thank you both.",
        trial,
        m=who(trial, trial.owner),
        b=who(trial, before),
    )


def you_own(trial: Trial) -> Message:
    words = line("Thank you, you own “{t}” now. I'll ask you once a week, in your working hours.", t=title(trial))
    if trial.step is TrialStep.BUILDING:
        return told(_builds_it(trial), offer(*building_words.buttons(trial)[1:]))
    in_review = trial.step is TrialStep.IN_REVIEW
    close = Button("Close the review …", "trial.close", of_review(trial))
    first = close if in_review else Button("Log a week …", "trial.log", about_trial(trial))
    buttons = (
        first,
        Button("Move the review …", "trial.review_date", about_trial(trial)),
    )
    return told(words, offer(*buttons))


def _builds_it(trial: Trial) -> Line:
    expected = trial.live_expected()
    return line(
        "Thank you, you own “{t}” now. It should be live on {d}: I ask you then, and once a week for its numbers.",
        t=title(trial),
        d=short_day(expected) if expected is not None else "its day",
    )


def unowned(trial: Trial) -> Message:
    """To the facilitator, once and then every week until somebody owns it."""
    words = line(
        "The trial “{t}” runs without an owner: nobody looks after it. {a}Ask somebody; if nobody owns it two "
        "working days from now, I ask in the channel.",
        t=title(trial),
        a=line("{m} was asked. ", m=who(trial, trial.asked)) if trial.asked else (),
    )
    return told(words, offer(Button("Ask somebody …", "trial.ask", of_owner(trial), "primary")))


def take_it(trial: Trial) -> Button:
    says = f"I will own {theirs(trial.title, 60).text}"
    return Button("I will own it", "trial.own", of_owner(trial), "primary", says=says)


def volunteers(trial: Trial) -> Message:
    """In the channel, when the facilitator has found nobody."""
    words = line("“{t}” runs without an owner. Who looks after it: one number a week, and the review on {d}?",
                 t=title(trial), d=When(trial.review, "day") if trial.review else "its date")  # fmt: skip
    return told(words, offer(take_it(trial)))


def you_facilitate(trial: Trial) -> Message:
    """To whoever facilitates because the facilitator has left."""
    return said_of(
        "You look after the trial “{title}” as its facilitator now, since whoever did has left. I come to you when "
        "it needs somebody; its owner is {o}.",
        trial,
        o=who(trial, trial.owner),
    )


def deputy_gone(trial: Trial, left: str) -> Message:
    """To the facilitator, when whoever stood in for the owner has left."""
    words = "{m} has left: “{title}” has no deputy any more, so what its owner does not answer comes to you alone."
    return said_of(words, trial, m=line("{n}", n=theirs(left, 40)))


def decides_now(trials: Sequence[Trial], left: str, chief: Who) -> Message:
    """To the facilitator, when the decision-maker of what runs has left."""
    titles = theirs(", ".join(f"“{t.title}”" for t in trials), 300)
    return said("{m} has left: {c} is the decision-maker for {t} now.", m=theirs(left, 40), c=chief, t=titles)


def away_with(trials: Sequence[Trial], to_do: Sequence[tuple[str, Fate]]) -> Message:
    """To an owner who goes away for longer than a week. `to_do`: what was decided and falls due meanwhile, with the
    team."""
    words = line("While you are away nobody looks after what you own. You may hand it over for good:")
    rows = [(t.title, "trial.hand_over", of_owner(t)) for t in trials]
    rows += [(fate.title, "todo.hand_over", ButtonValue(team, (fate.id,)).pack()) for team, fate in to_do]
    return told(words, offer(*(Button(f"Hand over: {theirs(t, 55).text} …", act, key) for t, act, key in rows)))


def action_moved(trial: Trial, action_id: str, by: MemberId) -> Message:
    """To whoever does it, when somebody else moved its date."""
    action = next(a for a in trial.actions if a.id == action_id)
    words = line(
        "{m} moved the date of “{a}” ({t}): it is due by {d} now. The file updates your calendar.",
        m=who(trial, by),
        a=theirs(action.text, 300),
        t=title(trial),
        d=When(action.due),
    )
    move = Button("Move the date …", "trial.move", of_action(trial, action.id))
    return told(words, offer(move), attachments=(trial_dates.calendar_of_action(trial, action_id),))


def blocked(trial: Trial) -> Message:
    return said_of(
        "{o} says what is in the way of “{title}”: {w}",
        trial,
        o=who(trial, trial.owner),
        w=(signed(trial.in_the_way, trial.owner, 500),),
    )


# --- short answers ---

ONE_OF_THE_TEAM = "Choose one of the team."


def same_people(title: str) -> str:
    """At the field of a form."""
    name = theirs(title, 80).text
    return f"It would act on the same people as “{name}”, at the same time. Tick this to start it all the same."


def no_noted() -> Message:
    return said("Noted, thank you for saying so. The facilitator is told and looks for somebody else.")


def given_up() -> Message:
    return said("All right, it is not yours any more. The facilitator is told and looks for somebody else.")


def asked_to_take_over(trial: Trial) -> Message:
    return said("I ask {m} in private. Until they accept, the trial stays yours.", m=who(trial, trial.asked))


def asked(trial: Trial) -> Message:
    words = "I ask {m} in private. It's theirs only if they accept; the channel hears it then."
    return said(words, m=who(trial, trial.asked))


def asked_to_start(trial: Trial, live: date) -> Message:
    """With how the planned day was understood."""
    words = (
        "I ask {m} in private, with how likely each verdict is. The trial starts once they accept, and should be live "
        "on {d}; its owner can move that day."
    )
    return said(words, m=who(trial, trial.asked), d=short_day(live))


def ticked() -> Message:
    return said("Done, thank you. It is ticked on the trial's card.")


def obstacle_noted() -> Message:
    return said("Noted. The facilitator reads it, and the digest says that something is in the way.")
