"""The numbers of the crops on a frame's picture: each on its own box, none over another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.sheet.numbers import number_places
from pipeline.light.box import Box, Point, Size
from tests.deliver.sheet.sheet_shoot import FRAME

if TYPE_CHECKING:
    from pipeline.deliver.sheet.numbers import Place

boxes = st.builds(
    lambda left, top, width, height: Box(left, top, min(width, 6000 - left), min(height, 4000 - top)),
    st.integers(0, 4800),
    st.integers(0, 3200),
    st.integers(600, 6000),
    st.integers(600, 4000),
)


@given(st.lists(boxes, max_size=14))
def test_each_number_stands_inside_its_box_on_an_edge(cut: list[Box]) -> None:
    for box, place in zip(cut, number_places(cut, FRAME, Point(0.5, 0.5)), strict=True):
        x, y = place.at.x * FRAME.width, place.at.y * FRAME.height
        assert box.left - 0.01 <= x <= box.right + 0.01
        assert box.top - 0.01 <= y <= box.bottom + 0.01
        edges = [(x, box.right if place.from_right else box.left), (y, box.bottom if place.from_bottom else box.top)]
        assert any(at == pytest.approx(edge) for at, edge in edges)


@given(st.integers(1, 14), st.sampled_from([Size(6000, 4000), Size(4000, 6000), Size(3000, 3000)]))
def test_numbers_of_equal_boxes_do_not_hide_each_other(count: int, frame: Size) -> None:
    places = number_places([Box(0, 0, frame.width, frame.height)] * count, frame, Point(0.5, 0.5))
    footprints = [_footprint(place, frame) for place in places]
    for index, (left, top, right, bottom) in enumerate(footprints):
        assert left >= -1e-9
        assert right <= 1 + 1e-9
        for other in footprints[:index]:
            assert (
                left >= other[2] - 1e-9
                or other[0] >= right - 1e-9
                or top >= other[3] - 1e-9
                or other[1] >= bottom - 1e-9
            )


def _footprint(place: Place, frame: Size) -> tuple[float, float, float, float]:
    """Return what a number of 24 px covers on a picture 288 px wide, the narrowest there is, as fractions."""
    width, height = 24 / 288, 24 / 288 * frame.width / frame.height
    left, top = place.at.x - width * place.from_right, place.at.y - height * place.from_bottom
    return left, top, left + width, top + height


def test_where_nothing_is_marked_the_first_corner_is_free() -> None:
    everything = [Box(0, 0, FRAME.width, FRAME.height)]
    for subject in (None, Point(0.9, 0.9)):
        [place] = number_places(everything, FRAME, subject)
        assert (place.at, place.from_right, place.from_bottom) == (Point(0, 0), False, False)
    [place] = number_places(everything, FRAME, Point(0.0, 0.0))
    assert place.at != Point(0, 0)
