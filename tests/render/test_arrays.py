"""Images as arrays of colours, and back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from pipeline.render import arrays
from pipeline.render.arrays import by_array, fractions
from tests.render.charts import Array, image_of

if TYPE_CHECKING:
    from numpy.typing import NDArray


@pytest.mark.parametrize("at_a_time", [1, 7, 1 << 20])
@pytest.mark.parametrize("bands", [1, 3, 4])
def test_each_colour_stays_in_its_place(bands: int, at_a_time: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(arrays, "COLOURS", at_a_time)
    picture = np.random.default_rng(1).integers(0, 256, (5, 8, bands), np.uint8)

    def doubled(colours: Array) -> NDArray[np.float32]:
        assert colours.shape[1] == bands
        return np.concatenate([colours, colours], axis=1).astype(np.float32)

    found = by_array(image_of(picture), doubled, "multiband")
    np.testing.assert_array_equal(np.concatenate([picture, picture], axis=-1), found.numpy())


@pytest.mark.parametrize(("kind", "name"), [(np.uint8, "uchar"), (np.uint16, "ushort"), (np.float32, "float")])
def test_each_kind_of_number(kind: type, name: str) -> None:
    found = by_array(image_of(np.zeros((2, 3, 3), np.uint8)), lambda colours: colours.astype(kind), "srgb")
    assert (found.format, found.interpretation, found.width, found.height) == (name, "srgb", 3, 2)


def test_codes_become_fractions() -> None:
    assert fractions(np.array([0, 51, 255], np.uint8)).tolist() == pytest.approx([0, 0.2, 1])
    assert fractions(np.array([0, 13107, 65535], np.uint16)).tolist() == pytest.approx([0, 0.2, 1])
