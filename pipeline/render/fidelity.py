"""How close a delivered picture is to the pixels it was made from: SSIMULACRA 2.1.

100 is "the same"; about 90 cannot be told apart at 1:1, 70 is high quality, 50 medium, 30 low. The measure and its
weights are published ([SSIMULACRA2] in DEVELOPERS.md). Written anew here in float32, with one change: its reference
tool blurs with a recursion whose rounding errors grow with the picture and lower its own scores above 85; the same
blur is summed here tap by tap.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.light.icc_output import GreyProfile
from pipeline.light.spaces import SRGB
from pipeline.render.colour import matrix_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.light.icc_output import RGBProfile
    from pipeline.light.spaces import RGBSpace

    Rows = Callable[[int, int], NDArray[np.float32]]

Codes = NDArray[np.uint8]
Plane = NDArray[np.float32]  # (rows, columns)
Light = NDArray[np.float32]  # (3, rows, columns), linear sRGB

BAND = 64  # rows worked on at once: what they need stays in the processor's cache; even, so that halving never splits
LEAST_SIDE = 128  # a smaller picture has not all the scales


@dataclass(frozen=True, slots=True)
class Term:
    """One term of the score: the 1-norm or 4-norm of one error map of one plane at one scale (1 : 2^scale).

    `plane` is 0 for X, 1 for Y, 2 for B - Y; `error` is "structure", "added" (edges that the original has not) or
    "lost" (edges that it has).
    """

    plane: int
    scale: int
    norm: int
    error: str
    weight: float


# The published weights, as far as they are 0.01 or more: the others move no score by a hundredth.
TERMS = (
    Term(0, 1, 4, "structure", 1.1041726426657346),
    Term(0, 2, 4, "structure", 1.8422455520539298),
    Term(0, 2, 4, "added", 11.441172603757666),
    Term(0, 3, 4, "structure", 1.8787594979546387),
    Term(0, 3, 4, "added", 10.94906990605142),
    Term(0, 4, 1, "added", 0.9677937080626833),
    Term(0, 4, 4, "added", 0.9981766977854967),
    Term(1, 0, 4, "structure", 7.466890328078848),
    Term(1, 0, 4, "lost", 17.445833984131262),
    Term(1, 1, 4, "structure", 6.683678146179332),
    Term(1, 1, 4, "lost", 1.027889937768264),
    Term(1, 2, 1, "structure", 225.20515300849274),
    Term(1, 2, 4, "structure", 19.213238186143016),
    Term(1, 3, 1, "structure", 176.39317598450694),
    Term(1, 3, 4, "structure", 24.43300999870476),
    Term(1, 3, 4, "added", 0.28520802612117757),
    Term(1, 4, 4, "structure", 34.77906344483772),
    Term(1, 4, 4, "added", 44.835625328877896),
    Term(2, 3, 4, "structure", 8.826982764996862),
    Term(2, 3, 4, "added", 23.19243343998926),
    Term(2, 4, 1, "structure", 95.1080498811086),
    Term(2, 4, 1, "added", 0.9863978034400682),
    Term(2, 4, 1, "lost", 0.9834382792465353),
    Term(2, 4, 4, "added", 171.2667255897307),
    Term(2, 4, 4, "lost", 0.9807858872435379),
)
SCALES = 1 + max(term.scale for term in TERMS)

# XYB of JPEG XL (ISO/IEC 18181-1): cone responses to linear sRGB, their bias; the planes are then brought to 0..1.
CONES = (
    (0.3, 0.622, 0.078),
    (0.23, 0.692, 0.078),
    (0.24342268924547819, 0.20476744424496821, 0.5518098665095536),
)
BIAS = 0.0037930732552754493
STEADY = np.float32(0.0009)  # the C2 of structural similarity


def score(original: Codes, delivered: Codes, space: RGBSpace | RGBProfile | GreyProfile) -> float:
    """Return the fidelity of `delivered` to `original`: codes of `space`, (height, width) or with a third axis.

    At most 100, below 0 where hardly anything is left. Pictures smaller than 128 px are measured as they look with
    mirrored copies beside them. The same pixels give the same score on one kind of processor, to the last bit.
    """
    readers = [_light_of(_large_enough(codes), space) for codes in (original, delivered)]
    height, width = (max(side, LEAST_SIDE) for side in original.shape[:2])
    total = 0.0
    for scale in range(SCALES):
        norms, halves = _compare(readers[0], readers[1], height, width, scale)
        total += sum(term.weight * norms[term] for term in TERMS if term.scale == scale)
        readers = [_rows_of(half) for half in halves]
        height, width = halves[0].shape[1:]
    return _scaled(total)


def _scaled(total: float) -> float:
    """Return the weighted sum of errors on the published scale."""
    error = 0.9562382616834844 * total
    error = 2.326765642916932 * error - 0.020884521182843837 * error**2 + 6.248496625763138e-05 * error**3
    return 100.0 - 10.0 * float(error) ** 0.6276336467831387 if error > 0 else 100.0


def _large_enough(codes: Codes) -> Codes:
    codes = codes.reshape(*codes.shape[:2], -1)
    missing = [max(0, LEAST_SIDE - side) for side in codes.shape[:2]]
    return np.pad(codes, ((0, missing[0]), (0, missing[1]), (0, 0)), mode="symmetric") if any(missing) else codes


def _light_of(codes: Codes, space: RGBSpace | RGBProfile | GreyProfile) -> Rows:
    """Return a reader of rows in linear sRGB (outside 0..1 where a wider space holds more)."""
    values = np.arange(256) / 255
    if isinstance(space, GreyProfile):
        grey = space.curve.to_linear(values).astype(np.float32)
        return lambda top, bottom: np.repeat(grey[codes[None, top:bottom, :, 0]], 3, axis=0)
    profile = matrix_of(space)
    tables = [curve.to_linear(values).astype(np.float32) for curve in profile.curves]
    matrix = np.linalg.inv(matrix_of(SRGB).to_pcs) @ profile.to_pcs

    def rows(top: int, bottom: int) -> Light:
        light = np.stack([table[codes[top:bottom, :, band]] for band, table in enumerate(tables)])
        return light if space == SRGB else np.stack([_mixed(light, row) for row in matrix.tolist()])

    return rows


def _rows_of(light: Light) -> Rows:
    return lambda top, bottom: light[:, top:bottom]


def _mixed(light: Light, shares: tuple[float, ...]) -> Plane:
    """Return a weighted sum of three planes, in a fixed order: a library's dot product need not give the same bits."""
    red, green, blue = (np.float32(share) for share in shares)
    mixed: Plane = light[0] * red
    mixed += light[1] * green
    mixed += light[2] * blue
    return mixed


def _compare(
    original: Rows, delivered: Rows, height: int, width: int, scale: int
) -> tuple[dict[Term, float], tuple[Light, Light]]:
    """Return the norms of one scale, and both pictures at half the size, band after band of rows."""
    terms = [term for term in TERMS if term.scale == scale]
    sums: dict[Term, float] = defaultdict(float)
    halves: tuple[list[Light], list[Light]] = ([], [])
    for top in range(0, height, BAND):
        first, last = max(0, top - REACH), min(height, top + BAND + REACH)
        inner = slice(top - first, min(height, top + BAND) - first)
        pair = [original(first, last), delivered(first, last)]
        for half, light in zip(halves, pair, strict=True):
            half.append(_halved(light[:, inner]))
        for plane in sorted({term.plane for term in terms}):
            errors = _errors(_plane(pair[0], plane), _plane(pair[1], plane), inner)
            for term in terms:
                if term.plane == plane:
                    sums[term] += _power_sum(errors[term.error], term.norm)
    pixels = height * width
    norms = {term: (sums[term] / pixels) ** (1 / term.norm) for term in terms}
    return norms, (np.concatenate(halves[0], axis=1), np.concatenate(halves[1], axis=1))


def _power_sum(errors: Plane, norm: int) -> float:
    if norm == 4:
        errors = np.square(np.square(errors))
    return float(errors.sum(dtype=np.float64))


def _halved(light: Light) -> Light:
    """Return the means of 2 x 2 pixels; an odd last row or column counts twice."""
    rows, columns = (size % 2 for size in light.shape[1:])
    if rows or columns:
        light = np.pad(light, ((0, 0), (0, rows), (0, columns)), mode="edge")
    upper, lower = light[:, 0::2], light[:, 1::2]
    return (upper[:, :, 0::2] + upper[:, :, 1::2] + lower[:, :, 0::2] + lower[:, :, 1::2]) * np.float32(0.25)


def _plane(light: Light, plane: int) -> Plane:
    """Return X, Y or B - Y of linear light, scaled and shifted into 0..1."""
    long, medium = (_cone(light, CONES[cone]) for cone in (0, 1))
    if plane == 0:
        return (long - medium) * np.float32(7.0) + np.float32(0.42)
    bright = (long + medium) * np.float32(0.5)
    if plane == 1:
        return bright + np.float32(0.01)
    return _cone(light, CONES[2]) - bright + np.float32(0.55)


def _cone(light: Light, shares: tuple[float, ...]) -> Plane:
    response = _mixed(light, shares)
    response += np.float32(BIAS)
    np.maximum(response, 0, out=response)
    return np.cbrt(response, out=response) - np.float32(np.cbrt(BIAS))


def _errors(original: Plane, delivered: Plane, inner: slice) -> dict[str, Plane]:
    """Return the three error maps of a band without the rows around it that only the blur needs."""
    mean, mean_delivered = _blurred(original, inner), _blurred(delivered, inner)
    square, square_delivered = _blurred(np.square(original), inner), _blurred(np.square(delivered), inner)
    product = _blurred(original * delivered, inner)
    variances = (square - np.square(mean)) + (square_delivered - np.square(mean_delivered)) + STEADY
    alike = 2 * (product - mean * mean_delivered) + STEADY
    structure = 1 - (1 - np.square(mean - mean_delivered)) * alike / variances
    edges = (1 + np.abs(delivered[inner] - mean_delivered)) / (1 + np.abs(original[inner] - mean)) - 1
    return {"structure": np.maximum(structure, 0), "added": np.maximum(edges, 0), "lost": np.maximum(-edges, 0)}


def _taps(sigma: float = 1.5) -> list[np.float32]:
    """Return one half of the blur, the middle first: three cosines that together come close to a Gaussian.

    Source: Charalampidis, Recursive Implementation of the Gaussian Filter Using Truncated Cosine Functions, IEEE
    Transactions on Signal Processing 64(14), 2016, equations 37 to 57. Its sum is 1 and its variance sigma squared.
    """
    radius = round(3.2795 * sigma + 0.2546)
    omega = np.array([1, 3, 5]) * np.pi / (2 * radius)
    p = np.array([1, -1, 1]) / np.tan(omega / 2)
    r = np.array([1, -1, 1]) * p**2 / np.sin(omega)
    rho = np.exp(-(sigma**2) * omega**2 / 2) / radius
    across = np.cross(p, r)
    constraints = np.array([p, r, across / across[2]])
    gains = np.linalg.solve(constraints, [1.0, radius**2 - sigma**2, constraints[2] @ rho])
    return [np.float32(gains @ np.cos(omega * at)) for at in range(radius)]


TAPS = _taps()
REACH = len(TAPS) - 1


def _blurred(plane: Plane, inner: slice) -> Plane:
    """Return the blurred rows `inner` of a band; beyond the picture's edges there is nothing, as published."""
    rows, columns = plane.shape
    above, below = REACH - inner.start, REACH - (rows - inner.stop)
    if above or below:
        plane = np.pad(plane, ((above, below), (0, 0)))
    height = inner.stop - inner.start
    down = np.zeros((height, columns + 2 * REACH), dtype=np.float32)
    middle = down[:, REACH : REACH + columns]
    np.multiply(plane[REACH : REACH + height], TAPS[0], out=middle)
    for at in range(1, REACH + 1):
        middle += (plane[REACH - at : REACH - at + height] + plane[REACH + at : REACH + at + height]) * TAPS[at]
    across: Plane = middle * TAPS[0]
    for at in range(1, REACH + 1):
        across += (down[:, REACH - at : REACH - at + columns] + down[:, REACH + at : REACH + at + columns]) * TAPS[at]
    return across
