"""What a round still wants and who can give it, in one place: wherever it is said that something has not come, rests or
waits, it is said from here. Whoever declined, sleeps or left a field empty is not said to have failed to answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from coldframe.domain.names import MemberId, MoreTime, PauseReason, Role, Step
from coldframe.domain.refusals import Because
from coldframe.domain.round import overlapping
from coldframe.domain.round.wanting import Want, Wanted, wanted
from coldframe.domain.state import Choice, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Inline, Line, Words, line
from coldframe.speech.names import CRITERION_FIELDS, PAUSED, title, who
from coldframe.speech.refusals import refusal

SHOWN = 3  # of what is missing, in one sentence
WANTS: Mapping[Want, str] = {
    Want.START: "it isn't started yet ({who} can start it)",
    Want.ANSWERS: "too few answers are in yet",
    Want.SOMETHING: "{nothing}, so there is nothing yet for the next step to begin with",
    Want.CONSENT: "fewer than three people wrote, and each of them is asked whether the notes may be shown",
    Want.CHIEF: "the votes of {who}, who decides, aren't in yet",
    Want.LEVER: "no lever is announced yet ({who} picks it)",
    Want.JOINS: "the list of forces isn't closed yet ({who} closes it)",
    Want.QUESTIONS: "no question is published yet ({who} can write them)",
    Want.PUBLISHING: "the questions aren't published yet ({who} publishes them)",
    Want.SEAL: "everything is there but the seal ({who} can press it)",
}
NOT_THERE = {
    Step.NOTES: "nobody has written what holds us back",
    Step.DOTS: "nobody has put a dot",
    Step.PLANS: "nobody has written a plan",
    Step.BALLOT: "nobody has voted",
}
"""What is missing where everybody is done with nothing."""
COMMITMENT: Mapping[Because, str] = {
    Because.NO_CHOICE: "no plan is chosen yet ({who} can choose)",
    Because.NOT_ANNOUNCED: "what is chosen isn't told to everybody yet; I do that when its time comes",
    Because.CRITERION_INCOMPLETE: "{plan} lacks its {fields} ({who} can fill in under “Criterion”)",
    Because.CHECK_MISSING: "{plan} touches something delicate and names nobody who checked it ({who} can fill that "
    "in under “Criterion”)",
    Because.ACTIONS_MISSING: "{plan} has no first-week actions yet ({who} can write them)",
    Because.LIVE_MISSING: "{plan} has no day yet on which it should be live ({who} can set it)",
    Because.FATES_MISSING: "what becomes of the plans that aren't tried isn't settled yet ({who} can do that)",
    Because.NEXT_ROUND_MISSING: "the next round has no date yet ({who} can set it)",
    Because.OVERLAP_UNCONFIRMED: "two trials would act on the same people and measure, so nobody could tell which "
    "worked ({who} can accept that, or change one)",
}
SAME_PEOPLE = (
    "“{one}” and “{other}” may be the same people, and then nobody could tell which trial worked ({who} can accept "
    "that, or change one)"
)
Names = Callable[[Round, MemberId], Inline]


def either(words: Sequence[Line], last: str = "or") -> Line:
    """`A, B or C`."""
    out: Line = ()
    for number, each in enumerate(words):
        sign = "" if not number else (f" {last} " if number == len(words) - 1 else ", ")
        out += (*line(sign), *each)
    return out


def by_role(round_: Round, member: MemberId) -> Inline:
    """Somebody by what they are in the round, where names are not said."""
    held = [role for role in (Role.DECISION_MAKER, Role.FACILITATOR) if round_.roles.acting(role) == member]
    return Words(f"the {held[0]}" if held else "its owner")


def lack(round_: Round, want: Wanted, named: Names = who, *, of_it: bool = False) -> Line:
    """One thing that is missing and who can give it, as part of a sentence; `of_it`: of the plan named just before."""
    people = either([(named(round_, member),) for member in want.who])
    if want.why is not None:
        return _sentence(refusal(want.why).summary)
    if isinstance(want.what, Want):
        return line(WANTS[want.what], who=people, nothing=NOT_THERE.get(round_.step, "nothing came in"))
    if want.what is Because.OWNER_MISSING:
        return _no_owner(round_, want, people)
    if want.what is Because.OVERLAP_UNCONFIRMED and (pair := overlapping.meant(round_)) is not None:
        return line(SAME_PEOPLE, one=theirs(pair[0], 120), other=theirs(pair[1], 120), who=people)
    plan = line("it") if of_it else _plan(round_, want)
    return line(COMMITMENT[want.what], who=people, plan=plan, fields=_fields(round_, want))


def _sentence(words: Line) -> Line:
    """A refusal as part of a sentence: its full stop comes with that."""
    *before, last = words
    return (*before, Words(last.text.rstrip(".")) if isinstance(last, Words) else last)


def _plan(round_: Round, want: Wanted) -> Line:
    if want.plan is None:
        return ()
    return line("“{title}”", title=theirs(round_.plans[want.plan].title, 80))


def _fields(round_: Round, want: Wanted) -> Line:
    """Those of its criterion that are empty, by name."""
    missing = round_.plans[want.plan].criterion.missing() if want.plan is not None else ()
    return either([line(CRITERION_FIELDS[name]) for name in missing], "and")


def _no_owner(round_: Round, want: Wanted, people: Line) -> Line:
    assert want.plan is not None
    choice, plan = round_.choices[want.plan], _plan(round_, want)
    if choice.asked is not None:
        return line("{plan} has no owner yet ({who} is asked and can accept or decline)", plan=plan, who=people)
    words = "{plan} has no owner yet{so_far} ({who} can ask somebody)"
    return line(words, plan=plan, so_far=_so_far(choice), who=people)


def _so_far(choice: Choice) -> str:
    if choice.declined:
        return ", since whoever was asked has declined"
    return ", and nobody is asked" if not choice.offers_shown() else ", though somebody offers to"


def lacks(round_: Round, named: Names = who) -> Line:
    """All that is missing, as far as one sentence holds it."""
    found = wanted(round_)
    before = [None, *(want.plan for want in found)]
    same = [want.plan is not None and want.plan == plan for want, plan in zip(found, before, strict=False)]
    words = [lack(round_, want, named, of_it=it) for want, it in zip(found[:SHOWN], same, strict=False)]
    more = len(found) - SHOWN
    out: Line = ()
    for number, each in enumerate(words):
        out += (*line("; " if number else ""), *each)
    return out + (line("; and {n} more", n=more) if more > 0 else ())


# --- a rest, more time, a role that goes on -------------------------------------------------------------------------


def why_rests(round_: Round, named: Names = who) -> Line:
    """Why it rests, as part of a sentence."""
    assert round_.paused is not None
    return rested(round_, round_.paused, named)


def rested(round_: Round, why: PauseReason, named: Names = who) -> Line:
    if why is PauseReason.NOBODY_DECIDED:
        return lacks(round_, named) or line(PAUSED[why])
    if why is PauseReason.NOTHING_CAME and round_.step in NOT_THERE:
        return line(NOT_THERE[round_.step])
    return line(PAUSED[why])


TO_GO_ON: Mapping[PauseReason, str] = {
    PauseReason.ASKED: "“Go on” takes it up again and gives the step more time.",
    PauseReason.BREAK: "It goes on by itself when the break is over; “Go on” ends the break now.",
    PauseReason.NOBODY_ANSWERED: "Ask the team what is in the way; “Go on” gives the step more time. If the week is "
    "wrong, cancel and set another date.",
    PauseReason.NOBODY_DECIDED: "“Go on” gives the step more time; what is missing can be given from then on.",
    PauseReason.NOTHING_CAME: "“Go on” gives the step more time. If the question was hard to answer, put it right "
    "first.",
    PauseReason.NOT_AGREED: "“Go on” gives time for more people to write: from three writers on nobody has to agree.",
}
TO_GO_ON_ELSEWHERE = "Invite me to a channel and type `/coldframe resume` there: the round goes on in it."
"""What its facilitator can do about a rest, and about one whose channel is lost."""

# Whose answer is missing is told to nobody in the channel, the decision-maker's no more than anybody else's.
MORE_TIME = {
    MoreTime.QUORUM: "too few answers yet",
    MoreTime.FACILITATOR: "more time was asked for",
    MoreTime.DOWNTIME: "I was away for a while",
    MoreTime.NOTHING: "nothing to go on with yet",
    MoreTime.ROLE: "not all the answers it needs are in yet",
    MoreTime.CONSENT: "those who wrote are being asked whether their notes may be shown",
}


def why_longer(round_: Round, why: MoreTime) -> Line:
    """Why a step has more time, as part of a sentence."""
    return lacks(round_) if why is MoreTime.UNDECIDED else line(MORE_TIME[why])


NOT_DONE = {Step.FOCUS: "no lever was picked", Step.QUESTIONS: "no question was published"}


def not_done_in_time(round_: Round) -> str:
    """Behind a hand-over at the deadline."""
    return f", since {NOT_DONE.get(round_.step, 'nothing was decided')} by the deadline"


def undecided(round_: Round) -> Line:
    """What the running step lacks, after its name."""
    name = theirs(round_.name, 60)
    step = title(round_.step).lower()
    return line("*{name}*, {step} step: {lacks}.", name=name, step=step, lacks=lacks(round_))
