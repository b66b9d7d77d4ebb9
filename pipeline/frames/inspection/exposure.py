"""Exposure of a frame: what is burnt out and where, what is drowned in black, and how bright it is for its Exif."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from pipeline.frames.inspection.places import ninth
from pipeline.frames.inspection.taken import marked, shutter, taken
from pipeline.frames.inspection.values import judged
from pipeline.frames.inspection.view import planes_of
from pipeline.light import clipping
from pipeline.light.exposure import stops_from_mid_grey
from pipeline.light.icc import read_matrix_profile
from pipeline.light.spaces import SRGB, rgb_to_xyz

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.frames.header import CameraFacts
    from pipeline.frames.inspection.values import Finding
    from pipeline.frames.pixels import Pixels
    from pipeline.light.box import Region
    from pipeline.light.clipping import Codes, Patch, Shares
    from pipeline.light.smooth import Picture
    from pipeline.light.thresholds import Threshold

CHANNELS = {1: ("grey",), 3: ("red", "green", "blue"), 4: ("cyan", "magenta", "yellow", "black")}
SRGB_LUMINANCE = tuple(float(part) for part in rgb_to_xyz(SRGB)[1])
SOFTER = (
    "Hang a thin white cloth over the window, or move the table away from it; in hard sun take another time of day."
)
LEAST_ADVISED, MOST_ADVISED = 0.5, 3.0  # stops


@dataclass(frozen=True, slots=True)
class Clipped:
    """Where codes have run out. Shares are of all pixels, 0..1; `subject` is a share of the keep box.

    `full` and `empty` count codes exactly. `patches` are burnt out areas, `glints` the share of what is burnt out
    outside of them, in `islands` small places; `coloured` is full in a channel, and not burnt out for all that.
    """

    full: Shares
    empty: Shares
    patches: tuple[Patch, ...]
    subject: float
    glints: float
    islands: int
    coloured: float
    dark: tuple[Patch, ...]

    @property
    def burnt_out(self) -> float:
        """Return the share of the frame in burnt out patches."""
        return sum(patch.share for patch in self.patches)

    @property
    def drowned(self) -> float:
        """Return the share of the frame in black patches."""
        return sum(patch.share for patch in self.dark)


def look(
    pixels: Pixels,
    light: Picture,
    keep: Region | None,
    camera: CameraFacts,
    thresholds: Mapping[str, Threshold],
    planes: Codes | None = None,
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return measures (finite, by name) and findings of exposure.

    `light` is the reduced copy (`view.reduced_light`), `planes` all codes (`view.planes_of`) where they are at hand;
    `keep` is None where nobody knows the subject.
    """
    clipped = clipped_of(pixels, keep, thresholds["patch_share"].value, planes)
    luminance = mean_luminance(light)
    stops = stops_from_mid_grey(luminance)
    scene = scene_ev(camera, stops)
    burnt_out = _burnt_out(clipped, keep, stops, camera, thresholds)
    found = [burnt_out, _drowned(clipped, thresholds)]
    if burnt_out is None or burnt_out.level == "note":  # a fault says it all
        found += [_coloured(clipped, thresholds), _brightness(stops, scene, thresholds)]
    return _measures(pixels, clipped, luminance, stops, scene), tuple(one for one in found if one)


def clipped_of(pixels: Pixels, keep: Region | None, least_patch: float, planes: Codes | None = None) -> Clipped:
    """Return where the codes of a frame have run out; smaller patches than the share `least_patch` are glints."""
    planes = planes_of(pixels) if planes is None else planes
    top = int(np.iinfo(planes.dtype).max)
    if len(planes) == 4:
        planes = top - planes  # ink: paper is the brightest
    full = clipping.shares_at(planes, top)
    needed = 1.0 if len(planes) == 4 else clipping.MOST_LUMINANCE
    burnt = clipping.without_shading(planes, top, luminance_parts(pixels), needed)
    any_full = np.zeros_like(burnt)
    for plane in planes:
        any_full |= plane == top
    cells = clipping.cell_shares(burnt)
    patches = clipping.patches(cells, least_patch)
    in_patches = np.where(cells >= clipping.CELL_IS_HIT, cells, 0.0)
    count = max(burnt.size, 1)
    return Clipped(
        full=full,
        empty=clipping.shares_at(planes, 0),
        patches=patches,
        subject=clipping.share_within(in_patches, keep) if keep else 0.0,
        glints=max(int(np.count_nonzero(burnt)) / count - sum(patch.share for patch in patches), 0.0),
        islands=clipping.islands(cells),
        coloured=int(np.count_nonzero(any_full & ~burnt)) / count,
        dark=clipping.patches(clipping.cell_shares(clipping.nearly_empty(planes, top)), least_patch),
    )


def luminance_parts(pixels: Pixels) -> tuple[float, ...]:
    """Return how much each channel gives to the luminance of white, by the frame's profile; together 1."""
    bands = int(pixels.image.bands)
    if bands != 3:
        return (1.0 / bands,) * bands
    matrix = read_matrix_profile(pixels.icc_profile)
    parts: list[float] = np.clip(matrix.to_pcs[1], 0.0, None).tolist() if matrix else []
    whole = math.fsum(parts)
    return tuple(part / whole for part in parts) if 0 < whole < math.inf else SRGB_LUMINANCE


def mean_luminance(light: Picture) -> float:
    """Return the mean of Y, held to 0..1, of linear sRGB."""
    return float(np.clip(light @ np.array(SRGB_LUMINANCE), 0.0, 1.0).mean())


def scene_ev(camera: CameraFacts, stops: float) -> float | None:
    """Return the exposure value at ISO 100 that would have made the picture mid grey: how much light there was."""
    ev_100 = taken(camera).ev_100
    return None if ev_100 is None else ev_100 + stops


def per_cent(share: float) -> str:
    """Return a share (0..1) in words: "17 %", "0.6 %"."""
    return f"{share * 100:.0f} %" if share >= 0.095 else f"{share * 100:.1f} %"


def place(region: Region) -> str:
    """Return in which ninth of the frame the middle of a region lies."""
    across, down = (region.left + region.right) / 2, (region.top + region.bottom) / 2
    return ninth(min(int(down * 3), 2), min(int(across * 3), 2))


def _burnt_out(
    clipped: Clipped, keep: Region | None, stops: float, camera: CameraFacts, thresholds: Mapping[str, Threshold]
) -> Finding | None:
    if not clipped.patches:
        return None
    largest = clipped.patches[0].region
    level: Literal["fault", "note"] = "fault"
    number, limit, where = clipped.burnt_out, thresholds["burnt_out"], largest
    if keep is not None and clipped.subject >= thresholds["burnt_out_subject"].value:
        number, limit, where = clipped.subject, thresholds["burnt_out_subject"], keep
    elif number < limit.value:
        level, limit = "note", thresholds["burnt_out_note"]
    if number < limit.value:
        return None
    says = f"{per_cent(clipped.burnt_out)} of the frame is burnt out to white, the largest patch {place(largest)}"
    if min(largest.left, largest.top) <= 0 or max(largest.right, largest.bottom) >= 1:
        says += ", at the frame's edge"
    if clipped.subject > 0:
        says += f"; on the subject it is {per_cent(clipped.subject)}"
    return judged(
        "burnt out",
        level,
        round(number, 4),
        limit,
        says=f"{says}.",
        advice=f"{SOFTER} {_shorter(stops, camera)} What is burnt out cannot be brought back later.",
        where=where,
    )


def _shorter(stops: float, camera: CameraFacts) -> str:
    """Return how much less light to give, and by which shutter time where the Exif has one."""
    less = min(max(round(stops * 2) / 2, LEAST_ADVISED), MOST_ADVISED)
    sentence = f"Give about {less:g} {'stop' if less <= 1 else 'stops'} less light"
    if camera.exposure_s is None or camera.exposure_s <= 0:
        return sentence + "."
    now = float(camera.exposure_s)
    return f"{sentence}, {shutter(marked(now / 2**less))} instead of {shutter(now)}."


def _coloured(clipped: Clipped, thresholds: Mapping[str, Threshold]) -> Finding | None:
    limit = thresholds["full_colour_note"]
    if clipped.coloured < limit.value:
        return None
    return judged(
        "full colour",
        "note",
        round(clipped.coloured, 4),
        limit,
        says=f"One colour has run out over {per_cent(clipped.coloured)} of the frame: its strongest tones are flat.",
        advice="Expose a little less, or export the frame in a wider colour space (Display P3, Adobe RGB).",
    )


def _drowned(clipped: Clipped, thresholds: Mapping[str, Threshold]) -> Finding | None:
    limit = thresholds["drowned_note"]
    if clipped.drowned < limit.value or not clipped.dark:
        return None
    where = clipped.dark[0].region
    return judged(
        "drowned",
        "note",
        round(clipped.drowned, 4),
        limit,
        says=f"{per_cent(clipped.drowned)} of the frame is black without shading, the largest part {place(where)}.",
        advice="Where that is not meant, stand a white card opposite the light, or give more light.",
        where=where,
    )


def _brightness(stops: float, scene: float | None, thresholds: Mapping[str, Threshold]) -> Finding | None:
    bright, dark = thresholds["bright_stops"], thresholds["dark_stops"]
    if dark.value < stops < bright.value:
        return None
    side, limit = ("above", bright) if stops >= bright.value else ("below", dark)
    by_exif = "" if scene is None else f" By its Exif there was light of EV {scene:.1f} at ISO 100."
    return judged(
        "brightness",
        "note",
        round(stops, 2),
        limit,
        says=f"On average the frame lies {abs(stops):.1f} stops {side} mid grey.{by_exif}",
        advice=f"Where that is not meant, give {abs(stops):.1f} stops {'less' if side == 'above' else 'more'} light.",
    )


def _measures(
    pixels: Pixels, clipped: Clipped, luminance: float, stops: float, scene: float | None
) -> dict[str, float]:
    names = CHANNELS.get(pixels.image.bands, tuple(f"channel {band}" for band in range(pixels.image.bands)))
    measures = {
        **{f"full_{name}": share for name, share in zip(names, clipped.full.channels, strict=True)},
        "full_all": clipped.full.every,
        **{f"empty_{name}": share for name, share in zip(names, clipped.empty.channels, strict=True)},
        "empty_all": clipped.empty.every,
        "burnt_out": clipped.burnt_out,
        "burnt_out_subject": clipped.subject,
        "glints": clipped.glints,
        "glint_count": float(max(clipped.islands - len(clipped.patches), 0)),
        "full_colour": clipped.coloured,
        "drowned": clipped.drowned,
        "luminance": luminance,
        "stops_from_mid_grey": stops,
    }
    return measures if scene is None else {**measures, "scene_ev": scene}
