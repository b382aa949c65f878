"""Moments as the database keeps them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy.dialects import sqlite

from coldframe.store.tables import Instant

moments = st.datetimes(datetime(1970, 1, 1), datetime(2200, 1, 1), timezones=st.just(UTC))


@given(moments)
def test_a_moment_is_never_kept_as_an_earlier_one(moment: datetime) -> None:
    """A step that closes at a moment finds nothing to close a part of a millisecond before it, and its row is done."""
    kept = Instant().process_result_value(Instant().process_bind_param(moment, sqlite.dialect()), sqlite.dialect())
    assert kept is not None
    assert moment <= kept < moment + timedelta(milliseconds=1)
