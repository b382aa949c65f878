"""Trials, their register and their teams as rows. Searching uses each database's own full text for stems, and a plain
look for the letters as typed for parts of words, so that no sign in a query is ever a wild card."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from typing import Any

import structlog
from pydantic import TypeAdapter
from sqlalchemy import ColumnElement, bindparam, delete, func, literal, or_, select, text, update

from coldframe.domain.people.aliases import mentioned
from coldframe.domain.trial import standing
from coldframe.domain.trial.facts import MemberForgotten, TrialFact
from coldframe.domain.trial.state import OPEN_STEPS, Trial
from coldframe.ports.follow_through import RegisterEntry, Team, Wanted
from coldframe.ports.keys import Covers, Use
from coldframe.ports.storage import Damaged
from coldframe.store import newer, statements
from coldframe.store import tables as t
from coldframe.store.connection import Connection
from coldframe.store.forgetting import in_trail
from coldframe.store.newer import ENTRY, TEAM
from coldframe.store.sealer import Sealer
from coldframe.store.sealing import KeyGone
from coldframe.store.veil import changed_at, recorded

log = structlog.get_logger()
_TRIAL: TypeAdapter[Trial] = TypeAdapter(Trial)
_PRIVATE = ("chances", "fears", "feared", "learnings", "asked_to_sign")
MAX_WORDS = 8


def folded(text_: str) -> str:
    """Without case and accents."""
    bare = unicodedata.normalize("NFKD", text_)
    return unicodedata.normalize("NFC", "".join(c for c in bare if not unicodedata.combining(c))).casefold()


def _searched(entry: RegisterEntry) -> str:
    parts = (entry.title, entry.hypothesis, entry.question, entry.measure, entry.learning, entry.reason)
    return "\n".join((*parts, *entry.learnings, *entry.agreed))


def _written(trial: Trial) -> list[str]:
    """What the channel may know of it, and what it may not."""
    whole = _TRIAL.dump_python(trial, mode="json")
    private = {name: whole.pop(name) for name in _PRIVATE}
    return [json.dumps(whole, ensure_ascii=False), json.dumps(private)]


def _use(trial: Trial) -> Use:
    """What was said for oneself alone is shown or scored at the end; until then another key holds it."""
    return Use(trial.id, Covers.TRIAL if trial.step in OPEN_STEPS else Covers.SCORED)


class FollowThroughWork:
    """The part of the unit of work that concerns trials."""

    _db: Connection
    _dialect: str
    _sealer: Sealer
    _stored: dict[tuple[str, ...], str]
    ended: list[Use]

    def _insert(self, table: Any) -> Any:
        raise NotImplementedError

    # --- trials ---

    async def trial(self, trial_id: str) -> Trial | None:
        row = (await self._db.execute(statements.TRIAL, {"of_id": trial_id})).first()
        if row is None:
            return None
        await self._sealer.find([row.private])
        return self._trial(row)

    def _trial(self, row: Any) -> Trial:
        """Raises Damaged."""
        try:
            private = self._private(row)
            trial: Trial = _TRIAL.validate_python({**json.loads(row.doc), **json.loads(private)})
        except Exception as problem:  # whatever is wrong with what was stored, it is wrong with this trial alone
            log.error("trial.damaged", trial=row.id, problem=type(problem).__name__)
            raise Damaged("trial", row.id) from None
        self._stored |= {("trial", row.id): row.doc, ("trial", row.id, "private"): private}
        return trial

    def _private(self, row: Any) -> str:
        """Nothing where its key is gone: the trial goes on without. Raises CannotUnseal."""
        try:
            return self._sealer.open(f"trial/{row.id}", row.private).decode()
        except KeyGone:
            log.warning("trial.key_gone", trial=row.id)
            return "{}"

    async def _readable(self, result: Iterable[Any]) -> list[Trial]:
        rows = list(result)
        await self._sealer.find(row.private for row in rows)
        return list(self._read(rows))

    def _read(self, rows: Iterable[Any]) -> Iterator[Trial]:
        for row in rows:
            with suppress(Damaged):
                yield self._trial(row)

    async def _columns(self, trial: Trial, at: datetime | None) -> dict[str, Any]:
        open_, private = self._with_more(trial)
        return {
            "step": trial.step.value,
            "owner": trial.owner,
            "doc": open_,
            "private": await self._sealer.close(_use(trial), f"trial/{trial.id}", private.encode()),
            **({"changed_at": at} if at is not None else {}),
        }

    def _with_more(self, trial: Trial) -> list[str]:
        """Each of its two documents with what a newer release wrote into it beside what this one knows."""
        now = _written(trial)
        if ("trial", trial.id) not in self._stored:
            return now
        stored = [self._stored[name] for name in (("trial", trial.id), ("trial", trial.id, "private"))]
        known = _written(_TRIAL.validate_python({name: it for doc in stored for name, it in json.loads(doc).items()}))
        return [newer.beside(*each) for each in zip(stored, known, now, strict=True)]

    async def add_trial(self, trial: Trial, at: datetime) -> None:
        columns = await self._columns(trial, at)
        keys = {"id": trial.id, "tenant": trial.tenant, "team": trial.team, "version": 1, "created_at": at}
        await self._db.execute(t.trials.insert().values(**keys, **columns))

    async def save_trial(self, after: Trial, facts: Sequence[TrialFact], at: datetime) -> None:
        if any(isinstance(fact, MemberForgotten) for fact in facts):  # nobody can tell of whom tells what is beside
            self._stored.pop(("trial", after.id), None)
        columns = await self._columns(after, changed_at(facts, at))
        await self._db.execute(
            update(t.trials).where(t.trials.c.id == after.id).values(version=t.trials.c.version + 1, **columns)
        )
        if _use(after).covers is not Covers.TRIAL:
            self.ended.append(Use(after.id, Covers.TRIAL))
        if facts:
            rows = [
                {"trial_id": after.id, "at": recorded(at, f.private), "record": json.dumps(f.public_record())}
                for f in facts
            ]
            await self._db.execute(t.trial_facts.insert(), rows)
        for fact in facts:
            if isinstance(fact, MemberForgotten):
                await in_trail(self._db, t.trial_facts, t.trial_facts.c.trial_id == after.id, fact)

    async def trials_of(self, tenant: str, team: str, *, over: bool = False) -> list[Trial]:
        query = statements.trials(by_owner=False, only_open=not over)
        return await self._readable(await self._db.execute(query, {"of_tenant": tenant, "of_whom": team}))

    async def trials_about(self, tenant: str, person: str) -> list[Trial]:
        """What is private to somebody who has left long ago names them as well, so all are read."""
        rows = await self._db.execute(select(t.trials).where(t.trials.c.tenant == tenant).order_by(t.trials.c.id))
        return [trial for trial in await self._readable(rows) if person in mentioned(trial)]

    async def trials_owned(self, tenant: str, person: str) -> list[Trial]:
        query = statements.trials(by_owner=True, only_open=True)
        return await self._readable(await self._db.execute(query, {"of_tenant": tenant, "of_whom": person}))

    async def move_place(self, trial_id: str, owner: str, review: datetime) -> None:
        place = update(t.trial_places).where(t.trial_places.c.trial_id == trial_id)
        await self._db.execute(place.values(owner=owner, review=review))

    async def free_place(self, trial_id: str) -> None:
        await self._db.execute(delete(t.trial_places).where(t.trial_places.c.trial_id == trial_id))

    # --- register ---

    async def enter(self, entry: RegisterEntry) -> None:
        words = _searched(entry)
        values = {
            "tenant": entry.tenant, "team": entry.team, "lever": entry.lever, "verdict": entry.verdict,
            "owner": folded(entry.owner)[:200], "at": entry.at, "words": words, "folded": folded(words),
            "doc": newer.kept(ENTRY, await self._entry(entry.trial_id), ENTRY.dump_json(entry).decode()),
        }  # fmt: skip
        statement = self._insert(t.register).values(trial_id=entry.trial_id, **values)
        await self._db.execute(statement.on_conflict_do_update(index_elements=["trial_id"], set_=values))

    async def entry(self, trial_id: str) -> RegisterEntry | None:
        doc = await self._entry(trial_id)
        return None if doc is None else ENTRY.validate_json(doc)

    async def _entry(self, trial_id: str) -> str | None:
        found = await self._db.execute(select(t.register.c.doc).where(t.register.c.trial_id == trial_id))
        doc: str | None = found.scalar()
        return doc

    async def search(self, tenant: str, teams: Sequence[str], wanted: Wanted) -> list[RegisterEntry]:
        r = t.register.c
        query = select(r.doc).where(r.tenant == tenant, r.team.in_(list(teams)))
        for word in wanted.words.split()[:MAX_WORDS]:
            query = query.where(self._has(word))
        if wanted.lever:
            query = query.where(r.lever == wanted.lever)
        if wanted.verdict:
            query = query.where(r.verdict.in_(standing.ever_called(wanted.verdict)))
        if wanted.owner:
            query = query.where(self._within(r.owner, folded(wanted.owner)))
        if wanted.since is not None:
            query = query.where(r.at >= wanted.since)
        if wanted.until is not None:
            query = query.where(r.at < wanted.until)
        rows = await self._db.execute(query.order_by(r.at.desc(), r.id.desc()).limit(wanted.limit))
        return [ENTRY.validate_json(row.doc) for row in rows]

    def _has(self, word: str) -> ColumnElement[bool]:
        """The letters as they stand, anywhere in the text; a word of letters alone also by its stem."""
        part = self._within(t.register.c.folded, folded(word))
        return or_(part, self._by_stem([word])) if word.isalnum() else part

    def _within(self, column: ColumnElement[str], part: str) -> ColumnElement[bool]:
        find = func.strpos if self._dialect == "postgresql" else func.instr
        return find(column, part) > 0

    def _by_stem(self, words: Sequence[str]) -> ColumnElement[bool]:
        """Rows that hold any of these words, in whatever form."""
        if self._dialect == "postgresql":
            asked = " OR ".join(f'"{word}"' for word in words)
            # A query of its own, so that the index serves it; beside the look for parts it goes row by row.
            document = func.to_tsvector(text("'english'"), t.register.c.words)
            holds = document.op("@@")(func.websearch_to_tsquery(text("'english'"), asked))
            return t.register.c.id.in_(select(t.register.c.id).where(holds).correlate(None))
        asked = " OR ".join(f'"{word}"' for word in words)
        found = text("SELECT rowid FROM register_words WHERE register_words MATCH :asked")
        found = found.bindparams(bindparam("asked", asked, unique=True))
        return t.register.c.id.in_(found)

    async def resembling(self, tenant: str, team: str, words: Sequence[str], limit: int = 30) -> list[RegisterEntry]:
        plain = sorted({w for w in words if w.isalnum() and len(w) > 3})[:40]
        if not plain:
            return []
        r = t.register.c
        query = select(r.doc).where(r.tenant == tenant, r.team == team)
        if self._dialect == "postgresql":
            asked = func.websearch_to_tsquery(text("'english'"), " OR ".join(f'"{w}"' for w in plain))
            document = func.to_tsvector(text("'english'"), r.words)
            query = query.where(document.op("@@")(asked)).order_by(func.ts_rank(document, asked).desc(), r.id.desc())
        else:
            match = text("register_words MATCH :asked").bindparams(asked=" OR ".join(f'"{w}"' for w in plain))
            index = text("register_words")
            query = query.select_from(t.register, index).where(match, text("register_words.rowid = register.id"))
            query = query.order_by(text("bm25(register_words)"))
        rows = await self._db.execute(query.limit(literal(limit)))
        return [ENTRY.validate_json(row.doc) for row in rows]

    # --- teams ---

    async def team(self, tenant: str, team: str) -> Team:
        doc = (await self._db.execute(statements.TEAM, {"of_tenant": tenant, "of_team": team})).scalar()
        if doc is None:
            return Team(tenant, team)
        self._stored["team", tenant, team] = doc
        return TEAM.validate_json(doc)

    async def teams_with(self, tenant: str, person: str) -> list[Team]:
        rows = await self._db.execute(select(t.teams.c.doc).where(t.teams.c.tenant == tenant))
        found = {row.doc: team for row in rows if person in mentioned(team := TEAM.validate_json(row.doc))}
        self._stored |= {("team", tenant, team.team): doc for doc, team in found.items()}
        return list(found.values())

    async def save_team(self, team: Team) -> None:
        stored = self._stored.get(("team", team.tenant, team.team))
        doc = newer.kept(TEAM, stored, TEAM.dump_json(replace(team, funnel=dict(team.funnel))).decode())
        statement = self._insert(t.teams).values(tenant=team.tenant, team=team.team, doc=doc)
        await self._db.execute(statement.on_conflict_do_update(index_elements=["tenant", "team"], set_={"doc": doc}))

    async def teams_of(self, tenant: str, person: str) -> list[str]:
        rows = await self._db.execute(statements.TEAMS_OF, {"of_tenant": tenant, "of_member": person})
        return sorted(r.channel for r in rows)

    async def all_teams(self) -> list[tuple[str, str]]:
        rows = await self._db.execute(select(t.rounds.c.tenant, t.rounds.c.channel).distinct())
        return sorted((r.tenant, r.channel) for r in rows)
