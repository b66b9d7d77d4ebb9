"""The crop: worked examples of the trade, the plain oracle, and laws that hold for every frame."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, get_args

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from pipeline.light.box import WHOLE, Box, Point, Region, Size
from pipeline.light.free import Corner, both_free, free_beside_corner, free_from_bands
from pipeline.light.ratio import exact, parse_ratio
from pipeline.light.trim import trim_region
from pipeline.plan.crop import CropRequest, find_crop
from tests.plan.crop_oracle import Oracle

if TYPE_CHECKING:
    from pipeline.plan.crop import Anchor

FRAME = Size(6000, 4000)
MIDDLE = Point(0.5, 0.5)
FOUR_FIVE, SQUARE, VERTICAL = Fraction(4, 5), Fraction(1), Fraction(9, 16)


def px(x: float, y: float, frame: Size = FRAME) -> Point:
    return Point(x / frame.width, y / frame.height)


def box_px(left: float, top: float, right: float, bottom: float, frame: Size = FRAME) -> Region:
    return Region(left / frame.width, top / frame.height, right / frame.width, bottom / frame.height)


# Worked examples. The thirds of a picture are at W/3 and 2W/3, H/3 and 2H/3; a crop of width cw with the subject x on
# its share k starts at x - k cw, held inside the frame (common practice, no source; the numbers follow by geometry).


def test_the_right_third_of_a_four_five_crop() -> None:
    """6000 x 4000 in 4:5 is 3200 x 4000; the subject at 4200 stands on its right third from 4200 - 2133.3 = 2066.7."""
    crop = find_crop(CropRequest(FRAME, FOUR_FIVE, px(4200, 2000)))
    assert Box(2067, 0, 3200, 4000) == crop.box
    assert crop.reached == "line"
    assert crop.subject_at.x == pytest.approx(2 / 3, abs=0.5 / 3200)


def test_the_crossing_where_the_height_fits_too() -> None:
    crop = find_crop(CropRequest(FRAME, FOUR_FIVE, px(4200, 8000 / 3)))
    assert Box(2067, 0, 3200, 4000) == crop.box
    assert crop.reached == "crossing"


def test_a_subject_too_near_the_edge_is_not_reached() -> None:
    """5900 - 2133.3 = 3766.7 is past the last start, 2800; the subject then stands at 3100 / 3200 = 0.969."""
    crop = find_crop(CropRequest(FRAME, FOUR_FIVE, px(5900, 2000)))
    assert Box(2800, 0, 3200, 4000) == crop.box
    assert crop.reached == "no"
    assert crop.subject_at.x == pytest.approx(0.969, abs=0.0005)


@pytest.mark.parametrize(("ratio", "lost"), [("5:4", 0.167), ("297:210", 0.057)])
def test_what_a_sensor_of_two_to_three_loses_on_paper(ratio: str, lost: float) -> None:
    """2:3 into 8 x 10 in loses 16.7 % of the long side, into the A sizes of ISO 216 5.7 %."""
    crop = find_crop(CropRequest(FRAME, parse_ratio(ratio), MIDDLE))
    assert crop.kept == pytest.approx(1 - lost, abs=0.0005)


def test_reach_is_how_much_of_the_width_a_crossing_is_worth() -> None:
    """A subject 1200 from the top can be on the upper third of at most 3600 rows: a tenth of the width given up."""
    subject = px(3000, 1200)
    near, far = (find_crop(CropRequest(FRAME, SQUARE, subject, reach=reach)) for reach in (0.09, 0.11))
    assert (near.box.width, near.reached) == (4000, "line")
    assert (Box(3000 - 2401, 0, 3601, 3601), "crossing") == (far.box, far.reached)


def test_the_centre_and_a_point() -> None:
    centre = find_crop(CropRequest(FRAME, SQUARE, px(2500, 2000), anchor="centre"))
    assert (Box(500, 0, 4000, 4000), "point") == (centre.box, centre.reached)
    point = find_crop(CropRequest(FRAME, SQUARE, px(2500, 3000), anchor=Point(0.25, 0.75)))
    assert (Box(1500, 0, 4000, 4000), "point") == (point.box, point.reached)
    away = find_crop(CropRequest(FRAME, SQUARE, px(100, 3000), anchor="centre", reach=0.15))
    assert (Box(0, 0, 4000, 4000), "no") == (away.box, away.reached)


def test_bands_that_cover_a_vertical_picture() -> None:
    """The keep box starts 600 px down: 0.14 h <= 600.5, so h <= 4289, and w = 2412 is the widest that has it."""
    frame = Size(4000, 6000)
    request = CropRequest(
        frame,
        VERTICAL,
        px(2000, 1600, frame),
        keep=box_px(1500, 600, 2500, 2600, frame),
        free=free_from_bands(top=0.14, bottom=0.20),
    )
    crop = find_crop(request)
    assert Size(2412, 4288) == crop.box.size
    assert crop.box.top == 0
    assert crop.keep_lost == 0


def test_a_covered_corner_leaves_the_better_of_two_parts() -> None:
    """Above a corner of 0.2 of the height the keep box needs bottom <= 0.8 h; beside it, right <= 0.75 w."""
    corner = free_beside_corner("bottom-right", 0.25, 0.2)
    frame = Size(1600, 900)
    wide, tall = box_px(0, 0, 1600, 720, frame), box_px(0, 0, 1200, 900, frame)
    for keep in (wide, tall):
        crop = find_crop(CropRequest(frame, Fraction(16, 9), MIDDLE, keep=keep, free=corner))
        assert (Box(0, 0, 1600, 900), 0) == (crop.box, crop.keep_lost)
    both = find_crop(CropRequest(frame, Fraction(16, 9), MIDDLE, keep=WHOLE, free=corner))
    assert both.keep_lost == pytest.approx(0.2)


def test_what_is_also_seen_square() -> None:
    """Of a 9:16 picture 900 x 1600 the middle square is 900 x 900, from 350 down."""
    frame = Size(900, 1600)
    request = CropRequest(frame, VERTICAL, MIDDLE, keep=box_px(0, 350, 900, 1250, frame), also_seen=(SQUARE,))
    assert (Box(0, 0, 900, 1600), 0) == (find_crop(request).box, find_crop(request).keep_lost)
    higher = replace(request, keep=box_px(0, 300, 900, 1200, frame))
    assert find_crop(higher).keep_lost == pytest.approx(50 / 900)


def test_a_round_picture_holds_the_corners() -> None:
    """A square of side s fits in a circle of diameter s sqrt 2: 707 in 1000, 709 not even with half a pixel an edge."""
    frame = Size(1000, 1000)
    for side, held in ((707, True), (709, False)):
        start = (1000 - side) / 2
        keep = box_px(start, start, start + side, start + side, frame)
        crop = find_crop(CropRequest(frame, SQUARE, MIDDLE, keep=keep, round_shape=True))
        assert Box(0, 0, 1000, 1000) == crop.box
        assert held == (crop.keep_lost == 0)


def test_what_a_circle_loses_of_its_square() -> None:
    crop = find_crop(CropRequest(Size(1000, 1000), SQUARE, MIDDLE, keep=WHOLE, round_shape=True))
    assert crop.keep_lost == pytest.approx(1 - math.pi / 4)


def test_what_a_square_loses_of_a_wide_keep_box() -> None:
    """Of 5000 x 2000 a 4000 x 4000 box shows 4000 x 2000; the subject decides which."""
    keep = box_px(500, 1000, 5500, 3000)
    crop = find_crop(CropRequest(FRAME, SQUARE, px(4600, 2000), keep=keep))
    assert Box(1500, 0, 4000, 4000) == crop.box
    assert crop.keep_lost == pytest.approx(0.2)


def test_the_thirds_are_those_of_the_trim() -> None:
    """A page of 200 x 250 mm with 10 mm of bleed: 220 x 270, its right third at 10 + 400 / 3 mm of 220."""
    trim = trim_region((200, 250), 10)
    crop = find_crop(CropRequest(Size(5000, 2700), Fraction(220, 270), Point(0.5, 0.5), trim=trim))
    assert Size(2200, 2700) == crop.box.size
    assert crop.box.left == round(2500 - 100 - 4000 / 3)
    assert crop.subject_at.x == pytest.approx(2 / 3, abs=0.5 / 2000)


def test_a_frame_too_thin_for_the_ratio_is_named() -> None:
    with pytest.raises(ValueError, match="no box of ratio 100 fits into 40 x 30 pixels"):
        find_crop(CropRequest(Size(40, 30), Fraction(100), MIDDLE))


# The oracle.

RATIOS = tuple(map(parse_ratio, ("1:1", "4:5", "2:3", "9:16", "16:9", "4:3", "1.91:1", "203:254", "5:1", "1:6")))


@st.composite
def fractions(draw: st.DrawFn, most: int = 1000) -> float:
    """Draw a fraction 0..1 as a person or a division would give it."""
    below = draw(st.sampled_from([1, 2, 3, 7, 12, 40, 100, most]))
    return draw(st.integers(0, below)) / below


@st.composite
def regions(draw: st.DrawFn) -> Region:
    left, right = sorted(draw(st.lists(st.integers(0, 60), min_size=2, max_size=2, unique=True)))
    top, bottom = sorted(draw(st.lists(st.integers(0, 60), min_size=2, max_size=2, unique=True)))
    return Region(left / 60, top / 60, right / 60, bottom / 60)


@st.composite
def small_regions(draw: st.DrawFn) -> Region:
    """Draw a keep box that many crops can hold."""
    x, y = draw(st.integers(0, 100)), draw(st.integers(0, 100))
    wide, high = draw(st.integers(1, 40)), draw(st.integers(1, 40))
    return Region(x / 101, y / 101, min(x + wide, 101) / 101, min(y + high, 101) / 101)


shares = st.integers(0, 9).map(lambda n: n / 20)
bands = st.builds(free_from_bands, shares, shares, shares, shares)
corners = st.builds(
    free_beside_corner, st.sampled_from(get_args(Corner)), st.integers(1, 13).map(lambda n: n / 20), shares
)
free_parts = st.one_of(st.just((WHOLE,)), bands, corners, st.builds(both_free, bands, corners))
bleeds = st.integers(0, 4).map(lambda n: n / 20)
trims = st.one_of(
    st.just(WHOLE),
    st.builds(lambda across, down: Region(across, down, 1 - across, 1 - down), bleeds, bleeds),
    st.builds(lambda left, top, right, bottom: Region(left, top, 1 - right, 1 - bottom), *[bleeds] * 4),
)
points = st.builds(Point, fractions(), fractions())
anchors: st.SearchStrategy[Anchor] = st.one_of(
    st.just("thirds"), st.just("thirds"), st.just("thirds"), st.just("centre"), points
)


def requests(least: int, most: int) -> st.SearchStrategy[CropRequest]:
    sides = st.integers(least, most)
    return st.builds(
        CropRequest,
        frame=st.builds(Size, sides, sides),
        ratio=st.sampled_from(RATIOS),
        subject=points,
        keep=st.one_of(st.none(), regions(), small_regions(), small_regions()),
        trim=trims,
        free=free_parts,
        also_seen=st.lists(st.sampled_from(RATIOS[:7]), max_size=2).map(tuple),
        round_shape=st.sampled_from([False, False, True]),
        anchor=anchors,
        reach=st.sampled_from([0, 0.1, 0.15, 0.33, 1]),
    )


def at_least(examples: int) -> int:
    return max(examples, settings().max_examples)


def fits(request: CropRequest) -> bool:
    return any(True for _ in Oracle(request).boxes())


TIE = CropRequest(Size(10, 6), SQUARE, Point(0.45, 0.5))
THIN_AT_THE_EDGE = CropRequest(
    Size(40, 30), SQUARE, Point(0.2, 0.3), keep=Region(0, 0.3, 0.2, 0.34), round_shape=True, reach=1
)
FREE_PART_ON_A_THIRD = CropRequest(
    Size(24, 24), SQUARE, Point(0.5, 0.5), Region(0.5, 0.5, 0.6, 0.6), free=(Region(0.3334, 0, 1, 1),), reach=1
)
NOTHING_FREE = CropRequest(Size(20, 12), FOUR_FIVE, Point(0.7, 0.2), Region(0.1, 0.1, 0.5, 0.5), free=())
UNDER_A_PIXEL = CropRequest(Size(17, 11), SQUARE, Point(0.3, 0.3), Region(0.3, 0.3, 0.31, 0.31), round_shape=True)
PARTS_APART = replace(
    UNDER_A_PIXEL, ratio=VERTICAL, round_shape=False, free=free_from_bands(top=0.8), also_seen=(SQUARE,)
)
NO_AREA = replace(NOTHING_FREE, free=free_from_bands(top=0.5), keep=Region(0.1, 0.1, 0.5, 0.10000001))
TWO_LINES_OF_ONE_COST = CropRequest(
    Size(21, 6), Fraction(3, 4), Point(0.7, 0.5), Region(0.2, 0.15, 0.3, 0.45), round_shape=True, reach=0.3
)
NEARER_LINE_FIRST = CropRequest(
    Size(18, 12),
    FOUR_FIVE,
    Point(0.15, 0.8),
    Region(0.55, 0.15, 0.85, 0.5),
    free=(Region(0.05, 0, 1, 1), Region(0, 0.55, 1, 1)),
    round_shape=True,
    reach=0.898,
)
NEARER_LINE_THAN_SUM = CropRequest(
    Size(22, 12), Fraction(203, 254), Point(0.85, 0), Region(0.5, 0.6, 0.85, 0.75), round_shape=True, reach=0.918
)
NEAREST_TO_A_POINT = CropRequest(
    Size(19, 17),
    Fraction(1, 2),
    Point(0.2, 0.05),
    Region(0.5, 0.55, 0.6, 0.75),
    trim=Region(0.15, 0.15, 0.85, 0.85),
    round_shape=True,
    anchor="centre",
    reach=0.273,
)
STRAIN_BEFORE_ANCHOR = CropRequest(
    Size(22, 21),
    Fraction(16, 9),
    Point(0.35, 0.85),
    Region(0.25, 0.3, 0.75, 0.35),
    free=(Region(0.05, 0, 1, 1), Region(0, 0, 1, 0.5)),
    also_seen=(Fraction(1, 2), SQUARE),
    round_shape=True,
    reach=0.15,
)
STEP_IN_HEIGHT = CropRequest(
    Size(7, 16),
    Fraction(191, 100),
    Point(0.3, 0.85),
    Region(0.45, 0.4, 1, 0.55),
    trim=Region(0.15, 0.05, 0.95, 0.85),
    free=(Region(0.3, 0.2, 0.6, 0.9), Region(0.3, 0.3, 1, 0.9)),
    reach=0.15,
)


@settings(max_examples=at_least(220))
@given(requests(1, 22))
@example(TIE)
@example(THIN_AT_THE_EDGE)
@example(FREE_PART_ON_A_THIRD)
@example(NOTHING_FREE)
@example(UNDER_A_PIXEL)
@example(PARTS_APART)
@example(NO_AREA)
@example(TWO_LINES_OF_ONE_COST)
@example(NEARER_LINE_FIRST)
@example(NEARER_LINE_THAN_SUM)
@example(NEAREST_TO_A_POINT)
@example(STRAIN_BEFORE_ANCHOR)
@example(STEP_IN_HEIGHT)
def test_the_crop_is_the_one_that_trying_every_box_finds(request: CropRequest) -> None:
    assume(fits(request))
    crop = find_crop(request)
    assert Oracle(request).find() == (crop.box, crop.reached)


@settings(max_examples=1000 if settings().max_examples > 1000 else 12)  # each tries some ten thousand boxes
@given(requests(36, 48))
def test_so_it_is_in_larger_frames(request: CropRequest) -> None:
    crop = find_crop(request)
    assert Oracle(request).find() == (crop.box, crop.reached)


# Laws.


@settings(max_examples=at_least(200))
@given(requests(200, 12_000))
def test_the_box_is_in_the_frame_and_has_the_ratio_within_half_a_row(request: CropRequest) -> None:
    box = find_crop(request).box
    assert 0 <= box.left < box.right <= request.frame.width
    assert 0 <= box.top < box.bottom <= request.frame.height
    assert abs(box.height - box.width / request.ratio) <= Fraction(1, 2)


@settings(max_examples=at_least(200))
@given(requests(200, 12_000))
def test_what_the_crop_says_of_itself_is_so(request: CropRequest) -> None:
    crop = find_crop(request)
    oracle = Oracle(request)
    assert crop.reached == oracle.reached(crop.box)
    assert (crop.keep_lost == 0) == oracle.held(crop.box)
    assert crop.kept == pytest.approx(crop.box.size.pixels / request.frame.pixels)
    trim, size = request.trim, request.frame
    for subject, side, start, length, first, last, lands in (
        (request.subject.x, size.width, crop.box.left, crop.box.width, trim.left, trim.right, crop.subject_at.x),
        (request.subject.y, size.height, crop.box.top, crop.box.height, trim.top, trim.bottom, crop.subject_at.y),
    ):
        from_trim = subject * side - (start + first * length)
        assert lands == pytest.approx(from_trim / ((last - first) * length), abs=1e-9)
    if request.keep and crop.keep_lost and not request.round_shape:
        keep = request.keep
        area = exact(keep.right - keep.left) * exact(keep.bottom - keep.top) * size.pixels
        assert crop.keep_lost == pytest.approx(float(1 - oracle.shown(crop.box) / area), abs=1e-9)


@given(requests(200, 12_000))
def test_where_keep_is_lost_the_box_is_the_largest_of_the_frame(request: CropRequest) -> None:
    crop = find_crop(replace(request, free=free_from_bands(top=0.4, bottom=0.4), keep=Region(0.1, 0.1, 0.9, 0.9)))
    wider = crop.box.width + 1
    assert crop.keep_lost > 0
    assert wider > request.frame.width or math.floor(wider / request.ratio + Fraction(1, 2)) > request.frame.height


@settings(max_examples=at_least(150))
@given(requests(200, 12_000), st.integers(1, 200))
def test_more_reach_never_makes_a_larger_box(request: CropRequest, more: int) -> None:
    reaching_further = replace(request, reach=min(1.0, request.reach + more / 200))
    assert find_crop(reaching_further).box.width <= find_crop(request).box.width


def mirrored(request: CropRequest, *, upside_down: bool = False) -> CropRequest:
    def turned(region: Region) -> Region:
        if upside_down:
            return Region(region.left, 1 - region.bottom, region.right, 1 - region.top)
        return Region(1 - region.right, region.top, 1 - region.left, region.bottom)

    def at(point: Point) -> Point:
        return Point(point.x, 1 - point.y) if upside_down else Point(1 - point.x, point.y)

    return replace(
        request,
        subject=at(request.subject),
        keep=turned(request.keep) if request.keep else None,
        trim=turned(request.trim),
        free=tuple(map(turned, request.free)),
        anchor=at(request.anchor) if isinstance(request.anchor, Point) else request.anchor,
    )


@settings(max_examples=at_least(300))
@given(request=requests(60, 3000), upside_down=st.booleans())
@example(request=CropRequest(FRAME, FOUR_FIVE, px(4200, 2000)), upside_down=False)
@example(request=CropRequest(FRAME, SQUARE, px(3000, 1200), reach=0.11), upside_down=False)
def test_mirroring_the_frame_mirrors_the_box(request: CropRequest, upside_down: bool) -> None:  # noqa: FBT001 (drawn)
    """Two boxes may differ where two sides cost the same: then each is as good as the other."""
    crop, mirror = find_crop(request), find_crop(mirrored(request, upside_down=upside_down))
    box = mirror.box
    if upside_down:
        back = replace(box, top=request.frame.height - box.bottom)
    else:
        back = replace(box, left=request.frame.width - box.right)
    assert (crop.box.size, crop.reached) == (back.size, mirror.reached)
    assert crop.keep_lost == pytest.approx(mirror.keep_lost)
    oracle = Oracle(request)
    if crop.keep_lost:
        assert (oracle.shown(crop.box), oracle.strain(crop.box)) == (oracle.shown(back), oracle.strain(back))
    else:
        assert oracle.held(back)
    if crop.reached == "no" or crop.keep_lost:
        assert oracle.nearness(crop.box)[:2] == oracle.nearness(back)[:2]
    else:
        assert crop.reached == oracle.reached(back)


@pytest.mark.parametrize("subject", [px(4200, 2000), px(4200, 900), px(5900, 3900)])
def test_mirroring_is_exact_where_one_side_is_better(subject: Point) -> None:
    request = CropRequest(FRAME, FOUR_FIVE, subject, reach=0.15)
    box, mirror = find_crop(request).box, find_crop(mirrored(request)).box
    assert (box.top, box.size) == (mirror.top, mirror.size)
    assert abs(box.left - (6000 - mirror.right)) <= 1


@given(st.integers(300, 900), st.integers(300, 900), st.sampled_from(RATIOS[:8]), points, st.integers(2, 12))
def test_a_frame_of_more_pixels_has_the_same_crop(
    width: int, height: int, ratio: Fraction, subject: Point, factor: int
) -> None:
    """The largest box on a crossing grows with the frame; what half a pixel gave counts for less."""
    request = CropRequest(Size(width, height), ratio, subject, reach=1)
    larger = replace(request, frame=Size(width * factor, height * factor))
    small, large = find_crop(request).box, find_crop(larger).box
    assert abs(small.width - large.width / factor) <= 4 * max(1.0, float(ratio))
