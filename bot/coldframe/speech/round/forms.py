"""The forms people fill in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date as date_
from datetime import datetime

from coldframe.domain.names import ForceId, LeverId, MemberId, NoteId, PlanId, QuestionId
from coldframe.domain.round import strengths
from coldframe.domain.round.commitment import FIRST_WEEK
from coldframe.domain.settings import RANGES, Settings
from coldframe.domain.state import MergeProposal, Plan, Round
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Field, Form, Line, Option, line
from coldframe.speech.names import MOST_BESIDE, about, count
from coldframe.speech.round import criterion_forms, jot_words
from coldframe.speech.round.criterion_forms import KINDS
from coldframe.speech.round.criterion_forms import criterion as criterion
from coldframe.speech.round.criterion_forms import kind_shown as kind_shown

PACES = (Option("days", "Over days, in everybody's working hours"), Option("live", "In one sitting, in minutes"))
DOTS = "On the restraining forces; from {} to {}.".format(*RANGES["dots"])
PLAN_VOTES = "From {} to {}.".format(*RANGES["plan_votes"])
MOST_OF_A_QUESTION = 300  # characters
QUESTION_HINT = "Who, in which situation, and what should be different? No answer inside."
MEANINGS = "A line each, such as Retention: they order again within a month. Empty for the usual meanings."
WINDOWS = (
    "Such as notes 16, plans 24: working hours over days, minutes in one sitting. Empty for the usual ones. "
    "“reading” is the time before the ballot opens."
)


def _option(value: str, label: str) -> Option:
    return Option(value, theirs(label, 300).text)


def note(round_: Round, lever: LeverId | None = None) -> Form:
    levers = tuple(_option(key, name) for key, name in round_.settings.levers)
    return Form(
        "Write a note",
        "note.write",
        about(round_),
        (
            Field("lever", "Lever", "choice", options=levers, initial=lever or ""),
            Field(
                "side",
                "Direction",
                "choice",
                options=(Option("restraining", "It holds us back"), Option("driving", "It drives us")),
                initial="restraining",
            ),
            Field("text", "One idea", "long", most=3000, hint="Several lines are taken as several notes."),
        ),
        intro=line("Nobody reads it before the reveal."),
    )


def note_edit(round_: Round, note_id: NoteId) -> Form:
    text = round_.notes[note_id].text
    field = Field("text", "One idea", "long", most=3000, initial=text)
    return Form("Change a note", "note.edit", about(round_, note_id), (field,))


def focus(round_: Round, lever: LeverId) -> Form:
    name = theirs(round_.settings.lever_name(lever), 60).text
    reason = Field("reason", "Why this lever?", "long", most=500, hint="In a sentence; it is shown to everybody.")
    return Form("Pick the focus", "focus.pick", about(round_, lever), (reason,), intro=line("{l}", l=name))


def join(round_: Round) -> Form:
    forces = tuple(_option(f.id, round_.force_text(f.id)) for f in round_.forces)
    return Form(
        "Join by hand",
        "merge.join",
        about(round_),
        (
            Field("first", "This force", "choice", options=forces),
            Field("second", "is the same as", "choice", options=forces),
        ),
        intro=line("Only the same point in other words. Both wordings are kept."),
    )


def same(round_: Round) -> Form:
    """The same two fields, for whoever does not decide."""
    intro = line("Only the same point in other words. The facilitator decides, and nobody is told who said it.")
    return replace(join(round_), title="The same point", action="merge.same", intro=intro, submit="Say so")


def same_of_these(round_: Round, proposal: MergeProposal) -> Form:
    notes = tuple(_option(note, round_.notes[note].shown()) for note in proposal.notes)
    return Form(
        "The same of these",
        "merge.some",
        about(round_, proposal.first, proposal.second),
        (Field("same", "These are one point", "choices", options=notes, initial="\n".join(proposal.alike)),),
        intro=line("What you leave out stays apart. Every wording is kept."),
        submit="Join these",
    )


def split(round_: Round) -> Form:
    joined = tuple(_option(f.id, round_.force_text(f.id)) for f in round_.forces if len(f.notes) > 1)
    return Form(
        "These differ",
        "merge.object",
        about(round_),
        (Field("force", "Take this one apart again", "choice", options=joined),),
        intro=line("Nobody is told who asked."),
        submit="Split",
    )


def question(round_: Round, force: ForceId) -> Form:
    text = Field(
        "text",
        "Question",
        "long",
        most=MOST_OF_A_QUESTION,
        initial="How might we ",
        hint=QUESTION_HINT,
    )
    return Form(
        "Write a question",
        "question.write",
        about(round_, force),
        (text,),
        intro=line("The force: {f}", f=theirs(round_.force_text(force), 300)) + _beside(round_, force),
    )


def _beside(round_: Round, force: ForceId) -> Line:
    """What drives the lever in focus, first what speaks of the same as this force that holds it back."""
    helps = strengths.beside(round_)[0].get(force, ())
    others = (note for note in round_.driving_in_focus() if note not in helps)
    driving = [*helps, *others][:MOST_BESIDE]
    if not driving:
        return ()
    texts = "; ".join(theirs(note.text, 120).text for note in driving)
    return line("\nWhat drives us already, and might help here: {d}", d=theirs(texts, 1000))


def precedent(round_: Round, question_id: QuestionId | None = None) -> Form:
    questions = tuple(_option(q.id, q.text) for q in round_.questions)
    return Form(
        "Write a precedent",
        "precedent.write",
        about(round_),
        (
            Field("question", "Question", "choice", options=questions, initial=question_id or ""),
            Field("title", "Title", most=150),
            Field("idea", "The big idea", "long", most=1000),
            Field("details", "Details: what changed, by which number, where would it not carry over?", "long",
                  required=False, most=3000),
            Field("source", "Source", required=False, most=500, hint="An address or a book; nobody checks it."),
            Field("outside", "From outside our own trade", "tick", required=False),
        ),
    )  # fmt: skip


def plan(round_: Round, found: Plan | None = None, jotted: str = "", pace: str = "") -> Form:
    """The one page. What the criterion needs may be completed at the commitment; `pace` as in `live`."""
    questions = tuple(_option(q.id, q.text) for q in round_.questions)
    old = found.criterion if found else None
    value = about(round_, found.id) if found else about(round_)
    fields = (
        Field("question", "Question", "choice", options=questions, initial=found.question if found else ""),
        Field("title", "Title", most=75, initial=found.title if found else ""),
        Field("hypothesis", "Hypothesis: if we .. for .., then .. will go from .. to .., because ..", "long", most=1000,
              initial=found.hypothesis if found else ""),
        *jot_words.borrows(round_, found),
        Field("steps", "Action steps, one a line", "long", most=2000, initial="\n".join(found.steps) if found else ""),
        Field("measure", "Success measure, with its unit", most=200, initial=old.measure if old else ""),
        Field("kind", "How is it compared?", "choice", options=KINDS, initial=old.kind if old else "split"),
        Field("weeks", "Weeks", "choice", options=tuple(Option(str(w), f"{w} weeks") for w in (3, 4, 5, 6)),
              initial=str(found.weeks) if found else "4"),
        *criterion_forms.on_the_page(found),
        Field("checked_by", "If it touches personal data, messages, prices, health, finance, children: who checked it?",
              required=False, most=100, initial=found.checked_by if found else ""),
        Field("might_fail", "It is the review and this failed. Why? (only you read this before the review)", "long",
              required=False, most=1000, initial=found.might_fail if found else ""),
        Field("chance", "Chance of reaching the target, in %", "number", required=False, most=3,
              initial="" if found is None or found.chance is None else str(found.chance)),
    )  # fmt: skip
    intro = line("One page. No names until the commitment.") + (line(" {p}", p=pace) if pace else ())
    if jotted:
        intro += line("\nWhat struck you while reading: {j}", j=theirs(jotted, 1000))
    return Form("Write a plan", "plan.write", value, fields, intro=intro)


def owner(round_: Round, plan_id: PlanId) -> Form:
    people = tuple(_option(m, round_.name_of(m)) for m in round_.active())
    field = Field(
        "member", "Who?", "choice", options=people, hint="I ask them in private. It's theirs only if they accept."
    )
    return Form("Ask an owner", "owner.ask", about(round_, plan_id), (field,), submit="Ask")


def decline(round_: Round, plan_id: PlanId) -> Form:
    people = (Option("", "nobody"), *(_option(m, round_.name_of(m)) for m in round_.active()))
    return Form(
        "Decline",
        "owner.decline",
        about(round_, plan_id),
        (
            Field("reason", "Why?", "long", most=500),
            Field("instead", "Who could do it?", "choice", required=False, options=people),
        ),
    )


def actions(round_: Round, plan_id: PlanId, day_of: Callable[[datetime], date_]) -> Form:
    """First-week actions, one a line, each with its day (`day_of` a moment, to who fills it in) and with who does it,
    if not the owner; begun from the plan's steps."""
    choice = round_.choices[plan_id]
    known = ((a, "" if a.who == choice.owner else f" | {round_.name_of(a.who)}") for a in choice.actions)
    initial = "\n".join(f"{a.text} | {day_of(a.due)}{who}" for a, who in known) or "\n".join(
        f"{step} | in {count(n, 'working day')}" for n, step in enumerate(round_.plans[plan_id].steps[:3], 2)
    )
    people = tuple(_option(m, round_.name_of(m)) for m in round_.active())
    return Form(
        "First-week actions",
        "actions.write",
        about(round_, plan_id),
        (
            Field(
                "actions",
                "One a line: what | by when | who (empty: the owner)",
                "long",
                most=2000,
                initial=initial,
                options=people,
                each="action",
                hint=f"Within {FIRST_WEEK.days} days. “When Monday's meeting ends, I write …” works best.",
            ),
        ),
    )


def live(round_: Round, plan_id: PlanId, pace: str) -> Form:
    """The day on which a chosen plan should be live; `pace`: how long the team's builds took, if anybody knows."""
    known = round_.choices[plan_id].live
    hint = "Such as next Monday, 12 Jan, or in 2 weeks. Its weeks are the whole ones after that day."
    field = Field("date", "From which day should it be live?", most=60, day=True, hint=hint, initial=str(known or ""))
    intro = written(round_.plans[plan_id].title, 200) + (line(" {p}", p=pace) if pace else ())
    return Form("Live from", "live.date", about(round_, plan_id), (field,), intro=intro)


DATES = {
    "round.start_on": "Start of the round",
    "nextround.date": "Date of the next round",
    "round.end": "Date of the next round",
}


def date(action: str, value: str) -> Form:
    hint = "Such as 12 Jan, in 5 weeks, or next Tuesday 10:00."
    field = Field("date", "When?", "text", most=60, day=True, hint=hint)
    return Form(DATES[action], action, value, (field,))


def forecast(round_: Round, plan_id: PlanId, me: MemberId) -> Form:
    choice = round_.choices[plan_id]
    given = choice.forecasts.get(me)
    chances = tuple(Option(str(c), f"{c}%") for c in range(0, 101, 10))
    return Form(
        "My forecast",
        "forecast.write",
        about(round_, plan_id),
        (
            Field(
                "chance",
                "How likely is it to reach its target?",
                "choice",
                options=chances,
                initial="" if given is None else str(given),
            ),
            Field(
                "fear",
                "Imagine it has failed. What was the most probable reason?",
                "long",
                required=False,
                most=1000,
                initial=choice.feared.get(me, ""),
                hint="Your last word counts; empty takes it back.",
            ),
        ),
        intro=line(
            "Private until the commitment is sealed. Then I show what three or more people said, without names: the "
            "middle forecast, and the reasons. From fewer people I show nothing."
        ),
    )


def cancel(round_: Round) -> Form:
    why = Field("reason", "Why?", most=300)
    return Form("Cancel the round", "round.cancel", about(round_), (why,), submit="Cancel the round")


def hours(zone: str, days: str, span: str, country: str, quiet: str) -> Form:
    return Form(
        "My working time",
        "hours.write",
        "",
        (
            Field("zone", "Time zone", most=60, initial=zone, hint="Such as Europe/Berlin or Asia/Kolkata."),
            Field("days", "Working days", most=60, initial=days, hint="Such as Mon-Fri, or Sun-Thu."),
            Field("hours", "Hours", most=60, initial=span, hint="Such as 09:00-17:00, or 08:00-12:00, 14:00-18:00."),
            Field(
                "country",
                "Country for public holidays",
                required=False,
                most=10,
                initial=country,
                hint="Such as DE, or DE-BE.",
            ),
            Field(
                "quiet",
                "Hours without reminders",
                required=False,
                most=20,
                initial=quiet,
                hint="Such as 20:00-08:00; empty for none. Reminders keep to your working hours anyway.",
            ),
        ),
    )


def away() -> Form:
    return Form(
        "I'm away",
        "me.away",
        "",
        (Field("until", "Back on", most=60, day=True, hint="Such as next Monday, or 12 Jan. Reasons aren't asked."),),
    )


DECIDES = "Picks the lever, then the trials. Mostly the most senior of you."
DEPUTY = "Decides while the decision-maker is away."
YOURS = "Leads on while you are away."


def new_round(levers: str, people: Sequence[Option]) -> Form:
    """The setup on one page; everything else has defaults."""
    usual = Settings(question="")
    return Form(
        "Start a round",
        "round.new",
        "",
        (
            Field("question", "Guiding question", "long", most=300, hint="What must the round answer?"),
            Field("name", "Short name", most=40, hint="It stands on every card."),
            Field("levers", "Levers, separated by commas", most=200, initial=levers),
            Field("meanings", "What the levers mean here", "long", required=False, most=800, hint=MEANINGS),
            Field("decision_maker", "Decision-maker", "choice", options=tuple(people), hint=DECIDES),
            Field("decision_deputy", "Deputy of the decision-maker", "choice", options=tuple(people), hint=DEPUTY),
            Field("facilitator_deputy", "Your own deputy as facilitator", "choice", options=tuple(people), hint=YOURS),
            Field("weight", "Weight of the decision-maker's plan votes", "number", initial="2", most=20),
            Field("dots", "Dots each", "number", initial=str(usual.dots), most=20, hint=DOTS),
            Field("plan_votes", "Plan votes each", "number", initial=str(usual.plan_votes), most=20, hint=PLAN_VOTES),
            Field("pace", "Pace", "choice", initial="days", options=PACES),
            Field("windows", "Windows that differ from the usual", "long", required=False, most=400, hint=WINDOWS),
        ),
        intro=line("You facilitate. Everybody in this channel takes part; bots and guests don't."),
        submit="Show me the round",
    )  # fmt: skip
