"""Colour in and out: identity, patches of a chart through masters of every kind, by colour-science."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, SRGB
from tests.light import colour_science
from tests.light.foreign_profiles import encoded_in
from tests.quality.figure import Figure, at_most, exactly
from tests.render.charts import PLAIN, colour_grid, finished, grey_steps
from tests.render.test_picture import LOSSLESS, NEAR_ALL, PROFILES, difference_of, master_file, patches, rendered

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.plan.rendition import OutputFormat
    from pipeline.render.picture import Picture
    from tests.light.colour_science import Floats

STEP = "colour"
HOUSE = "house promise"
JUDGE = "colour-science"
SPACES = {"srgb": SRGB, "adobe-rgb": ADOBE_RGB, "display-p3": DISPLAY_P3}
UNIT = "ΔE00"
NAMES = {"jpeg": "JPEG", "webp": "WebP", "avif": "AVIF"}
LOSSY: tuple[tuple[OutputFormat, int], ...] = (("jpeg", 88), ("webp", 82), ("avif", 62))


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure colour; `full` changes nothing here."""
    del full
    yield Figure(
        STEP, "8-bit sRGB, Adobe RGB and Display P3, in and out, not reduced: largest difference", _identity(),
        exactly(0, "code values"), "arithmetic", "the codes themselves",
    )  # fmt: skip
    yield from _through_masters()


def _identity() -> float:
    largest = 0
    for name, space in SPACES.items():
        for picture in (grey_steps(), colour_grid(15)[None]):
            found = finished(picture, write_matrix_profile(space), replace(PLAIN, colour=name))
            largest = max(largest, int(np.abs(found.astype(int) - picture).max()))
    return largest


def _through_masters() -> Iterator[Figure]:
    """Send the patches through a TIFF master of each space in 8 and 16 bits, and read the delivered files back."""
    by_kind: dict[str, list[Floats]] = {"matrix": [], "table": []}
    by_format: dict[OutputFormat, list[Floats]] = {name: [] for name, _ in LOSSY}
    for master, (space, icc_profile) in PROFILES.items():
        kind = by_kind["table" if "tables" in master else "matrix"]
        for dtype in (np.uint8, np.uint16):
            picture, expected = _master(space, icc_profile, dtype)
            kind += [difference_of(picture, each, 100, expected) for each in LOSSLESS]
            for name, quality in LOSSY:
                by_format[name].append(difference_of(picture, name, quality, expected))
    count = len(by_format["jpeg"][0])
    for profiles, found in by_kind.items():
        yield Figure(
            STEP, f"{count} in-gamut patches from masters of {profiles} profiles, 8 and 16 bits, TIFF and PNG: largest",
            float(np.max(found)), at_most(1.0, UNIT), HOUSE, JUDGE, f"mean {np.mean(found):.2f}",
        )  # fmt: skip
    for name, quality in LOSSY:
        found = by_format[name]
        yield Figure(
            STEP, f"the same as {NAMES[name]} at quality {quality}: 95 of 100 patches are below",
            float(np.quantile(np.concatenate(found), 0.95)), at_most(NEAR_ALL[name], UNIT), HOUSE, JUDGE,
            f"of all masters; of the worst one {max(float(np.quantile(each, 0.95)) for each in found):.2f}; mean "
            f"{np.mean(found):.2f}, the largest {np.max(found):.2f}: 8-bit YCbCr moves near-greys",
        )  # fmt: skip


def _master(space: str, icc_profile: bytes, dtype: type[np.unsignedinteger[Any]]) -> tuple[Picture, Floats]:
    """Return the picture made of a master of patches, and the colours expected of it (encoded sRGB, 0..1)."""
    top = np.iinfo(dtype).max
    codes = np.rint(encoded_in(space, patches()) * top).astype(dtype)
    with tempfile.TemporaryDirectory() as folder:
        picture = rendered(master_file(Path(folder) / "master.tif", codes, icc_profile))
    return picture, colour_science.converted(codes / top, space, colour_science.SRGB)
