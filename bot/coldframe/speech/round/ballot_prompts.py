"""What the bot asks of a voter: the ballot, its options, and the comparisons of the placement."""

from __future__ import annotations

from coldframe.domain.names import Axis, ForceId, MemberId, PlanId
from coldframe.domain.round.ballots import options, options_for
from coldframe.domain.round.placement import in_one_sitting, still_compares
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Facts, Items, Line, Message, line
from coldframe.message.saying import in_private, offer, paragraph, said, small, told
from coldframe.speech.names import about, count, fewest
from coldframe.speech.round.prompts import card, until
from coldframe.speech.steps import WORDS, VoteWords


def _vote(round_: Round) -> VoteWords:
    words = WORDS[round_.step].vote
    assert words is not None
    return words


def ballot_intro(round_: Round, member: MemberId) -> Message:
    """Above the options: quota, deadline, the rule for ties; kept up to date with what is left."""
    ledger = round_.ledger()
    assert ledger is not None
    words = _vote(round_)
    left, thing = ledger.quota - len(ledger.counted(member)), words.thing
    locked = member in ledger.locked
    summary = line("{ask} You have {left} left. ", ask=words.ask, left=count(left, thing)) + until(round_, member)
    how = (
        f"Below is one message for each option, in an order of your own. Any emoji that you add to it is one {thing}, "
        f"different emoji are several, taking one off takes the {thing} back. The buttons do the same."
    )
    finish = "locks your ballot" if words.locks else "says that you are done"
    how += f" A ✅ on this message, or the word `done`, {finish}."
    if in_one_sitting(round_) and words.locks:
        how += " When you have locked your ballot, I ask you at once to compare a few pairs of plans."
    blocks: list[Block] = [
        paragraph(words.ask),
        Facts(
            (
                ("Left", line("{left} of {all}", left=count(left, thing), all=ledger.quota)),
                ("Over the quota", line("{n} that do not count", n=len(ledger.surplus(member)))),
            )
            if ledger.surplus(member)
            else (("Left", line("{left} of {all}", left=count(left, thing), all=ledger.quota)),)
        ),
        small(how),
        small(
            line("Ties: {how}; what is still tied stays tied. ", how=words.ties)
            + line(words.secrecy, fewest=fewest(len(options(round_))))
        ),
        paragraph(until(round_, member)),
    ]
    if locked:
        blocks.append(small(_handed_in(len(ledger.counted(member)), thing)))
    buttons = _ballot_buttons(round_, member, locked)
    if buttons:
        blocks.append(offer(*buttons))
    return card(round_, round_.step, *blocks, summary=summary)


def _ballot_buttons(round_: Round, member: MemberId, locked: bool) -> tuple[Button, ...]:
    if not _vote(round_).locks:
        if member in round_.progress.done:
            return (Button("Not done after all", "step.undone", about(round_)),)
        return (Button("I am done", "step.done", about(round_), "primary"),)
    if locked and not still_compares(round_, member):
        return ()
    if locked:
        return (Button("Skip the comparisons", "step.done", about(round_)),)
    ledger = round_.ledger()
    if ledger is not None and not ledger.counted(member):
        return (_lock_empty(round_),)
    return (
        Button("Lock my ballot and go on", "ballot.lock", about(round_), "primary", says="My ballot is final; go on"),
    )


def _handed_in(votes: int, thing: str) -> Line:
    if not votes:
        return line("You have handed in an empty ballot. It counts as an abstention.")
    return line("You have handed in your ballot with {n}.", n=count(votes, thing))


def _lock_empty(round_: Round) -> Button:
    """An abstention is a choice, but seldom what a press without a vote means."""
    sure = "There is no vote on your ballot. Hand it in empty? It counts as an abstention and cannot be changed."
    return Button(
        "Hand it in empty …", "ballot.lock", about(round_), confirm=sure, says="Hand in my ballot without a vote"
    )


def option(round_: Round, member: MemberId, option_id: str) -> Message:
    """One option of a ballot, with how many of this person's votes are on it."""
    ledger = round_.ledger()
    assert ledger is not None
    mine = sum(m.option == option_id for m in ledger.counted(member))
    text = option_text(round_, option_id)
    thing = _vote(round_).thing
    number = options_for(round_, member).index(option_id) + 1
    state = line("*{n}* from you", n=count(mine, thing))
    summary = line("{i}. {text}", i=number, text=theirs(text, 300))
    key = about(round_, option_id)
    buttons = (
        Button(f"+1 {thing}", "vote.cast", key, says=f"One {thing} for: {theirs(text, 60).text}"),
        Button("Take one back", "vote.back", key, says=f"Take one {thing} back from: {theirs(text, 60).text}"),
    )
    return told(summary, small(state), offer(*buttons))


def option_text(round_: Round, option_id: str) -> str:
    if round_.force(option_id) is not None:
        return round_.force_text(ForceId(option_id))
    return round_.plans[PlanId(option_id)].title


def over_quota(round_: Round, option_text: str, quota: int) -> Message:
    words = said(
        "That is one more than {quota}: your newest on “{text}” does not count. Take it off, or take another back "
        "first and it counts by itself.",
        quota=quota,
        text=theirs(option_text, 200),
    )
    return in_private(words)


def comparison(round_: Round, member: MemberId, axis: Axis, first: PlanId, second: PlanId, left: int) -> Message:
    """One pair, one question."""
    ask = "Which has *more impact* on its question?" if axis is Axis.IMPACT else "Which takes *more effort*?"
    a, b = round_.plans[first], round_.plans[second]
    key = about(round_, axis, first, second)
    summary = line(ask) + line(" {a} or {b}?", a=theirs(a.title, 80), b=theirs(b.title, 80))
    return Message(
        summary,
        (
            paragraph(line(ask) + line(" {left} to go.", left=count(left, "comparison"))),
            Items(
                (
                    line("*A* {title}: {idea}", title=theirs(a.title, 80), idea=theirs(a.hypothesis, 200)),
                    line("*B* {title}: {idea}", title=theirs(b.title, 80), idea=theirs(b.hypothesis, 200)),
                )
            ),
            paragraph(until(round_, member)),
            offer(
                Button("A", "compare.first", key, says=f"A: {a.title}"),
                Button("B", "compare.second", key, says=f"B: {b.title}"),
                Button("About the same", "compare.same", key),
            ),
            small("From everybody's answers comes the effort-impact matrix. Nobody sees whose answer was whose."),
        ),
    )


def comparisons_done(round_: Round) -> Message:
    return said("Thank you, that was the last comparison. The result comes when the step closes.")
