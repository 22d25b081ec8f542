"""Edits of tags: what is laid over others cuts them. The rules are this project's own."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from wherewatt.tagging.edits import (
    LEAST_M,
    SAME_M,
    Erase,
    Layer,
    MoveEdge,
    Paint,
    Stretch,
    Stretches,
    Tags,
    apply_edit,
    apply_edits,
    layer_of,
)

SURFACE = Layer.SURFACE
LABELS = ("asphalt", "gravel", "sand")
TOTAL_M = 1000.0


def tags(*stretches: tuple[float, float, str]) -> Tags:
    return Tags(surface=tuple(Stretch(*one) for one in stretches))


def paint(start_m: float, end_m: float, label: str) -> Paint:
    return Paint(SURFACE, Stretch(start_m, end_m, label))


def test_paint_cuts_what_it_covers() -> None:
    before = tags((0, 400, "asphalt"), (400, 500, "sand"), (500, 900, "asphalt"))
    after = apply_edit(before, paint(300, 600, "gravel"))
    assert after == tags((0, 300, "asphalt"), (300, 600, "gravel"), (600, 900, "asphalt"))


def test_paint_within_one_leaves_both_its_ends() -> None:
    after = apply_edit(tags((0, 900, "asphalt")), paint(300, 400, "gravel"))
    assert after == tags((0, 300, "asphalt"), (300, 400, "gravel"), (400, 900, "asphalt"))


def test_alike_that_overlap_join_and_alike_that_touch_do_not() -> None:
    assert apply_edit(tags((0, 400, "sand")), paint(300, 600, "sand")) == tags((0, 600, "sand"))
    assert apply_edit(tags((0, 400, "sand")), paint(100, 200, "sand")) == tags((0, 400, "sand"))
    touching = apply_edit(tags((0, 400, "sand")), paint(400, 600, "sand"))
    assert touching == tags((0, 400, "sand"), (400, 600, "sand"))


def test_layers_leave_each_other_alone() -> None:
    before = tags((0, 900, "asphalt"))
    after = apply_edit(before, Paint(Layer.STRUCTURE, Stretch(100.0, 200.0, "bridge")))
    assert after.surface == before.surface
    assert after.structure == (Stretch(100.0, 200.0, "bridge"),)
    assert apply_edit(after, Erase(Layer.STRUCTURE, 0.0, TOTAL_M)) == before


def test_erase_cuts() -> None:
    after = apply_edit(tags((0, 900, "asphalt")), Erase(SURFACE, 300.0, 400.0))
    assert after == tags((0, 300, "asphalt"), (400, 900, "asphalt"))


def test_edge_takes_along_what_touches_there() -> None:
    before = tags((0, 400, "asphalt"), (400, 900, "sand"))
    assert apply_edit(before, MoveEdge(SURFACE, 400.0, 450.0)) == tags(
        (0, 450, "asphalt"), (450, 900, "sand")
    )
    assert apply_edit(before, MoveEdge(SURFACE, 400.0, 990.0)) == tags(
        (0, 900 - LEAST_M, "asphalt"), (900 - LEAST_M, 900, "sand")
    )


def test_edge_over_free_ground_cuts_what_it_meets() -> None:
    before = tags((0, 400, "asphalt"), (500, 900, "sand"))
    assert apply_edit(before, MoveEdge(SURFACE, 400.0, 600.0)) == tags(
        (0, 600, "asphalt"), (600, 900, "sand")
    )
    assert apply_edit(before, MoveEdge(SURFACE, 500.0, 895.9)) == tags(
        (0, 400, "asphalt"), (900 - LEAST_M, 900, "sand")
    )


def test_edge_between_two_that_are_too_short_stays() -> None:
    before = tags((0, 3, "asphalt"), (3, 6, "sand"))
    assert apply_edit(before, MoveEdge(SURFACE, 3.0, 4.0)) == before


def test_edits_that_find_nothing_are_counted() -> None:
    before = tags((0, 400, "asphalt"))
    edits = [MoveEdge(SURFACE, 700.0, 800.0), paint(500, 600, "sand"), Erase(SURFACE, 800.0, 900.0)]
    after, idle = apply_edits(before, edits)
    assert after == tags((0, 400, "asphalt"), (500, 600, "sand"))
    assert idle == 2


def test_layer_of_lays_later_ones_over_earlier() -> None:
    layer = layer_of([Stretch(0.0, 400.0, "asphalt"), Stretch(300.0, 600.0, "sand")])
    assert layer == (Stretch(0.0, 300.0, "asphalt"), Stretch(300.0, 600.0, "sand"))


distances = st.integers(0, int(TOTAL_M)).map(float)
ends = st.tuples(distances, distances).filter(lambda pair: pair[1] - pair[0] >= 1.0)
edits = st.one_of(
    st.builds(lambda pair, label: paint(*pair, label), ends, st.sampled_from(LABELS)),
    st.builds(lambda pair: Erase(SURFACE, *pair), ends),
    st.builds(lambda here, there: MoveEdge(SURFACE, here, there), distances, distances),
)


def label_at(layer: Stretches, metres: float) -> str:
    return next((one.label for one in layer if one.start_m <= metres < one.end_m), "")


@given(st.lists(edits, max_size=12), edits)
def test_a_layer_stays_sorted_and_never_overlaps(before: list, last: object) -> None:
    start, _ = apply_edits(Tags(), before)
    after = apply_edit(start, last).surface
    assert all(one.end_m - one.start_m > SAME_M for one in after)
    assert all(one.end_m <= other.start_m for one, other in itertools.pairwise(after))
    if isinstance(last, Paint):
        for metres in range(int(TOTAL_M)):
            if last.stretch.start_m <= metres < last.stretch.end_m:
                assert label_at(after, metres + 0.5) == last.stretch.label
            elif label_at(start.surface, metres + 0.5) != last.stretch.label:
                assert label_at(after, metres + 0.5) == label_at(start.surface, metres + 0.5)
    if isinstance(last, Erase):
        inside = [one for one in after if one.start_m < last.end_m and one.end_m > last.start_m]
        assert not inside
