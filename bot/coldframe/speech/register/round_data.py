"""A round as plain data, for `export` and the demo. Only what everybody in the channel could see."""

from __future__ import annotations

from typing import Any

from coldframe.domain.names import ForceId, Step
from coldframe.domain.round.disclosure import figures
from coldframe.domain.state import Choice, Plan, Round, Standing
from coldframe.domain.unsigned import enough, middle

VERSION = 1


def round_data(round_: Round) -> dict[str, Any]:
    """JSON-able values. Notes carry no author at any time; before their reveal notes and plans are left out."""
    settings = round_.settings
    return {
        "format": f"coldframe round {VERSION}",
        "name": round_.name,
        "question": settings.question,
        "levers": {key: name for key, name in settings.levers},
        "step": round_.step.value,
        "people": len(round_.active()),
        "notes": [_note(round_, i) for i in round_.revealed if not round_.notes[i].hidden],
        "focus": {"lever": round_.focus, "reason": round_.focus_reason} if round_.focus else None,
        "forces": [_force(round_, s) for s in round_.forces_standing],
        "questions": [{"id": q.id, "text": q.text, "force": q.force} for q in round_.questions],
        "precedents": [
            {"question": p.question, "title": p.title, "idea": p.idea, "details": p.details, "source": p.source}
            for p in round_.precedents
        ],
        "plans": [_plan(round_.plans[i]) for i in round_.plan_order],
        "ballot": _ballot(round_),
        "plans not tried": [
            {
                "plan": plan,
                "what": fate.kind.value,
                "due": fate.due.isoformat() if fate.due else None,
                "where": fate.where,
                "reason": fate.reason,
            }
            for plan, fate in round_.fates.items()
        ],
        "commitment": _commitment(round_) if round_.step is Step.COMMITTED else None,
        "next_round": round_.next_round.isoformat() if round_.next_round else None,
        "ended_because": round_.ended_because,
    }


def _note(round_: Round, note_id: Any) -> dict[str, Any]:
    note = round_.notes[note_id]
    return {"lever": note.lever, "side": note.side.value, "text": note.text}


def _force(round_: Round, standing: Standing) -> dict[str, Any]:
    force = round_.force(standing.option)
    wordings = [round_.notes[n].text for n in force.notes] if force else []
    dots = {"dots": standing.group} if figures(round_, Step.DOTS) else {}
    return {
        "id": standing.option,
        "text": round_.force_text(ForceId(standing.option)),
        "wordings": wordings,
        "place": standing.place,
        **dots,
        "goes_on": standing.carried,
    }


def _plan(plan: Plan) -> dict[str, Any]:
    criterion = plan.criterion
    return {
        "id": plan.id,
        "title": plan.title,
        "hypothesis": plan.hypothesis,
        "steps": list(plan.steps),
        "weeks": plan.weeks,
        "measure": criterion.measure,
        "comparison": criterion.kind,
        "baseline": criterion.baseline,
        "target": criterion.target,
        "people_a_week": criterion.weekly,
        "stop_line": criterion.stop_line,
        "harm_measure": criterion.harm,
        "touches": list(plan.caution),
        "not_so": plan.not_so,
        "checked_by": plan.checked_by,
    }


def _ballot(round_: Round) -> list[dict[str, Any]]:
    """Places; votes only where the channel saw them too."""
    if not round_.plans_standing:
        return []
    shown = figures(round_, Step.BALLOT) is not None
    rows = []
    for standing in round_.plans_standing:
        row: dict[str, Any] = {"plan": standing.option, "place": standing.place}
        if shown:
            row |= {
                "group": standing.group,
                "decision_maker": standing.decision_maker,
                "weighted": int(standing.weighted),  # whole, whether just counted or read from the store
            }
        rows.append(row)
    return rows


def _commitment(round_: Round) -> list[dict[str, Any]]:
    return [
        {
            "plan": plan,
            "owner": round_.name_of(choice.owner) if choice.owner else None,
            "actions": [{"what": a.text, "due": a.due.isoformat()} for a in choice.actions],
            "review": choice.review.isoformat() if choice.review else None,
            "forecasts": _forecasts(choice),
        }
        for plan, choice in round_.told_choices().items()
    ]


def _forecasts(choice: Choice) -> dict[str, int] | None:
    """As the channel was told: how many, and the middle one; nothing of too few."""
    chances = choice.forecasts
    return {"given": len(chances), "middle": middle(chances.values())} if enough(chances) else None
