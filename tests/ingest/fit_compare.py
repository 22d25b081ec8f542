"""Comparing what two ways of reading found in a FIT file."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.ingest.fit_contents import Contents


def columns(contents: Contents) -> dict[str, FloatArray]:
    """Columns of points that hold a number, by name."""
    points = contents.points
    named = {**points.values, **{f"developer {n}": c for n, c in points.developer.items()}}
    return {name: column for name, column in named.items() if not np.isnan(column).all()}


def assert_same(ours: Contents, theirs: Contents) -> None:
    assert ours.condition == theirs.condition
    assert ours.kinds == theirs.kinds
    assert ours.marks == theirs.marks
    assert ours.developer_fields_left_out == theirs.developer_fields_left_out
    np.testing.assert_array_equal(ours.points.unix_ns, theirs.points.unix_ns)
    assert list(ours.points.developer) == list(theirs.points.developer)
    assert columns(ours).keys() == columns(theirs).keys()
    for name, column in columns(theirs).items():
        np.testing.assert_array_equal(columns(ours)[name], column, err_msg=name)


def assert_no_less(ours: Contents, theirs: Contents) -> None:
    """What fitdecode read before it gave up stands at the front of ours."""
    count = len(theirs.points)
    assert ours.condition.end_byte >= theirs.condition.end_byte
    assert ours.marks[: len(theirs.marks)] == theirs.marks
    np.testing.assert_array_equal(ours.points.unix_ns[:count], theirs.points.unix_ns)
    for name, column in columns(theirs).items():
        np.testing.assert_array_equal(columns(ours)[name][:count], column, err_msg=name)
