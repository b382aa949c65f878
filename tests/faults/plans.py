"""Fault plans: a seed tells what fails when during a whole round, and the play without faults tells what must be there
all the same."""

from __future__ import annotations

import random
import tempfile
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import get_args

from sqlalchemy import select

from coldframe.engine.delivery.outbox import BLIND_FOR
from coldframe.ports.chat import Place
from coldframe.store import tables as t
from coldframe.store.standing import SET_ASIDE
from tests.faults.platform import CHANGING, LOOKING_UP, SPEAKING, Fault, Trouble
from tests.faults.playing import START, UNDELIVERED, Bot, Outcome, a_bot, outcome, play

LENGTHS = {
    timedelta(minutes=2): 4, timedelta(minutes=20): 4, timedelta(hours=1, minutes=30): 3, timedelta(hours=5): 3,
    timedelta(days=1): 1, timedelta(days=3): 1,
}  # fmt: skip
"""How long troubles last, and how often that is."""
LONGEST = max(LENGTHS)
WITHIN = timedelta(days=7)
TROUBLES = tuple(trouble for trouble in get_args(Trouble) if trouble != "gone")  # which needs somebody to come back
KINDS = (
    SPEAKING | CHANGING | LOOKING_UP, SPEAKING | CHANGING | LOOKING_UP, SPEAKING, frozenset({"post"}),
    frozenset({"upload"}), CHANGING,
)  # fmt: skip


def plan(seed: int, calm: Outcome, longest: timedelta = LONGEST) -> list[Fault]:
    """One to three troubles that begin before a message of the calm play; where answers are lost, sometimes the history
    cannot be read either. The play goes on for longer than the longest of them."""
    chance = random.Random(seed)
    sent = [(place, calm.at[name]) for place, names in calm.order.items() for name in names]
    sent = [(place, at) for place, at in sent if at < START + WITHIN]
    faults: list[Fault] = []
    for _ in range(chance.randint(1, 3)):
        place, at = chance.choice(sent)
        since = at - timedelta(minutes=1) * chance.random()
        lasts, blind_for = (min(longest, each) for each in chance.choices([*LENGTHS], [*LENGTHS.values()], k=2))
        where = place if chance.random() < 0.6 else None
        faults.append(Fault(chance.choice(TROUBLES), since, since + lasts, chance.choice(KINDS), where))
        if chance.random() < 0.25:
            faults.append(Fault("refuse", since, since + lasts + blind_for, LOOKING_UP, where))
    return faults


@dataclass
class Verdict:
    """What is wrong, which must be nothing, and what the plan came to."""

    wrong: list[str]
    struck: int
    messages: int
    late: int
    dropped: int
    held: int
    said: int


async def carried_out(faults: list[Fault], calm: Outcome, weeks: int) -> Verdict:
    """The plan against the calm play."""
    with tempfile.TemporaryDirectory() as folder:
        async with a_bot(Path(folder), faults) as bot:
            await play(bot, weeks)
            stormy, held = await outcome(bot), await _held(bot)
            said = sum(f"/{UNDELIVERED}/" in send.name for send in bot.store.claimed.values())
    wrong = [
        *_missing(calm, stormy, {*held}),
        *stormy.twice,
        *_disordered(calm, stormy, faults),
        *_late(calm, stormy, faults),
    ]
    if not said and {"post", "upload"} & set(held.values()):  # a change is made again with the next
        wrong.append("held and not said")
    late = sum(at > calm.at[name] for name, at in stormy.at.items() if name in calm.at)
    messages = sum(map(len, stormy.order.values()))
    return Verdict(wrong, bot.platform.struck, messages, late, len(stormy.dropped), len(held), said)


async def calm_play(weeks: int) -> Outcome:
    """The play without a fault."""
    with tempfile.TemporaryDirectory() as folder:
        async with a_bot(Path(folder)) as bot:
            await play(bot, weeks)
            return await outcome(bot)


async def _held(bot: Bot) -> dict[str, str]:
    """Names of what was set aside, and what each asks for; what waits may do so under a hidden name."""
    box, veil = t.outbox.c, await bot.store.veil()
    names = {veil.waiting(send.name): send.name for send in bot.store.claimed.values()}
    async with bot.store.database.looking() as db:
        rows = (await db.execute(select(box.name, box.kind, box.state, box.why_parked))).all()
    return {
        names.get(row.name, row.name): row.kind
        for row in rows
        if row.state == "parked" and row.why_parked.startswith(SET_ASIDE)
    }


def _missing(calm: Outcome, stormy: Outcome, held: set[str]) -> list[str]:
    """What is there without faults and not with them, unless it was overtaken, or is held: by then for good reason."""
    not_there = {name for names in calm.order.values() for name in names} - stormy.at.keys()
    groundless = [s.name for s in stormy.dropped.values() if s.only_in is None and s.until is None]
    lost = sorted(not_there - stormy.dropped.keys() - stormy.ended - held)
    stale = [n for n in stormy.words if n in calm.words and stormy.words[n] != calm.words[n] and n not in held]
    surplus = sorted(stormy.at.keys() - calm.at.keys() - calm.dropped.keys())
    return [
        *(f"missing: {name}" for name in lost),
        *(f"dropped for nothing: {name}" for name in groundless),
        *(f"in an older state: {name}" for name in stale),
        *(f"too much: {name}" for name in surplus),
    ]


def _disordered(calm: Outcome, stormy: Outcome, faults: list[Fault]) -> list[str]:
    """Where nobody could look up for long whether a message is out, what follows went first instead of waiting."""
    wrong = []
    for place, names in stormy.order.items():
        if any(f.until - f.since > BLIND_FOR and f.calls >= LOOKING_UP and f.place in (None, place) for f in faults):
            continue
        rank = {name: number for number, name in enumerate(calm.order[place])}
        ranks = [rank[name] for name in names if name in rank]
        wrong += [f"out of order: {place.order_key()}"] if ranks != sorted(ranks) else []
    return wrong


def _late(calm: Outcome, stormy: Outcome, faults: list[Fault]) -> list[str]:
    """Where nothing failed everything came at its moment."""

    def is_calm(place: Place) -> bool:
        return all(fault.place not in (None, place) for fault in faults)

    names = [name for place, names in stormy.order.items() if is_calm(place) for name in names]
    return [f"late: {name}" for name in names if name in calm.at and stormy.at[name] != calm.at[name]]
