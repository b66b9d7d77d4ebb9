"""The plan of a job, on frames of any size that are never opened: their headers are enough."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from pipeline.faults import RequestRefused
from pipeline.job.outlets import packaged_outlets
from pipeline.light.box import WHOLE, Box, Point, Region, Size
from pipeline.plan.cut import crop_request
from pipeline.plan.files import identity
from tests.small_shoot import FRAME, HEAD, OWN_TARGET, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Rendition


def only(folder: Path, target: str, size: tuple[int, int], more: str = "", head: str = HEAD) -> Rendition:
    """Return the one rendition of one frame at one target."""
    _, plan = plan_of(folder, head + FRAME + f'targets = ["{target}"]\n' + more, size)
    (rendition,) = plan.renditions
    return rendition


def test_an_a4_page_with_bleed_from_a_frame_that_is_just_large_enough(tmp_path: Path) -> None:
    # Source: ISO 216 A4, 3 mm bleed, 300 ppi: 216 / 25.4 x 300 = 2551, 303 / 25.4 x 300 = 3579 pixels;
    # effective: 2560 pixels over 216 mm are 301 ppi.
    page = only(tmp_path, "print/a4", (2560, 3840))
    assert page.refused is None
    assert {output.format: output.size for output in page.outputs} == {
        "tiff": Size(2551, 3579),
        "jpeg": Size(2551, 3579),
    }
    assert page.crop.box.width == 2560
    assert page.effective_ppi
    assert round(page.effective_ppi) == 301
    assert {output.ppi for output in page.outputs} == {300}
    assert [output.path for output in page.outputs] == [
        "print/bean-soup-bowl-a4-2551.tif",
        "print/bean-soup-bowl-a4-2551.jpg",
    ]


def test_the_trim_lies_inside_the_box_by_the_bleed(tmp_path: Path) -> None:
    page = only(tmp_path, "print/a4", (2560, 3840))
    assert (page.trim.left, page.trim.top) == pytest.approx((3 / 216, 3 / 303))
    assert (page.trim.right, page.trim.bottom) == pytest.approx((213 / 216, 300 / 303))
    # A right-hand page is bound at its left: 10 mm of gutter there, 5 mm elsewhere, in fractions of the trim.
    (free,) = page.free
    assert (free.left, free.top, free.right, free.bottom) == pytest.approx((10 / 210, 5 / 297, 205 / 210, 292 / 297))


def test_a_frame_too_small_for_a_page_is_refused_with_the_reason(tmp_path: Path) -> None:
    page = only(tmp_path, "print/a4", (2400, 1600))
    # The largest upright A4 with bleed in 1600 rows is 1140 wide: 1140 x 25.4 / 216 = 134 ppi.
    assert page.refused == "too small: this crop gives 134 ppi on paper, and 240 ppi is the least for this target"
    assert (page.outputs, page.preview) == ((), None)


def test_below_the_ppi_asked_for_but_above_the_floor_is_a_caution(tmp_path: Path) -> None:
    page = only(tmp_path, "print/a4", (2100, 3100))
    assert page.refused is None
    assert "247 ppi on paper, below the 300 ppi asked for" in page.cautions
    assert {output.ppi for output in page.outputs} == {round(page.effective_ppi or 0, 2)}


def test_a_target_in_pixels_that_refuses_what_is_too_small(tmp_path: Path) -> None:
    more = '[targets."blog/letter"]\ntoo_small = "refuse"\n'
    assert only(tmp_path, "blog/letter", (1100, 800), more).refused == (
        "too small: this crop is 1100 px wide, less than the target asks for"
    )
    assert only(tmp_path, "blog/letter", (1200, 800), more).refused is None


@pytest.mark.parametrize("size", [(1, 1), (40, 1), (1, 40), (3, 2)])
def test_a_frame_of_a_few_pixels_is_planned_or_refused(tmp_path: Path, size: tuple[int, int]) -> None:
    _, plan = plan_of(tmp_path, HEAD + FRAME + 'targets = ["*"]\n', size)
    assert len(plan.renditions) == 18
    for rendition in plan.renditions:
        assert rendition.refused or rendition.outputs
    said = [one.refused for one in plan.renditions if one.refused]
    assert all(reason.startswith("too small: ") for reason in said)


def test_keep_that_no_crop_holds_is_a_caution_or_a_refusal(tmp_path: Path) -> None:
    keep = "keep = [0.0, 0.0, 1.0, 1.0]\n"
    caution = only(tmp_path, "feed/tall", (6000, 4000), keep)
    assert caution.refused is None
    # A 4:5 crop of a 3:2 frame holds 8/15 of its width, also seen as 1:1 holds 4/5 of its height: 42.7 % are left.
    assert (
        "57% of the keep box is cut off or covered: make the keep box smaller, or give this target one of its own"
        in caution.cautions
    )
    refused = only(tmp_path, "print/eight-by-ten", (6000, 4000), keep)
    assert (
        refused.refused == "no crop of this shape holds the keep box, 47% of it would be lost: "
        "make the keep box smaller, or give this target one of its own"
    )


def test_an_anchor_by_hand_that_cannot_be_reached_is_a_caution(tmp_path: Path) -> None:
    hand = '[[frames.crops]]\ntarget = "blog/step"\nanchor = [0.1, 0.1]\n'
    assert only(tmp_path, "blog/step", (1440, 960), hand).cautions == (
        "anchor not reached: with the subject there, too much of the picture or the keep box is lost",
    )
    assert only(tmp_path, "blog/step", (1440, 960)).cautions == ()


def test_widths_above_the_box_are_dropped_and_its_own_added(tmp_path: Path) -> None:
    hero = only(tmp_path, "blog/hero", (1300, 2000))
    assert [(output.size.width, output.format) for output in hero.outputs] == [
        (width, kind) for width in (800, 1200, hero.crop.box.width // 2 * 2) for kind in ("avif", "webp", "jpeg")
    ]
    assert hero.cautions == (f"the crop is only {hero.crop.box.width} px wide: larger sizes are left out",)
    assert len({(output.size, output.format) for output in hero.outputs}) == len(hero.outputs)


def test_what_will_be_covered_is_kept_free(tmp_path: Path) -> None:
    vertical = only(tmp_path, "feed/vertical", (4000, 6000))
    (free,) = vertical.free
    assert (free.left, free.top, free.right, free.bottom) == pytest.approx((0, 0.14, 1, 0.8))
    still = only(tmp_path, "blog/video-still", (4000, 6000))
    assert [(part.left, part.top, part.right, part.bottom) for part in still.free] == [
        pytest.approx((0, 0, 0.8, 1)),
        pytest.approx((0, 0, 1, 0.84)),
    ]


def test_what_a_crop_has_to_satisfy(tmp_path: Path) -> None:
    keep = 'keep = [0.2, 0.3, 0.6, 0.7]\n[[frames.crops]]\ntarget = "feed/avatar"\nanchor = [0.5, 0.4]\n'
    job, _ = plan_of(tmp_path, HEAD + FRAME + 'targets = ["feed/avatar"]\n' + keep, (6000, 4000))
    request = crop_request(job.frames[0].requests[0], Size(6000, 4000))
    assert (request.ratio, request.round_shape, request.reach) == (Fraction(1), True, 0.5)
    assert (request.keep, request.anchor, request.trim) == (Region(0.2, 0.3, 0.6, 0.7), Point(0.5, 0.4), WHOLE)


def test_pixel_settings_of_screen_paper_and_proof(tmp_path: Path) -> None:
    screen = only(tmp_path, "blog/hero", (6000, 4000)).settings
    paper = only(tmp_path, "print/eight-by-ten", (6000, 4000)).settings
    proof = only(tmp_path, "partner/proof", (6000, 4000)).settings
    assert (screen.mark, paper.mark, proof.mark) == (None, None, "Proof · Bean soup")
    assert paper.sharpen_radius_px > screen.sharpen_radius_px
    assert paper.halo_limit > screen.halo_limit
    assert dict(paper.quality)["jpeg"] == 95
    none = only(tmp_path, "blog/hero", (6000, 4000), '[targets."blog/hero".sharpen]\nmedium = "none"\n').settings
    assert none.sharpen_amount == 0


def test_a_proof_names_the_partner(tmp_path: Path) -> None:
    head = HEAD + '[sponsor]\nname = "Tidewater Beans"\ndisclosure = "Advertisement."\n'
    assert only(tmp_path, "partner/proof", (6000, 4000), head=head).settings.mark == (
        "Proof · Bean soup · for Tidewater Beans"
    )


def test_the_plan_repeats_the_shoot(tmp_path: Path) -> None:
    head = HEAD.replace('title = "Bean soup"', 'title = "Bean soup"\ndate = 2026-09-12\nlanguage = "en-GB"')
    _, plan = plan_of(tmp_path, head + '[credit]\ncredit_line = "Ines"\n' + FRAME, (600, 400))
    assert (plan.title, plan.slug, plan.date, plan.language, plan.credit_line) == (
        "Bean soup", "bean-soup", "2026-09-12", "en-GB", "Ines",
    )  # fmt: skip


def test_every_frame_has_its_whole_picture_for_the_sheet(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + FRAME, (6000, 4000))
    (frame,) = plan.frames
    assert (frame.whole.crop.box, frame.whole.outputs) == (Box(0, 0, 6000, 4000), ())
    assert frame.whole.preview
    assert frame.whole.preview.size == Size(1600, 1067)


def test_previews_are_small_and_never_larger_than_the_rendition(tmp_path: Path) -> None:
    large, small = only(tmp_path, "feed/tall", (6000, 4000)).preview, only(tmp_path, "feed/tall", (90, 80)).preview
    assert large
    assert small
    assert (large.size, small.size) == (Size(512, 640), Size(64, 80))


def test_previews_never_share_a_name(tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    for outlet, target in (("shop", "card-square"), ("shop-card", "square")):
        (own / f"{outlet}.toml").write_text(f'outlet = "{outlet}"\nabout = "x"\n[targets.{target}]{OWN_TARGET}')
    head = HEAD.replace('["blog"', '["shop", "shop-card", "blog"')
    text = 'profiles_folder = "own"\n' + head + FRAME + 'targets = ["shop*/*"]\n'
    text += FRAME.replace("bowl.jpg", "other.jpg") + 'slug = "bowl-shop"\ntargets = ["shop-card/square"]\n'
    _, plan = plan_of(tmp_path, text, (600, 400), (600, 400))
    shown = [one.preview.path for one in plan.renditions if one.preview]
    shown += [frame.whole.preview.path for frame in plan.frames if frame.whole.preview]
    assert len(set(shown)) == len(shown) == 5


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ('alt = "A bowl"', ()),
        ("decorative = true", ()),
        ("", ("no alt text: write one, or say decorative = true (WCAG 1.1.1)",)),
        (
            'alt = " "',
            ("the alt text is white space only: write what is to be seen, or say decorative = true (WCAG F30)",),
        ),
    ],
)
def test_a_frame_without_alt_text_is_cautioned(tmp_path: Path, words: str, said: tuple[str, ...]) -> None:
    _, plan = plan_of(tmp_path, HEAD + FRAME.replace('alt = "A bowl of soup"', words), (600, 400))
    assert said == plan.frames[0].cautions


def test_a_frame_that_knows_its_place_is_cautioned(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + FRAME, (600, 400), position=True)
    assert plan.frames[0].cautions == (
        "the frame carries GPS, the place where it was taken: no file made from it does",
    )


def test_a_frame_that_could_not_be_read_is_left_out(tmp_path: Path) -> None:
    from pipeline.plan.build import build_plan  # noqa: PLC0415

    job, plan = plan_of(tmp_path, HEAD + FRAME + FRAME.replace("bowl", "bread"), (600, 400), (600, 400))
    headers = {frame.slug: frame.header for frame in plan.frames if frame.slug == "bread"}
    assert [frame.slug for frame in build_plan(job, headers, {}).frames] == ["bread"]


def delivered_by(folder: Path, text: str, *sizes: tuple[int, int]) -> dict[str, str]:
    """Return the paths that a plan delivers, by identity."""
    _, plan = plan_of(folder, text, *sizes)
    return {
        identity(frame.file, f"{one.outlet}/{one.target}", output.size, output.format): output.path
        for frame in plan.frames
        for one in frame.renditions
        for output in one.outputs
    }


def test_a_delivered_name_stays_when_a_slug_changes(tmp_path: Path) -> None:
    before = delivered_by(tmp_path, HEAD + FRAME, (6000, 4000))
    renamed = HEAD.replace("Bean soup", "White beans") + FRAME + 'slug = "pot"\n'
    _, kept = plan_of(tmp_path, renamed, (6000, 4000), delivered=before)
    _, moved = plan_of(tmp_path, renamed, (6000, 4000))
    assert [output.path for output in kept.renditions[0].outputs] == list(before.values())
    assert [output.path for output in moved.renditions[0].outputs] == [
        path.replace("bean-soup-bowl", "white-beans-pot") for path in before.values()
    ]


def test_a_width_that_was_not_delivered_before_gets_the_name_of_now(tmp_path: Path) -> None:
    before = delivered_by(tmp_path, HEAD + FRAME, (800, 600))
    renamed = HEAD.replace("Bean soup", "White beans") + FRAME
    _, plan = plan_of(tmp_path, renamed, (6000, 4000), delivered=before)
    assert [output.path for output in plan.renditions[0].outputs if output.format == "jpeg"] == [
        "blog/bean-soup-bowl-step-480.jpg",
        "blog/bean-soup-bowl-step-720.jpg",
        "blog/white-beans-bowl-step-1440.jpg",
    ]


def test_a_new_frame_may_not_take_a_delivered_name(tmp_path: Path) -> None:
    before = delivered_by(tmp_path, HEAD + FRAME, (600, 400))
    text = HEAD + FRAME + 'slug = "pot"\n' + FRAME.replace("bowl.jpg", "new.jpg") + 'slug = "bowl"\n'
    with pytest.raises(RequestRefused) as refused:
        plan_of(tmp_path, text, (600, 400), (600, 400), delivered=before)
    assert str(refused.value) == (
        "job.toml: both pot/blog/step and bowl/blog/step would be written to blog/bean-soup-bowl-step-480.webp; "
        "a delivered file keeps its name: `export --rename` gives each the name the job says now"
    )


def own_outlet(folder: Path, name: str, *targets: str) -> str:
    """Write an outlet profile with a name template; return the head of a job that uses it."""
    (folder / "own").mkdir()
    profile = f'outlet = "mine"\nabout = "x"\nname = "{name}"\n'
    (folder / "own" / "mine.toml").write_text(profile + "".join(f"[targets.{one}]{OWN_TARGET}" for one in targets))
    return 'profiles_folder = "own"\n' + HEAD.replace('"blog/step"', '"mine/*"').replace('"blog"', '"mine"')


def test_two_renditions_of_one_name(tmp_path: Path) -> None:
    head = own_outlet(tmp_path, "{frame}-{width}", "square", "also-square")
    with pytest.raises(RequestRefused) as refused:
        plan_of(tmp_path, head + FRAME, (600, 400))
    assert str(refused.value) == (
        "job.toml: both bowl/mine/square and bowl/mine/also-square would be written to mine/bowl-100.jpg; "
        "put {target} into the name of the outlet profile 'mine'"
    )


def test_two_frames_of_one_name(tmp_path: Path) -> None:
    head = own_outlet(tmp_path, "{frame}-{width}", "square")
    long = "very-long-name-of-a-frame-" * 3
    frames = FRAME + f'slug = "{long}one"\n' + FRAME.replace("bowl", "bread") + f'slug = "{long}two"\n'
    with pytest.raises(
        RequestRefused, match=r"would be written to mine/very-long.*; give one of the frames another slug"
    ):
        plan_of(tmp_path, head + frames, (600, 400), (600, 400))


def test_names_that_differ_in_case_only_are_one_name(tmp_path: Path) -> None:
    before = {identity("bowl.jpg", "blog/step", Size(480, 320), "jpeg"): "blog/BEAN-SOUP-BREAD-STEP-480.JPG"}
    text = HEAD + FRAME + FRAME.replace("bowl", "bread")
    with pytest.raises(RequestRefused, match="both bowl/blog/step and bread/blog/step would be written to"):
        plan_of(tmp_path, text, (600, 400), (600, 400), delivered=before)


@pytest.mark.parametrize("outlet", list(packaged_outlets()))
def test_every_packaged_target_can_be_planned_from_a_large_frame(tmp_path: Path, outlet: str) -> None:
    for size in ((6000, 4000), (4000, 6000)):
        _, plan = plan_of(tmp_path, HEAD + FRAME + f'targets = ["{outlet}/*"]\n', size)
        assert [one.target for one in plan.renditions if one.refused] == []
        assert all(one.outputs for one in plan.renditions)


def test_a_crop_that_is_small_for_another_shape_says_so(tmp_path: Path) -> None:
    """A keep box at the upper edge leaves a 4:5 crop little room, for its middle square must hold the box too."""
    keep = "keep = [0.3, 0.05, 0.6, 0.45]\n"
    tall = [one for one in only(tmp_path, "feed/tall", (2400, 2400), keep).cautions if "a tight crop" in one]
    assert len(tall) == 1
    assert "so that the keep box also fits 1:1; it could be" in tall[0]
    assert not [one for one in only(tmp_path, "feed/two-three", (2400, 2400), keep).cautions if "a tight crop" in one]


def test_a_target_of_one_size_says_what_was_made_instead(tmp_path: Path) -> None:
    made = only(tmp_path, "blog/letter", (1000, 700))
    assert "made 1000 px wide, 1200 asked for: the crop has no more" in made.cautions
