"""What is reckoned of a round is the same whether it is still in memory or was read from the store."""

from __future__ import annotations

from coldframe.domain.round.disclosure import Figures
from coldframe.engine.worker import explaining


def test_the_order_of_the_options_does_not_matter() -> None:
    """Figures come in the order of places; how sure they are follows from the figures alone."""
    group = {"f1": 5, "f2": 4, "f3": 3}
    turned = dict(reversed(group.items()))
    found = [explaining.sureness(Figures(each, None, 5, 3), 1, 2) for each in (group, turned)]
    assert found[0] == found[1]
    assert found[0].first_stays is not None and found[0].agreement is not None
