"""Two frames in one picture, as they are planned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.light.box import Point, Size
from tests.small_shoot import HEAD, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan, Rendition

TWO = "".join(
    f'\n[[frames]]\nfile = "{name}.jpg"\nsubject = [0.5, 0.5]\nalt = "{name}, seen"\n' for name in ("bowl", "spoon")
)
PAIR = '\n[[pairs]]\npair = ["bowl", "spoon"]\ntargets = ["feed/two-up"]\nalt = "A bowl, then a spoon"\n'
LARGE = (6000, 4000)


def two_up(plan: Plan) -> Rendition:
    [found] = [one for one in plan.renditions if one.beside]
    return found


def test_it_stands_at_its_first_frame_under_its_own_name(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + TWO + PAIR, LARGE, LARGE)
    found = two_up(plan)
    assert found in plan.frames[0].renditions
    assert found.name == "bowl-and-spoon/feed/two-up"
    assert [(one.path, one.size) for one in found.outputs] == [
        ("feed/bean-soup-bowl-and-spoon-two-up-1080.jpg", Size(1080, 810))
    ]


def test_each_half_is_cut_to_its_shape(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + TWO + PAIR, LARGE, (2000, 3000))
    found = two_up(plan)
    assert found.beside is not None
    # 534 x 810 px are side by side in 1080 x 810 with 12 px between: a box of 4000 rows is 4000 * 534 / 810 wide.
    assert (found.crop.box.width, found.crop.box.height) == (2637, 4000)
    assert (found.beside.crop.box.width, found.beside.crop.box.height) == (1978, 3000)
    assert (found.beside.frame, found.beside.gap_px, found.beside.layout) == ("spoon", 12, "side-by-side")


def test_each_frames_own_hand_counts(tmp_path: Path) -> None:
    hand = '[[frames.crops]]\ntarget = "feed/two-up"\nsubject = [0.2, 0.5]\nanchor = "centre"\n'
    _, plan = plan_of(tmp_path, HEAD + TWO + hand + PAIR, LARGE, LARGE)
    found = two_up(plan)
    assert found.beside is not None
    # The point may stand in the middle of a box of 2 x 0.2 x 6000 px: nine tenths of the largest, within its reach.
    assert found.beside.crop.box.left == 0
    assert found.beside.crop.box.width in {2400, 2401}, "within half a pixel"
    assert found.crop.box.left > 0


def test_a_small_frame_makes_the_whole_picture_smaller(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + TWO + PAIR, LARGE, (400, 300))
    found = two_up(plan)
    [output] = found.outputs
    assert found.beside is not None
    assert output.size.height <= 300
    assert abs(output.size.width * 810 - output.size.height * 1080) <= 1080
    assert found.beside.whole == output.size
    assert f"made {output.size.width} px wide, 1080 asked for: the crops have no more" in found.cautions


def test_a_target_that_refuses_what_is_too_small(tmp_path: Path) -> None:
    change = '[targets."feed/two-up"]\ntoo_small = "refuse"\n'
    _, plan = plan_of(tmp_path, HEAD + change + TWO + PAIR, LARGE, (400, 300))
    found = two_up(plan)
    assert found.refused == "too small: the crops have fewer pixels than the target asks for"
    assert (found.outputs, found.preview) == ((), None)


def test_a_turned_frame_is_turned_in_its_half(tmp_path: Path) -> None:
    turned = TWO.replace('"spoon, seen"\n', '"spoon, seen"\nturn_deg = -0.8\n')
    _, plan = plan_of(tmp_path, HEAD + turned + PAIR, LARGE, LARGE)
    found = two_up(plan)
    assert found.beside is not None
    assert (found.crop.turn_deg, found.beside.crop.turn_deg) == (0.0, -0.8)


def test_without_its_second_frame_it_is_not_planned(tmp_path: Path) -> None:
    from pipeline.plan.build import build_plan  # noqa: PLC0415 (the one test that leaves a header out)

    job, plan = plan_of(tmp_path, HEAD + TWO + PAIR, LARGE, LARGE)
    headers = {frame.slug: frame.header for frame in plan.frames if frame.slug == "bowl"}
    assert not any(one.beside for one in build_plan(job, headers, {}).renditions)


def test_its_words_are_its_own(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + TWO + PAIR + 'caption = "Then and now."\n', LARGE, LARGE)
    facts = two_up(plan).facts
    assert (facts.alt, facts.description, facts.title) == ("A bowl, then a spoon", "Then and now.", "Bean soup")


def test_a_missing_alt_text_is_told(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + TWO + PAIR.replace('alt = "A bowl, then a spoon"\n', ""), LARGE, LARGE)
    assert any("alt" in caution for caution in two_up(plan).cautions)


def test_the_rights_in_both_frames_are_said(tmp_path: Path) -> None:
    credit = (
        '[frames.credit]\ncreator = "{0}"\ncopyright = "© {0}"\nlicence_url = "https://{0}.example/l"\n'
        'credit_line = "Larder"\n'
    )
    first, second = TWO.split("\n[[frames]]")[1:]
    text = HEAD + "".join(f"\n[[frames]]{one}{credit.format(who)}" for one, who in ((first, "ines"), (second, "oda")))
    _, plan = plan_of(tmp_path, text + PAIR, LARGE, LARGE)
    facts = two_up(plan).facts
    assert facts.creators == ("ines", "oda")
    assert facts.copyright == "© ines; © oda"
    assert facts.credit_line == "Larder"
    assert facts.licence_url is None


def test_the_later_release_and_the_earlier_end_hold(tmp_path: Path) -> None:
    text = TWO
    for name, day in (("bowl", "2026-10-01"), ("spoon", "2026-11-01")):
        text = text.replace(f'"{name}, seen"\n', f'"{name}, seen"\nnot_before = {day}\nlicence_ends = {day}\n')
    _, plan = plan_of(tmp_path, HEAD + text + PAIR, LARGE, LARGE)
    facts = two_up(plan).facts
    assert facts.not_before is not None
    assert facts.licence_ends is not None
    assert (facts.not_before[:10], facts.licence_ends[:10]) == ("2026-11-01", "2026-10-01")


def test_the_plan_tells_both_boxes(tmp_path: Path) -> None:
    from pipeline.plan.show import plan_lines  # noqa: PLC0415 (words, here alone)

    _, plan = plan_of(tmp_path, HEAD + TWO + PAIR, LARGE, LARGE)
    text = "\n".join(plan_lines(plan))
    assert "two frames as bowl-and-spoon, side by side, 12 px between them" in text
    assert "and spoon:\n      box 2637 x 4000" in text


def test_points_of_the_job_are_where_they_land(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + TWO + PAIR, LARGE, LARGE)
    at = two_up(plan).crop.subject_at
    assert isinstance(at, Point)
    assert 0 <= at.x <= 1
