"""Chance without hidden randomness: an order that follows from a seed, and can be checked afterwards."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import TypeVar

T = TypeVar("T")


def shuffled(items: Iterable[T], seed: int, label: str) -> tuple[T, ...]:
    """The items in an order that only the seed and the label decide, whatever order they came in."""
    return tuple(sorted(items, key=lambda item: _digest(seed, label, item)))


def coin(seed: int, label: str) -> bool:
    """Heads or tails, from the seed and the label."""
    return _digest(seed, label, "coin")[0] % 2 == 0


def derived(seed: int, label: str) -> int:
    """A seed for one thing alone, which may be told: nothing else that follows from `seed` follows from it."""
    return int.from_bytes(_digest(seed, label, "seed")[:4])


def _digest(seed: int, label: str, item: object) -> bytes:
    return hashlib.sha256(f"{seed}\0{label}\0{item}".encode("utf-8", "surrogatepass")).digest()
