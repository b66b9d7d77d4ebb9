"""Photographs at a camera's size: the reduced picture against a reference in double precision, and beside other tools.

The frames are those of `tests/bench/frames.py`. They are decoded twice: by us, and by Pillow or tifffile for the
reference, which reduces linear light with the same kernel in float64 (`tests/render/reference.py`) and takes its
colours from colour-science. Bounds: house promise (no source).
"""

from __future__ import annotations

import io
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import tifffile
from PIL import Image

from pipeline.frames.pixels import decode
from pipeline.frames.read_header import read_header
from pipeline.render.encode import encode
from pipeline.render.picture import make_picture
from tests.bench.frames import CAMERA, frame_light, write_frame
from tests.bench.straight import TOOLS, Wanted, job_file, run_straight
from tests.light import colour_science
from tests.quality.figure import Figure, at_most, told
from tests.quality.shots import NAMES, shots
from tests.quality.working import lab_difference, lab_of_light, working_lab
from tests.render.charts import PLAIN
from tests.render.reference import SHARP, SOFT, resampled, without_dark_rings

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.frames.pixels import Pixels
    from pipeline.light.box import Box, Size
    from tests.bench.frames import Codes, Kind
    from tests.light.colour_science import Floats
    from tests.quality.shots import Shot

SOURCE = "house promise"
ORACLE = "numpy, float64; colour-science"
UNIT = "ΔE00"
QUALITY = 82
JUDGES = ("Pillow", "sharp")  # pyvips is told beside them: it is the library that we stand on

SRGB = colour_science.SRGB


@dataclass(frozen=True, slots=True)
class Measured:
    """What one picture came to: mean CIEDE2000 against the reference unless said otherwise.

    `jpeg` and `size` (bytes) are by tool, at quality 82; `no_larger` is ours at the best quality whose file is no
    larger than the smallest of the others. `plain` and `jpeg_plain` are the same against Lanczos with its dark rings.
    """

    name: str
    megapixels: float
    mean: float
    percentile_99: float
    rounded: float
    reference_rounded: float
    jpeg: dict[str, float]
    size: dict[str, int]
    no_larger: float
    plain: float
    jpeg_plain: dict[str, float]


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure frames of 24 megapixels, two at a time."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as workers:
        yield from figures_of(list(workers.map(measured, shots(CAMERA, full=full))))


def figures_of(by_shot: Sequence[tuple[Measured, ...]]) -> Iterator[Figure]:
    """Give the figures of measured frames of one size: each that of the worst picture."""
    found = [one for measured_shot in by_shot for one in measured_shot]
    step = f"photographs, {found[0].megapixels:.0f} MP"
    worst = max(found, key=lambda one: one.mean)
    yield Figure(
        step, "reduced, before sharpening and rounding: mean difference, the worst picture", worst.mean,
        at_most(0.10, UNIT), SOURCE, ORACLE, f"{worst.name}; {len(found)} pictures of {len(by_shot)} frames",
    )  # fmt: skip
    worst = max(found, key=lambda one: one.percentile_99)
    yield Figure(
        step, "the same, 99th percentile of the pixels", worst.percentile_99, at_most(0.6, UNIT), SOURCE, ORACLE,
        worst.name,
    )  # fmt: skip
    worst = max(found, key=lambda one: one.plain)
    yield Figure(
        step, "the same against Lanczos that keeps its dark rings: mean difference", worst.plain, told(UNIT), "",
        ORACLE, worst.name,
    )  # fmt: skip
    worst = max(found, key=_above_rounding)
    costs = [one.reference_rounded for one in found]
    yield Figure(
        step, "rounded to 8 bits: mean difference above what rounding the reference costs", _above_rounding(worst),
        at_most(0.05, UNIT), SOURCE, ORACLE,
        f"{worst.name}; rounding the reference costs {min(costs):.2f} to {max(costs):.2f}",
    )  # fmt: skip
    yield from _beside_others(step, found)


def _beside_others(step: str, found: Sequence[Measured]) -> Iterator[Figure]:
    means = {tool: np.mean([one.jpeg[tool] for one in found]) for tool in found[0].jpeg}
    kilobytes = {tool: np.mean([one.size[tool] for one in found]) / 1000 for tool in found[0].size}
    tools = "; ".join(f"{tool} {means[tool]:.2f} at {kilobytes[tool]:.0f} kB" for tool in means)
    rows = (
        (
            f"JPEG at quality {QUALITY}, not sharpened: mean difference as a share of the better of Pillow and sharp",
            {one.name: _share(one.jpeg["ours"], one.jpeg) for one in found}, at_most(0.999), f"over all: {tools}",
        ),
        (
            "the same against Lanczos that keeps its dark rings",
            {one.name: _share(one.jpeg_plain["ours"], one.jpeg_plain) for one in found}, at_most(0.999), "",
        ),
        (
            "the same, our quality lowered until our file is the smallest",
            {one.name: _share(one.no_larger, one.jpeg) for one in found}, told(), "",
        ),
    )  # fmt: skip
    for what, shares, bound, beside in rows:
        worst = max(shares, key=lambda name: shares[name])
        yield Figure(
            step, what, shares[worst], bound, SOURCE if bound.most else "", f"{ORACLE}; Pillow, sharp",
            "; ".join(filter(None, (worst, beside))),
        )  # fmt: skip


def _above_rounding(one: Measured) -> float:
    return one.rounded - one.reference_rounded


def _share(ours: float, by_tool: dict[str, float]) -> float:
    """Return our difference as a share of the smaller one of the judges'."""
    return ours / min(by_tool[tool] for tool in JUDGES)


def measured(shot: Shot) -> tuple[Measured, ...]:
    """Make a frame, and measure each of its pictures."""
    found = []
    with tempfile.TemporaryDirectory() as folder:
        path = write_frame(Path(folder) / shot.name, frame_light(shot.photograph, shot.size), shot.kind, shot.tag)
        others = _made_straight(path, shot)
        pixels = decode(read_header(path, name=shot.name, pixel_limit=10**9), name=shot.name)
        codes = _decoded_apart(path, shot.kind)
        for at, (box, size) in enumerate(shot.pictures):
            files = {tool: paths[at].read_bytes() for tool, paths in others.items()}
            found.append(_compared(shot, pixels, codes, box, size, files))
    return tuple(found)


def _compared(shot: Shot, pixels: Pixels, codes: Codes, box: Box, size: Size, others: dict[str, bytes]) -> Measured:
    """Compare one picture, and the others' files of it, with the references made of the frame's `codes`."""
    space = NAMES[shot.tag]
    light = _light(codes, space, box)
    sharp, soft = (resampled(kernel, light, size) for kernel in (SHARP, SOFT))
    exact, plain = (np.clip(each, 0, 1) for each in (without_dark_rings(sharp, soft), sharp))
    working = working_lab(pixels, box, size)
    unrounded = lab_difference(working, lab_of_light(exact, space))
    shown, shown_plain = (np.clip(each @ _matrix(space, SRGB).T, 0, 1) for each in (exact, plain))
    lab, lab_plain = lab_of_light(shown, SRGB), lab_of_light(shown_plain, SRGB)
    picture = make_picture(pixels, box, size, PLAIN)
    files = {"ours": encode(picture, "jpeg", QUALITY)} | others
    smallest = min(len(files[tool]) for tool in JUDGES)
    lowered = (encode(picture, "jpeg", quality) for quality in range(QUALITY, 0, -1))
    no_larger = next(data for data in lowered if len(data) <= smallest)
    opened = {tool: _opened(data) for tool, data in files.items()}
    rounded = np.rint(255 * colour_science.colour.RGB_COLOURSPACES[SRGB].cctf_encoding(shown))
    return Measured(
        f"{shot.name} at {size.width} x {size.height}",
        shot.size.pixels / 1e6,
        float(unrounded.mean()),
        float(np.quantile(unrounded, 0.99)),
        _mean_difference(picture.image.numpy(), lab),
        _mean_difference(rounded, lab),
        {tool: _mean_difference(found, lab) for tool, found in opened.items()},
        {tool: len(data) for tool, data in files.items()},
        _mean_difference(_opened(no_larger), lab),
        float(lab_difference(working, lab_of_light(plain, space)).mean()),
        {tool: _mean_difference(opened[tool], lab_plain) for tool in ("ours", *JUDGES)},
    )


def _made_straight(path: Path, shot: Shot) -> dict[str, list[Path]]:
    """Return the files that the other tools make of a frame, in the order of its pictures."""
    made = {}
    for tool in TOOLS:
        outs = [path.with_name(f"{tool}-{at}.jpg") for at in range(len(shot.pictures))]
        wanted = [Wanted(box, size, out, QUALITY) for (box, size), out in zip(shot.pictures, outs, strict=True)]
        run_straight(tool, job_file(path.with_name(f"{tool}.json"), {path: tuple(wanted)}))
        made[tool] = outs
    return made


def _decoded_apart(path: Path, kind: Kind) -> Codes:
    if kind == "tiff":
        return np.asarray(tifffile.imread(path))
    with Image.open(path) as opened:
        return np.asarray(opened)


def _opened(data: bytes) -> Codes:
    with Image.open(io.BytesIO(data)) as opened:
        return np.asarray(opened.convert("RGB"))


def _light(codes: Codes, space: str, box: Box) -> Floats:
    """Return linear RGB (0..1, float64) of a part of the frame, in the frame's own space."""
    top = np.iinfo(codes.dtype).max
    table = colour_science.linear(np.arange(top + 1) / top, space)
    return np.asarray(table[codes[box.top : box.bottom, box.left : box.right]], dtype=np.float64)


def _matrix(source: str, target: str) -> Floats:
    to_target = np.linalg.inv(colour_science.pcs_matrix(target)) @ colour_science.pcs_matrix(source)
    return np.asarray(to_target, dtype=np.float64)


def _mean_difference(codes: Codes | Floats, exact: Floats) -> float:
    """Return the mean CIEDE2000 of sRGB codes (0..255) to Lab."""
    return float(lab_difference(colour_science.lab_d50(codes / 255, SRGB), exact).mean())
