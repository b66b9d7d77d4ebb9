"""The plates of the documentation: all there, shown at 100 %, and those that the pipeline makes today."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.quality.plates.plates import PLATES
from tests.quality.plates.sheet import GAP_PX, LINE_PX, WIDEST_PX, Crop, enlarged, plate, save

DOCS = Path(__file__).parents[3] / "docs"
PAGE = (DOCS / "quality.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"!\[([^\]]+)\]\(quality/([\w-]+)\.jpg\)", PAGE)
LARGEST_TOTAL = 3_000_000


def crop(words: str, height: int, width: int) -> Crop:
    pixels = np.random.default_rng(height * 1000 + width).integers(0, 256, (height, width, 3), np.uint8)
    return Crop(words, pixels)


def test_the_page_shows_each_plate_once_and_says_what_is_seen() -> None:
    assert sorted(PLATES) == sorted(name for _, name in SHOWN)
    assert all(len(words) > 20 for words, _ in SHOWN)
    assert sorted(PLATES) == sorted(path.stem for path in (DOCS / "quality").iterdir())


@pytest.mark.parametrize("name", PLATES)
def test_a_plate_is_shown_without_scaling_and_without_loss_of_colour(name: str) -> None:
    with Image.open(DOCS / "quality" / f"{name}.jpg") as opened:
        assert opened.width <= WIDEST_PX
        assert [layer[1:3] for layer in opened.layer] == [(1, 1)] * 3  # type: ignore[attr-defined]
        assert not set(opened.info) & {"exif", "icc_profile"}


def test_the_plates_are_small_enough_to_be_kept() -> None:
    assert sum(path.stat().st_size for path in (DOCS / "quality").iterdir()) < LARGEST_TOTAL


@pytest.mark.full
@pytest.mark.parametrize("name", PLATES)
def test_a_plate_shows_what_the_pipeline_makes_today(name: str, tmp_path: Path) -> None:
    save(PLATES[name](), tmp_path / "plate.jpg")
    with Image.open(tmp_path / "plate.jpg") as made, Image.open(DOCS / "quality" / f"{name}.jpg") as kept:
        assert made.size == kept.size
        difference = np.abs(np.asarray(made, dtype=np.float64) - np.asarray(kept))
    assert difference.mean() < 0.2


def test_crops_are_laid_side_by_side_as_they_are() -> None:
    one, two, three = crop("one", 40, 50), crop("two", 30, 60), crop("three", 20, 45)
    sheet = np.asarray(plate([[one, two], [three]]))
    top = LINE_PX
    np.testing.assert_array_equal(one.pixels, sheet[top : top + 40, GAP_PX : GAP_PX + 50])
    np.testing.assert_array_equal(two.pixels, sheet[top : top + 30, 2 * GAP_PX + 50 : 2 * GAP_PX + 110])
    top += 40 + GAP_PX + LINE_PX
    np.testing.assert_array_equal(three.pixels, sheet[top : top + 20, GAP_PX : GAP_PX + 45])
    assert sheet.shape == (top + 20 + GAP_PX, 3 * GAP_PX + 110, 3)


def test_a_plate_that_a_page_would_scale_is_refused() -> None:
    with pytest.raises(ValueError, match="916 px wide, and a page shows 880 at 100 %"):
        plate([[crop("one", 10, 450), crop("two", 10, 442)]])


def test_words_longer_than_their_crop_are_refused() -> None:
    with pytest.raises(ValueError, match="'a long line of words' are longer than their crop is wide"):
        plate([[crop("a long line of words", 10, 60)]])


def test_a_pixel_enlarged_is_a_square_of_it() -> None:
    pixels = crop("", 2, 3).pixels
    found = enlarged(pixels, 4)
    assert found.shape == (8, 12, 3)
    np.testing.assert_array_equal(pixels, found[1::4, 2::4])
    assert (found[:4, :4] == pixels[0, 0]).all()


def test_a_saved_plate_keeps_its_colours(tmp_path: Path) -> None:
    sheet = Image.new("RGB", (64, 64), (200, 40, 30))
    save(sheet, tmp_path / "plate.jpg")
    with Image.open(io.BytesIO((tmp_path / "plate.jpg").read_bytes())) as opened:
        assert np.abs(np.asarray(opened, dtype=int) - (200, 40, 30)).max() <= 2
