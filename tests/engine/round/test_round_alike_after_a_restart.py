"""What is reckoned of a round is the same whether it is still in memory or was read from the store."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.names import MemberId
from coldframe.domain.state import Ledger, Mark
from coldframe.engine.worker import explaining
from tests.domain.play import a_round


def test_the_order_in_which_people_voted_does_not_matter() -> None:
    """Votes come in the order of voting in memory and in another from the store; the shares must not tell."""
    cast = {"ines": ("f1", "f2", "f2")}
    cast |= {"omar": ("f2", "f3", "f3"), "ana": ("f1", "f1", "f3"), "zoe": ("f3", "f1", "f2")}
    marks = {MemberId(v): tuple(Mark(o, str(n)) for n, o in enumerate(chosen)) for v, chosen in cast.items()}
    turned = dict(reversed(marks.items()))
    votes = [explaining.dots_of(replace(a_round(4), dots=Ledger(3, m)))[0] for m in (marks, turned)]
    assert list(votes[0]) == list(votes[1])
    shares = [explaining.sureness(v, ("f1", "f2", "f3"), 7, None, 1, 2).first_stays for v in votes]
    assert shares[0] == shares[1]
