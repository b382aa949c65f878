"""What is one transaction of the store's own is begun again when the database gave it up."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from coldframe.ports.storage import Interrupted

Store = TypeVar("Store")
Given = ParamSpec("Given")
Result = TypeVar("Result")
Method = Callable[Concatenate[Store, Given], Coroutine[Any, Any, Result]]
MAX_TRIES = 2


def begun_again(method: Method[Store, Given, Result]) -> Method[Store, Given, Result]:
    """At once: it met nobody, but stood still for too long or lost its connection, and now has another."""

    @wraps(method)
    async def patient(store: Store, /, *given: Given.args, **named: Given.kwargs) -> Result:
        for _ in range(MAX_TRIES):
            try:
                return await method(store, *given, **named)
            except Interrupted:
                continue
        return await method(store, *given, **named)

    return patient
