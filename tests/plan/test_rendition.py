from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.plan.rendition import PixelSettings
from tests.light.foreign_profiles import grey_profile, matrix_profile
from tests.light.foreign_tables import PRESS, printer_profile

PLAIN = PixelSettings(0.0, 0.0, 0.0, "srgb", None, ())


@pytest.mark.parametrize(
    ("settings", "channels", "shown"),
    [
        (PLAIN, 3, True),
        (replace(PLAIN, colour="display-p3"), 3, True),
        (replace(PLAIN, colour="grey"), 1, False),
        (replace(PLAIN, colour="press", icc_profile=PRESS), 4, False),
        (replace(PLAIN, colour="printer", icc_profile=printer_profile()), 3, False),
        (replace(PLAIN, colour="screen", icc_profile=matrix_profile("sRGB")), 3, False),
        (replace(PLAIN, colour="paper", icc_profile=grey_profile(2.2)), 1, False),
    ],
    ids=["sRGB", "P3", "grey", "press", "printer", "screen", "grey paper"],
)
def test_channels_and_what_a_browser_shows_as_it_is(settings: PixelSettings, channels: int, shown: bool) -> None:  # noqa: FBT001 (a column)
    assert (channels, shown) == (settings.channels, settings.shows_on_screens)
