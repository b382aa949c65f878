"""What the bot asks of a voter: the ballot, one sheet with all its options, and the comparisons of the placement."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.names import Axis, ForceId, MemberId, PlanId
from coldframe.domain.round.ballots import PRESSED, options, options_for
from coldframe.domain.round.placement import in_one_sitting, still_compares
from coldframe.domain.state import Ledger, Plan, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Items, Line, Message, Theirs, To, line
from coldframe.message.saying import in_private, offer, paragraph, said, small, told
from coldframe.speech.names import about, count, fewest, message_name
from coldframe.speech.round import paging
from coldframe.speech.round.guide_words import guided
from coldframe.speech.round.paging import Pages, pages, turning
from coldframe.speech.round.prompts import card, done, until
from coldframe.speech.round.results import plan_page
from coldframe.speech.steps import WORDS, VoteWords


def _vote(round_: Round) -> VoteWords:
    words = WORDS[round_.step].vote
    assert words is not None
    return words


BY_ITSELF = 6  # options, up to which the lines for voting by emoji stand in the sheet's thread unasked
SHOWN = 300  # characters of an option
COMPARED_NEXT = "Then you compare them in pairs, and the count appears."
IDEA = 60  # characters of a plan's idea, which whoever compares has read


def _pages(round_: Round, member: MemberId) -> Pages:
    """The options in this voter's own order."""
    found = ((option_id, _option_line(round_, option_id)) for option_id in options_for(round_, member))
    return pages(found, 2 if _vote(round_).locks else 1)


def page_of(round_: Round, member: MemberId, option_id: str) -> int:
    """On which page the voter finds an option."""
    return paging.page_of(_pages(round_, member), option_id)


def sheet(round_: Round, member: MemberId, page: int | str | None = 0) -> Message:
    """All of a voter's ballot in one message: the ask, what is left, each option with its buttons, until when. `page`
    may be an option that stands on it; None: all options at once."""
    words, ledger = _vote(round_), _ledger(round_)
    every, page = paging.shown(_pages(round_, member), page)
    locked = member in ledger.locked
    left = _left(round_, member)
    blocks: list[Block] = [paragraph(_ask(round_)), *([] if locked else [paragraph(left)])]
    blocks += [small(_not_counted(round_, mark.option)) for mark in ledger.surplus(member)]
    for option_id in every[page]:
        blocks += _option(round_, member, option_id, locked)
    blocks += turning(round_, "ballot.page", page, every)
    secret = _secret(round_, member)
    blocks.append(small(secret if locked else _emoji_too(round_) + secret))
    blocks.append(paragraph(until(round_, member)))
    blocks += [small(tick) for tick in _ticks(round_, member)]
    if buttons := _ballot_buttons(round_, member, locked):
        blocks.append(offer(*buttons))
    summary = line("{ask} ", ask=words.ask) + left + line(" ") + until(round_, member)
    then = line(COMPARED_NEXT) if words.locks and in_one_sitting(round_) else ()
    return guided(round_, member, card(round_, round_.step, *blocks, summary=summary, then=then))


def _ask(round_: Round) -> Line:
    """Of plans, with the way to all of them."""
    words = _vote(round_)
    if not words.locks:
        return line("{ask}", ask=words.ask)
    there = To(message_name(round_.id, "plans"), "the gallery")
    return line("{ask} In full they stand in {there}.", ask=words.ask, there=there)


def _ledger(round_: Round) -> Ledger:
    ledger = round_.ledger()
    assert ledger is not None
    return ledger


def _left(round_: Round, member: MemberId) -> Line:
    ledger, thing = _ledger(round_), _vote(round_).thing
    left = ledger.quota - len(ledger.counted(member))
    return line(
        "You have *{left}* left of {all}.", left=count(left, thing) if left else f"no {thing}s", all=ledger.quota
    )


def _not_counted(round_: Round, option_id: str) -> Line:
    return line(
        "Not counted, as it is one too many: “{text}”. Take another back and it counts by itself.",
        text=theirs(option_text(round_, option_id), 100),
    )


def _option(round_: Round, member: MemberId, option_id: str, locked: bool) -> list[Block]:
    """An option, with how many of this person's votes are on it and what they can do there."""
    number = options_for(round_, member).index(option_id) + 1
    mine = [m for m in _ledger(round_).counted(member) if m.option == option_id]
    words = line("{i}. ", i=number) + _option_line(round_, option_id)
    if mine:
        words += line(" · *{n}* from you", n=count(len(mine), _vote(round_).thing))
    buttons = () if locked else _option_buttons(round_, member, option_id)
    return [paragraph(words), *([offer(*buttons)] if buttons else [])]


def _option_line(round_: Round, option_id: str) -> Line:
    return (theirs(" ".join(option_text(round_, option_id).split()), SHOWN),)


def _option_buttons(round_: Round, member: MemberId, option_id: str) -> tuple[Button, ...]:
    """More, as long as something is left; back, what was put there by button; and the plan as a whole."""
    ledger, thing, key = _ledger(round_), _vote(round_).thing, about(round_, option_id)
    text = theirs(option_text(round_, option_id), 60).text
    found = []
    if len(ledger.counted(member)) < ledger.quota:
        found.append(Button(f"+1 {thing}", "vote.cast", key, says=f"One {thing} for: {text}"))
    if any(m.option == option_id and m.sign.startswith(PRESSED) for m in ledger.marks.get(member, ())):
        found.append(Button(f"−1 {thing}", "vote.back", key, says=f"Take one {thing} back from: {text}"))
    if _vote(round_).locks:
        found.append(Button("Read it", "ballot.read", key, says=f"Read the plan: {text}"))
    return tuple(found)


def _secret(round_: Round, member: MemberId) -> Line:
    """The decision-maker's votes are not as secret as everybody else's."""
    words = _vote(round_)
    if words.locks and round_.weighted_voter == member:
        return line("The result may show your votes, the decision-maker's, in a column of their own.")
    return line(words.secret)


def _emoji_too(round_: Round) -> Line:
    """Said where the lines stand unasked; else a button offers them."""
    if len(options(round_)) <= BY_ITSELF:
        return line("Or put emoji on the lines in this thread, one a {thing}. ", thing=_vote(round_).thing)
    return ()


def rules(round_: Round) -> Message:
    """How votes count, in the place of the sheet, with the way back to it."""
    back = Button("Back to my votes", "ballot.page", about(round_, "0"), "primary")
    return told(
        line("How your {thing}s count", thing=_vote(round_).thing),
        paragraph(_by_emoji(round_)),
        paragraph(_rules(round_)),
        offer(back),
    )


def _by_emoji(round_: Round) -> Line:
    thing, words = _vote(round_).thing, _vote(round_)
    how = (
        f"each option is a line there; any emoji on it is one {thing}, different emoji are several, taking one off "
        f"takes the {thing} back."
    )
    if len(options(round_)) <= BY_ITSELF:
        how = f"Or vote by emoji in this message's thread: {how}"
    else:
        how = f"Or vote by emoji: I put the options into this message's thread, and {how}"
    finish = "hands in your ballot" if words.locks else "says that you're done"
    return line(how + f" A ✅ on this message, or the word `done`, {finish}.")


def _rules(round_: Round) -> Line:
    words = _vote(round_)
    rules = line("Ties: {how}; what is still tied stays tied. ", how=words.ties)
    rules += line(words.secret + " " + words.shown, fewest=fewest(len(options(round_))))
    if in_one_sitting(round_) and words.locks:
        rules += line(" Once your ballot is in, I ask you to compare a few pairs of plans.")
    return rules


def _ticks(round_: Round, member: MemberId) -> list[Line]:
    """What the voter has done, where a message of its own would only repeat it."""
    ledger, thing = _ledger(round_), _vote(round_).thing
    votes = len(ledger.counted(member))
    if member in ledger.locked:
        return [_handed_in(votes, thing)]
    if _vote(round_).locks or member not in round_.progress.done:
        return []
    if votes == ledger.quota:
        return [line("✓ All your {things} are placed. You can move them until the step closes.", things=f"{thing}s")]
    return [line("✓ You're done here. You can still change it until the step closes.")]


def _ballot_buttons(round_: Round, member: MemberId, locked: bool) -> tuple[Button, ...]:
    words, key = _vote(round_), about(round_)
    how = Button("How it counts", "ballot.rules", key, says=f"How {words.thing}s count")
    if locked:
        return (Button("Skip the comparisons", "step.done", key), how) if still_compares(round_, member) else (how,)
    emoji = (how, Button("Vote by emoji", "ballot.lines", key)) if len(options(round_)) > BY_ITSELF else (how,)
    votes = len(_ledger(round_).counted(member))
    if words.locks and not votes:
        return (_lock_empty(round_), *emoji)
    if words.locks:
        return (
            Button("Hand in my ballot", "ballot.lock", key, "primary", says="My ballot is final; hand it in"),
            *emoji,
        )
    if member in round_.progress.done and votes == _ledger(round_).quota:
        return emoji
    return (done(round_, member, main=bool(votes)), *emoji)


def _handed_in(votes: int, thing: str) -> Line:
    if not votes:
        return line("✓ Your ballot is in, empty: it counts as an abstention.")
    return line("✓ Your ballot is in, with {n}.", n=count(votes, thing))


def _lock_empty(round_: Round) -> Button:
    """An abstention is a choice, but seldom what a press without a vote means."""
    sure = "There is no vote on your ballot. Hand it in empty? It counts as an abstention and can't be changed."
    return Button(
        "Hand it in empty …", "ballot.lock", about(round_), confirm=sure, says="Hand in my ballot without a vote"
    )


def opened(round_: Round, member: MemberId, option_id: str) -> Message:
    """One plan in the place of the sheet, with the way back to all of them."""
    found = plan_page(round_, round_.plans[PlanId(option_id)])
    key, locked = about(round_, str(page_of(round_, member, option_id))), member in _ledger(round_).locked
    voting = () if locked else _option_buttons(round_, member, option_id)[:-1]
    back = Button("Back to all plans", "ballot.page", key, "primary")
    blocks = (*found.blocks, paragraph(_left(round_, member)), paragraph(until(round_, member)), offer(back, *voting))
    return replace(found, blocks=blocks)


def emoji_line(round_: Round, member: MemberId, option_id: str) -> Message:
    """One option as a line for emoji; it stays as it is, whatever is voted."""
    number = options_for(round_, member).index(option_id) + 1
    return told(line("{i}. ", i=number) + _option_line(round_, option_id))


def lines_are_there(round_: Round) -> Message:
    return said("The options stand in the thread of your ballot already, one line each.")


def option_text(round_: Round, option_id: str) -> str:
    if round_.force(option_id) is not None:
        return round_.force_text(ForceId(option_id))
    return round_.plans[PlanId(option_id)].title


def over_quota(round_: Round, option_text: str, quota: int) -> Message:
    words = said(
        "That is one more than {quota}: your newest on “{text}” doesn't count. Take it off, or take another back "
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
    sheet = Message(
        summary,
        (
            paragraph(line(ask) + line(" {left} to go.", left=count(left, "comparison"))),
            Items(
                (
                    line("*A* {title}: {idea}", title=theirs(a.title, 80), idea=_idea(a)),
                    line("*B* {title}: {idea}", title=theirs(b.title, 80), idea=_idea(b)),
                )
            ),
            paragraph(until(round_, member)),
            offer(
                Button("A", "compare.first", key, says=f"A: {a.title}"),
                Button("B", "compare.second", key, says=f"B: {b.title}"),
                Button("About the same", "compare.same", key),
                *_step_back(round_, member),
            ),
            small("Nobody sees whose answer was whose."),
        ),
    )
    return guided(round_, member, sheet)


def _idea(plan: Plan) -> Theirs:
    """Cut between two words: half a number would be another one."""
    text = plan.hypothesis
    return theirs(text if len(text) <= IDEA else f"{text[:IDEA].rpartition(' ')[0]} …")


def comparisons_done(round_: Round, member: MemberId) -> Message:
    words = line("✓ Thanks, that was the last comparison. The result comes when the step closes.")
    back = _step_back(round_, member)
    return told(words, *([offer(*back)] if back else []))


def _step_back(round_: Round, member: MemberId) -> tuple[Button, ...]:
    """To the pair before this one, as long as there is one."""
    if not round_.comparisons.get(member):
        return ()
    return (Button("Back", "compare.back", about(round_), says="Answer the last pair again"),)
