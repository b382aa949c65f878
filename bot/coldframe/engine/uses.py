"""All that the engine can be asked and told, merged from the rooms that answer. A name given twice is refused."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, TypeVar

from coldframe.domain.names import RUNNING, Step
from coldframe.engine.core import endings
from coldframe.engine.core.alone import WithOwnChannels
from coldframe.engine.core.requests import Uses, of_round
from coldframe.engine.core.turn import Carry, Follow, Kit, Numbers
from coldframe.engine.delivery import restored
from coldframe.engine.engine import Engine
from coldframe.engine.intake import bare_words, dialogues, making, misplaced, panel, roster, texts
from coldframe.engine.people import forgetting, front_page, personal, rereckoning
from coldframe.engine.register import digest, erasing, fates, funnel, leftovers, registering, report
from coldframe.engine.reminding import bundle, trial_words
from coldframe.engine.reminding import rounds as round_reminders
from coldframe.engine.round import (
    announcing,
    clearing,
    closing,
    comparing,
    correcting,
    counter,
    course,
    guests,
    holdups,
    jotting,
    likening,
    listening,
    locking,
    odds,
    pages,
    plan_sizes,
    rehearsing,
    reopening,
    resting,
    retention,
    revealed_notes,
    roles,
    setup,
    sitting,
    starting,
    undoing,
    what_now,
)
from coldframe.engine.round.steps import PLAYS, notes, placement, voting
from coldframe.engine.trial import (
    addresses,
    bringing,
    building,
    forecasts,
    guards,
    ownership,
    reviews,
    signing,
    under_way,
    weekly,
)
from coldframe.engine.trial import reactions as trial_reactions
from coldframe.engine.trial import starting as trial_starting
from coldframe.errors import ColdframeError
from coldframe.ports.chat import Chat, Clock, Ids
from coldframe.ports.storage import Store

Value = TypeVar("Value")


class GivenTwice(ColdframeError, ValueError):
    """Two rooms answer to the same name."""


def _merged(*tables: Mapping[str, Value]) -> dict[str, Value]:
    found: dict[str, Value] = {}
    for table in tables:
        for name, value in table.items():
            if name in found:
                raise GivenTwice(name)
            found[name] = value
    return found


def _following(*tables: Mapping[Any, Follow[Any]]) -> Mapping[Any, tuple[Follow[Any], ...]]:
    """For each kind of fact all that follows from it, in the order of the tables."""
    found: dict[Any, tuple[Follow[Any], ...]] = {}
    for table in tables:
        for kind, follow in table.items():
            found[kind] = (*found.get(kind, ()), follow)
    return found


USES = Uses(
    buttons=_merged(
        *(of_round(play.buttons, (step,)) for step, play in PLAYS.items()),
        of_round(voting.BUTTONS),
        of_round(placement.BUTTONS, (Step.BALLOT, Step.PLACEMENT)),
        texts.BUTTONS,
        bare_words.BUTTONS,
        misplaced.BUTTONS,
        making.BUTTONS,
        course.BUTTONS,
        closing.BUTTONS,
        undoing.BUTTONS,
        correcting.BUTTONS,
        reopening.BUTTONS,
        roles.BUTTONS,
        jotting.BUTTONS,
        pages.BUTTONS,
        sitting.BUTTONS,
        funnel.BUTTONS,
        revealed_notes.BUTTONS,
        setup.BUTTONS,
        starting.BUTTONS,
        rehearsing.BUTTONS,
        panel.BUTTONS,
        guests.BUTTONS,
        personal.BUTTONS,
        holdups.BUTTONS,
        what_now.BUTTONS,
        weekly.BUTTONS,
        addresses.BUTTONS,
        building.BUTTONS,
        guards.BUTTONS,
        ownership.BUTTONS,
        reviews.BUTTONS,
        signing.BUTTONS,
        trial_starting.BUTTONS,
        forecasts.BUTTONS,
        registering.BUTTONS,
        digest.BUTTONS,
        report.BUTTONS,
        leftovers.BUTTONS,
        fates.BUTTONS,
        bringing.BUTTONS,
        erasing.BUTTONS,
    ),
    forms=_merged(
        *(of_round(play.forms, (step,)) for step, play in PLAYS.items()),
        of_round(notes.FORMS, RUNNING),
        course.FORMS,
        correcting.FORMS,
        reopening.FORMS,
        roles.FORMS,
        jotting.FORMS,
        making.FORMS,
        starting.FORMS,
        personal.FORMS,
        setup.FORMS,
        weekly.FORMS,
        building.FORMS,
        guards.FORMS,
        ownership.FORMS,
        trial_starting.FORMS,
        reviews.FORMS,
        registering.FORMS,
        digest.FORMS,
        funnel.FORMS,
        fates.FORMS,
        bringing.FORMS,
        erasing.FORMS,
    ),
    words=_merged(
        panel.WORDS,
        rehearsing.WORDS,
        under_way.WORDS,
        digest.WORDS,
        report.WORDS,
        registering.WORDS,
        funnel.WORDS,
        erasing.WORDS,
        bringing.WORDS,
    ),
)
DUE: Mapping[str, Carry] = _merged(
    *(step.due for step in PLAYS.values()),
    clearing.DUE,
    closing.DUE,
    course.DUE,
    comparing.DUE,
    counter.DUE,
    listening.DUE,
    roster.DUE,
    locking.DUE,
    announcing.DUE,
    endings.DUE,
    round_reminders.DUE,
    trial_words.DUE,
    personal.DUE,
    front_page.DUE,
    forgetting.DUE,
    rereckoning.DUE,
    retention.DUE,
    roles.DUE,
    resting.DUE,
    starting.DUE,
    rehearsing.DUE,
    sitting.DUE,
    reviews.DUE,
    weekly.DUE,
    digest.DUE,
    report.DUE,
    erasing.DUE,
    odds.DUE,
    plan_sizes.DUE,
    likening.DUE,
    ownership.DUE,
    trial_starting.DUE,
    leftovers.DUE,
    fates.DUE,
    restored.DUE,
)
round_changed = partial(
    course.react,
    _following(
        forecasts.FOLLOW,
        course.FOLLOW,
        undoing.FOLLOW,
        correcting.FOLLOW,
        reopening.FOLLOW,
        roles.FOLLOW,
        setup.FOLLOW,
        resting.FOLLOW,
        revealed_notes.FOLLOW,
        odds.FOLLOW,
        plan_sizes.FOLLOW,
        announcing.FOLLOW,
        *(step.follow for step in PLAYS.values()),
        voting.FOLLOW,
        jotting.FOLLOW,
        sitting.FOLLOW,
        trial_starting.FOLLOW,
        ownership.FOLLOW,
        likening.FOLLOW,
        fates.FOLLOW,
        rehearsing.FOLLOW,
    ),
)
trial_changed = partial(trial_reactions.react, _following(trial_reactions.FOLLOW, bundle.FOLLOW))


def assembled(
    store: Store,
    chat: Chat,
    clock: Clock,
    ids: Ids,
    numbers: Numbers,
    feed: Callable[[str, str, str], str] | None = None,
    numbers_at: Callable[[str, str, str, str], str] | None = None,
) -> Engine:
    """The engine with all that it can be asked."""
    hear = partial(dialogues.hear, USES)
    channels = WithOwnChannels(chat)
    return front_door(Kit(store, channels, clock, ids, numbers, round_changed, trial_changed, hear, feed, numbers_at))


def front_door(kit: Kit) -> Engine:
    """The engine on these doors."""
    return Engine(kit, DUE)
