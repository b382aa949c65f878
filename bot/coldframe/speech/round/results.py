"""What a step brought: reveals, rankings, the matrix, with how sure they are. Numbers come in; sentences go out."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.likes import Kin
from coldframe.domain.names import ForceId, LeverId, PlanId, QuestionId, Role, Side, Step
from coldframe.domain.round.ballots import draw_seed
from coldframe.domain.round.disclosure import figures, voters_needed
from coldframe.domain.state import Plan, Precedent, Round, Standing
from coldframe.message.harmless import signed, theirs, written
from coldframe.message.nodes import Block, Button, Drawing, Facts, Grid, Items, Line, Message, Theirs, line
from coldframe.message.pictures import ForceField, PlacedPlan, PlacementMatrix, RankRow, VoteRanking
from coldframe.message.plain import percent
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech.levels import level
from coldframe.speech.names import NO_REASON, about, capital, count, fewest, spelt
from coldframe.speech.round import change_words, delicate_words, drawn, jot_words
from coldframe.speech.round.sure_words import Sureness, sure_words, weight_words

MAX_LISTED = 60


# --- notes ---


def reveal(round_: Round, lever: LeverId) -> Message:
    """One lever's notes: driving above restraining, in the order of the reveal."""
    name = round_.settings.lever_name(lever)
    notes = [round_.notes[i] for i in round_.revealed]
    sides = {
        side: [n.text for n in notes if n.lever == lever and n.side is side and not n.hidden]
        for side in (Side.DRIVING, Side.RESTRAINING)
    }
    say = spelt if max(map(len, sides.values())) < 10 else count  # alike on both sides
    head = line(
        "*{lever}*: {d}, {r}",
        lever=theirs(name, 60),
        d=say(len(sides[Side.DRIVING]), "driving force"),
        r=say(len(sides[Side.RESTRAINING]), "restraining force"),
    )
    blocks: list[Block] = [heading(head)]
    for side, caption in ((Side.DRIVING, "What drives it"), (Side.RESTRAINING, "What holds it back")):
        blocks.append(paragraph("*{caption}*", caption=caption))
        blocks += _listed(sides[side])
    chart = ForceField(
        theirs(name).text,
        tuple(theirs(x).text for x in sides[Side.DRIVING]),
        tuple(theirs(x).text for x in sides[Side.RESTRAINING]),
    )
    return Message(head, tuple(blocks), attachments=(Drawing(chart, f"forces-{lever}"),))


def _listed(texts: Sequence[str]) -> list[Block]:
    if not texts:
        return [paragraph("Nothing was written.")]
    lines = tuple(written(t) for t in texts)
    return [Items(lines[at : at + MAX_LISTED]) for at in range(0, len(lines), MAX_LISTED)]


def revealed(round_: Round) -> Message:
    next_ = line(" {chief} now picks the lever to work on.", chief=_chief(round_)) if _has_focus(round_) else ()
    words = line(
        "*The reveal.* {n} by {w}, all at once, shuffled and unsigned.{next_}",
        n=count(len(round_.revealed), "note"),
        w=spelt(round_.writers, "person", "people"),
        next_=next_,
    )
    return told(
        words,
        small(
            "Is there something that shouldn't be seen (a name, a secret)? Anybody may ask to hide a note: type "
            "`/coldframe hide` and its first words. The link from note to writer is erased."
        ),
    )


def _chief(round_: Round) -> Theirs:
    return theirs(round_.acting_name(Role.DECISION_MAKER), 40)


def _has_focus(round_: Round) -> bool:
    return Step.FOCUS not in round_.passed


def focus_picked(round_: Round) -> Message:
    assert round_.focus is not None
    words = line(
        "The round works on *{lever}*. The reason: {reason}",
        lever=theirs(round_.settings.lever_name(round_.focus), 60),
        reason=signed(round_.focus_reason or NO_REASON, round_.roles.acting(Role.DECISION_MAKER), 500),
    )
    return told(words, small("The other levers' notes are kept for a later round."))


def merged(round_: Round) -> Message:
    """The joined list, every wording kept."""
    joined = sum(len(f.notes) - 1 for f in round_.forces)
    after = line(", after joining {j}", j=spelt(joined, "duplicate")) if joined else ()
    head = line("{n} holding us back{after}.", n=capital(spelt(len(round_.forces), "force")), after=after)
    rows = []
    for force in round_.forces:
        first, *others = round_.wordings(force.id)
        words = written(first, 600)
        if others:
            words += line(" (also worded: {o})", o=theirs(" / ".join(others), 600))
        rows.append(words)
    blocks = [Items(tuple(rows[at : at + MAX_LISTED])) for at in range(0, len(rows), MAX_LISTED)]
    return told(head, *blocks)


# --- rankings ---


def dots_result(round_: Round, sure: Sureness | None, unused: int) -> Message:
    """Places and what goes on; the dots, and what follows from them, only where enough people voted."""
    told_of = figures(round_, Step.DOTS)
    shown = told_of is not None
    carried = [s for s in round_.forces_standing if s.carried]
    rows = tuple(_force_row(round_, s, shown) for s in round_.forces_standing)
    tied = len(carried) > round_.settings.carry_on
    head = line(
        "The dots are counted: {n} of {all} go on{why}.",
        n=len(carried),
        all=count(len(round_.forces_standing), "force"),
        why=", since those tied at the cut all do" if tied else "",
    )
    header = ("Place", "Force", "Dots", "Goes on") if shown else ("Place", "Force", "Goes on")
    table = Grid("Forces by dots; ties share a place", header, tuple(_force_cells(row, shown) for row in rows[:40]))
    chart = VoteRanking(
        "Dots on the forces", "dots", rows, len(carried), sure_words(sure, figure=False) if shown else ""
    )
    blocks: list[Block] = [table]
    if shown:
        blocks += [small("{sure}", sure=sure_words(sure, figure=False)), *_unused(unused, "dot")]
    else:
        blocks.append(_places_only(round_, Step.DOTS, len(rows), ""))
    if _broken_by_people(round_.forces_standing):
        blocks.append(small("With equal dots, what more people chose stands first."))
    field = (Drawing(drawn.by_dots(round_, told_of), "forces-by-dots"),) if told_of is not None else ()
    return told(head, *blocks, attachments=(Drawing(chart, "dots"), *field))


PLACES_ONLY = "Fewer than {fewest} people{who} voted, so I show places only: any figure would tell somebody's votes."
AGAIN = "I show places only: beside the figures of the count before, new ones would tell somebody's votes."


def _places_only(round_: Round, step: Step, options: int, who: str) -> Block:
    enough = round_.counted.get(step, 0) >= voters_needed(options)
    return small(AGAIN) if enough else small(PLACES_ONLY, fewest=fewest(options), who=who)


def _unused(number: int, thing: str) -> list[Block]:
    return [small("{n} unused.", n=count(number, f"{thing} was", f"{thing}s were"))] if number else []


def _force_cells(row: RankRow, shown: bool) -> tuple[Line, ...]:
    dots = (line("{d}", d=f"{row.weighted:g}"),) if shown else ()
    return line("{p}", p=row.place_text()), written(row.label, 300), *dots, line("yes" if row.carried else "no")


def _broken_by_people(standings: Sequence[Standing]) -> bool:
    """Whether two have the same total and different places: the number of different people decided."""
    return len({s.weighted for s in standings}) < len({s.place for s in standings})


def no_dots(round_: Round) -> Message:
    """The facilitator goes on without: all are tied."""
    return said("Nobody put a dot, so all {n} go on.", n=count(len(round_.forces_standing), "force"))


def no_votes(round_: Round) -> Message:
    """The facilitator goes on without: all are tied."""
    return said("Nobody voted, so no plan stands before another: {n}.", n=count(len(round_.plans_standing), "plan"))


def _force_row(round_: Round, standing: Standing, shown: bool) -> RankRow:
    label = theirs(round_.force_text(ForceId(standing.option)), 120).text
    tied = sum(s.place == standing.place for s in round_.forces_standing) > 1
    if not shown:
        return RankRow(label, standing.place, None, None, None, tied, standing.carried)
    return RankRow(label, standing.place, standing.group, None, standing.weighted, tied, standing.carried)


def ballot_result(round_: Round, sure: Sureness | None, unused: int) -> Message:
    """Three columns with what follows from them; only places where so few voted that votes could be read off."""
    shown = figures(round_, Step.BALLOT) is not None
    rows = tuple(_plan_row(round_, s, shown) for s in round_.plans_standing)
    first = [r.label for r in rows if r.place == 1]
    verb = "is first" if len(first) == 1 else "share the first place"
    head = line("The ballot is counted: {first} {verb}.", first=theirs(", ".join(first), 300), verb=verb)
    header = ("Place", "Plan", "Group", "Decision-maker", "Weighted") if shown else ("Place", "Plan")
    blocks: list[Block] = [
        paragraph(head),
        Grid("Plans by weighted votes; ties share a place", header, tuple(_cells(r, shown) for r in rows)),
        *(_ballot_numbers(round_, sure, unused) if shown else _no_ballot_numbers(round_, len(rows))),
    ]
    if any(s.drawn for s in round_.plans_standing):
        blocks.append(small("I drew lots for a tie at the cut (the draw's seed is {seed}).", seed=draw_seed(round_)))
    chart = VoteRanking("Ballot on the plans", "votes", rows, None, sure_words(sure, figure=True) if shown else "")
    return Message(head, tuple(blocks), attachments=(Drawing(chart, "ballot"),))


def _ballot_numbers(round_: Round, sure: Sureness | None, unused: int) -> list[Block]:
    blocks: list[Block] = [small("{sure}", sure=sure_words(sure, figure=True))]
    if sure is not None and sure.weights is not None:
        blocks.append(small("{weight}", weight=weight_words(round_, sure.weights)))
    blocks += _unused(unused, "vote")
    if _broken_by_people(round_.plans_standing):
        blocks.append(
            small("With equal votes, the plan that more people chose stands first, then the decision-maker's.")
        )
    return blocks


def _no_ballot_numbers(round_: Round, options: int) -> list[Block]:
    words = _places_only(round_, Step.BALLOT, options, " besides the decision-maker")
    return [words, small("For the same reason I don't say whether the weight decided.")]


def _plan_row(round_: Round, standing: Standing, shown: bool) -> RankRow:
    label = theirs(round_.plans[PlanId(standing.option)].title, 80).text
    tied = sum(s.place == standing.place for s in round_.plans_standing) > 1
    if not shown:
        return RankRow(label, standing.place, None, None, None, tied, standing.carried)
    return RankRow(
        label, standing.place, standing.group, standing.decision_maker, standing.weighted, tied, standing.carried
    )


def _cells(row: RankRow, shown: bool) -> tuple[Line, ...]:
    cells = [line("{p}", p=row.place_text()), written(row.label, 120)]
    if shown:
        numbers = (row.group, row.decision_maker, row.weighted)
        cells += [line("{n}", n=f"{n:g}" if n is not None else "") for n in numbers]
    return tuple(cells)


# --- questions, precedents, plans ---


def question_card(round_: Round, question: QuestionId) -> Message:
    """One question; precedents gather in its thread."""
    found = next(q for q in round_.questions if q.id == question)
    words = written(found.text, 300)
    source = small("It comes from: {force}", force=theirs(round_.force_text(found.force), 300))
    value = about(round_, found.id, step=Step.PRECEDENTS)
    before = (Button("Told before …", "kin.show", value, says=f"Told before: {found.text}"),)
    write = Button("Add a precedent …", "precedent.write", value, says=f"Add a precedent: {found.text}")
    add = offer(write, *(before if _kin(round_, question) else ()))
    return Message(words, (heading(words), source, *((add,) if round_.step is Step.PRECEDENTS else ())))


def _kin(round_: Round, question: QuestionId) -> list[Kin]:
    return [kin for kin in round_.kin if kin.question == question]


def told_before(round_: Round, question: QuestionId) -> Message:
    """What the team told in earlier rounds, for the question that is most like this one first: a list to choose from,
    since likeness alone does not tell what helps."""
    rows = tuple(
        line(
            "{stories}, in {round} for “{text}”",
            stories=theirs("; ".join(f"“{title}”" for title in kin.told), 400),
            round=theirs(kin.round_name, 60),
            text=theirs(kin.text, 200),
        )
        for kin in _kin(round_, question)
    )
    if not rows:
        return said("Nothing was told before.")
    return told(line("Told in earlier rounds, the likeliest to help first:"), Items(rows))


def precedent_card(round_: Round, precedent: Precedent, same: int) -> Message:
    who = round_.name_of(precedent.by)
    head = line("*{title}*, a story told by {who}", title=theirs(precedent.title, 150), who=theirs(who, 40))
    blocks: list[Block] = [paragraph(head), paragraph(written(precedent.idea, 1000))]
    if precedent.details:
        blocks.append(paragraph(written(precedent.details, 3000)))
    rows = [("Outside our trade", line("yes" if precedent.outside_trade else "no"))]
    if precedent.source:
        rows.append(("Source, not checked", written(precedent.source, 500)))
    blocks.append(Facts(tuple(rows)))
    if same:
        blocks.append(small("{n} chose this case.", n=count(same, "other", "others")))
    return Message(head, tuple(blocks))


def plans_revealed(round_: Round) -> Message:
    return said(
        "*{n}*, unsigned and shuffled. Read them in this thread before you vote."
        if len(round_.plan_order) > 1
        else "*{n}*, unsigned. It stands in this thread.",
        n=capital(spelt(len(round_.plan_order), "plan is in", "plans are in")),
    )


def plan_page(round_: Round, plan: Plan, *, weeks_note: str = "") -> Message:
    """The one page, as everybody reads it: no author, no private answers."""
    criterion = plan.criterion
    question = next((q.text for q in round_.questions if q.id == plan.question), "")
    rows: list[tuple[str, Line]] = [
        ("Question", written(question, 300)),
        ("Measure", written(criterion.measure, 200)),
        ("From, to", line("{span}", span=_from_to(plan))),
        ("Duration", line("{w}", w=count(plan.weeks, "week"))),
    ]
    if criterion.counted:
        rows.append(("Who is counted", written(criterion.counted, 300)))
    again = change_words.parent(round_, plan)
    if again:
        rows.insert(1, ("Another try of", again))
    borrowed = next((p for p in round_.precedents if p.id == plan.borrows), None)
    if borrowed is not None:
        rows.insert(1, ("Borrows from", jot_words.principle(borrowed)))
    head = line("*{title}*", title=theirs(plan.title, 80))
    blocks: list[Block] = [
        heading(written(plan.title, 80)),
        paragraph(written(plan.hypothesis, 1000)),
        Items(tuple(written(s, 300) for s in plan.steps), ordered=True),
        Facts(tuple(rows)),
    ]
    if weeks_note:
        blocks.append(small("{n}", n=weeks_note))
    blocks += delicate_words.on_its_page(plan)
    return Message(head + line(": {h}", h=theirs(plan.hypothesis, 300)), tuple(blocks))


def _from_to(plan: Plan) -> str:
    criterion = plan.criterion
    if criterion.baseline is None or criterion.target is None:
        return "not stated yet"
    return f"{level(criterion, criterion.baseline)} to {level(criterion, criterion.target)}"


def placement_result(round_: Round, chart: PlacementMatrix, judges: int, comparisons: int) -> Message:
    head = line(
        "The matrix: {n}, from {c} by {j}.",
        n=spelt(len(chart.points), "plan"),
        c=spelt(comparisons, "comparison"),
        j=spelt(judges, "person", "people"),
    )
    header: tuple[str, ...] = ("Sign", "Plan", "Corner")
    header += ("How sure",) * (not chart.order_only) + ("Decision-maker's votes",) * chart.shows_chief
    view = "" if judges != 1 else " This is one person's view."
    few = " Fewer than five people compared, so I show only their order." if chart.order_only else ""
    return told(
        head,
        Grid("Plans and their corners", header, tuple(_corner_cells(p, chart.shows_chief) for p in chart.points)),
        small("Places come from comparisons, so they are relative to these plans.{view}{few}", view=view, few=few),
        attachments=(Drawing(chart, "matrix"),),
    )


def _corner_cells(plan: PlacedPlan, chief: bool) -> tuple[Line, ...]:
    cells = [line("{l}", l=plan.label), written(plan.title, 80), line("{c}", c=plan.corner)]
    if plan.certainty is not None:
        cells.append(line("{s}", s=percent(plan.certainty) + (", unsure" if plan.unsure else "")))
    return (*cells, line("{n}", n=plan.chief or "")) if chief else tuple(cells)


def not_placed(round_: Round, judges: int, comparisons: int) -> Message:
    """Without a matrix: nobody compared, or it could not be reckoned."""
    if not comparisons:
        return said("Nobody compared the plans, so there is no matrix. You can choose all the same.")
    return said(
        "I couldn't work out the matrix from the {c} of {j}. You can choose all the same.",
        c=count(comparisons, "comparison"),
        j=count(judges, "person", "people"),
    )
