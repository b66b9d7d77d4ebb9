from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.light.spaces import SRGB
from pipeline.render.containers.embed import picture_data
from pipeline.render.counted import STEP, counted_bytes
from pipeline.render.encode import encode
from pipeline.render.picture import Picture
from tests.render.charts import image_of
from tests.render.test_encode import LOSSY, scene

if TYPE_CHECKING:
    from pipeline.plan.rendition import OutputFormat


@pytest.mark.parametrize("output_format", LOSSY)
def test_all_but_the_picture_is_counted_in_whole_steps(output_format: OutputFormat) -> None:
    data = encode(Picture(image_of(scene()), SRGB, 0.0), output_format, 80)
    counted = counted_bytes(data, output_format)
    assert 0 <= counted - len(data) < STEP
    assert (counted - len(picture_data(data, output_format))) % STEP == 0


def test_what_is_cut_short_cannot_be_counted() -> None:
    data = encode(Picture(image_of(scene()), SRGB, 0.0), "jpeg", 80)
    with pytest.raises(ValueError, match=r"cut short|ends"):
        counted_bytes(data[: len(data) // 2], "jpeg")
