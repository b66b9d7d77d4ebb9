"""A round: what one contact sheet showed. What makes a picture the same picture, and a sheet the same round."""

from __future__ import annotations

import dataclasses
import hashlib
from typing import TYPE_CHECKING

from pipeline.deliver.tasks import can_be_read
from pipeline.ledger.keys import Known, key
from pipeline.ledger.rounds import Shown
from pipeline.plan.rendition import PixelSettings

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan, PlannedFrame, Rendition

KEY_LENGTH = 32
_KEYS = Known()
# How well a file is encoded, or what its ink is held against, is no part of what was approved.
_ENCODER_ONLY = frozenset({"quality", "bytes_max", "fidelity", "progressive", "jpeg_tables", "ink_limit"})
_SETTINGS = tuple(field for field in dataclasses.fields(PixelSettings) if field.name not in _ENCODER_ONLY)


def picture_key(content_sha256: str, orientation: int, rendition: Rendition, beside_sha256: str | None = None) -> str:
    """Return 32 hexadecimal figures that stay the same as long as the rendition is the same picture.

    `content_sha256` is the digest of the frame's file, `orientation` its Exif orientation (1..8), `beside_sha256` the
    digest of the second frame of a two-up. A corrected caption, another encoder quality or a newer library leaves the
    key as it is: an answer that is on its way still holds.
    """
    size = rendition.outputs[-1].size if rendition.outputs else rendition.crop.box.size
    # A setting at its default is left out: one that a later plateline brings makes no other picture of this one.
    settings = {
        field.name: value for field in _SETTINGS if (value := getattr(rendition.settings, field.name)) != field.default
    }
    parts: list[object] = [content_sha256, orientation, rendition.crop.box, size, settings, is_whole(rendition.name)]
    if rendition.crop.turn_deg:
        parts.append({"turn": rendition.crop.turn_deg})
    if beside := rendition.beside:
        parts += [beside_sha256, beside.header.orientation, beside.crop.box, beside.crop.turn_deg]
        parts += [beside.layout, beside.gap_px, beside.whole]
    return key(*parts)[:KEY_LENGTH]


def round_id(keys: Iterable[str]) -> str:
    """Return the id of a round: SHA-256 in hex over its picture keys, sorted, a line each."""
    return hashlib.sha256("\n".join(sorted(keys)).encode()).hexdigest()


def planned_pictures(plan: Plan, outlet: str | None = None) -> Iterator[tuple[PlannedFrame, Rendition]]:
    """Yield each rendition that a sheet can show, with its frame; those of one outlet alone where it is given."""
    for frame in plan.frames:
        for rendition in frame.renditions:
            if rendition.refused is None and outlet in (None, rendition.outlet):
                yield frame, rendition


def picture_keys(plan: Plan, contents: Mapping[str, str]) -> dict[str, str]:
    """Return the picture key of every rendition that is not refused, by its name, in the order of the job.

    `contents` are the digests of the frames' files by frame slug; a frame without one could not be read: left out.
    """
    return {
        rendition.name: _key(frame, rendition, contents)
        for frame, rendition in planned_pictures(plan)
        if can_be_read(frame, rendition, contents)
    }


def whole_keys(plan: Plan, contents: Mapping[str, str]) -> dict[str, str]:
    """Return the picture key of every whole frame, by the name under which a sheet shows it."""
    return {frame.whole.name: _key(frame, frame.whole, contents) for frame in plan.frames if frame.slug in contents}


def _key(frame: PlannedFrame, rendition: Rendition, contents: Mapping[str, str]) -> str:
    two = rendition.beside
    content, beside = contents[frame.slug], contents[two.frame] if two else None
    orientation = frame.header.orientation
    return _KEYS.text(
        (content, beside, orientation, is_whole(rendition.name)),
        (rendition.crop, rendition.settings, rendition.outputs, two),
        lambda: picture_key(content, orientation, rendition, beside),
    )


def shown_pictures(
    plan: Plan, contents: Mapping[str, str], made: Mapping[str, Made], outlet: str | None
) -> tuple[Shown, ...]:
    """Return what the sheet of an outlet (None: her own) shows: its renditions, and the whole frames they are cut from.

    Shown is what has a preview in `made`. `outlet` limits the renditions, and the frames to those that have one.
    """
    shown: list[Shown] = []
    for frame in plan.frames:
        of_frame = [one for one in frame.renditions if outlet in (None, one.outlet)]
        for rendition in (*of_frame, frame.whole) if of_frame else ():
            row = made.get(rendition.preview.path) if rendition.preview else None
            if row is None or rendition.preview is None or not can_be_read(frame, rendition, contents):
                continue
            crop, picture_key = rendition.crop, _key(frame, rendition, contents)
            box = None if rendition.beside else crop.box
            size = rendition.preview.size
            shown.append(Shown(rendition.name, picture_key, row.picture_sha256, size, box, crop.turn_deg))
    return tuple(shown)


_WHOLE = "/sheet/whole"


def is_whole(name: str) -> bool:
    """Return whether a name of something shown is that of a whole frame: `frame/sheet/whole`."""
    return name.endswith(_WHOLE)


def whole_name(slug: str) -> str:
    """Return the name under which a whole frame is shown."""
    return f"{slug}{_WHOLE}"


def earlier_path(picture_key: str) -> str:
    """Return where the print of an earlier round is kept, below the output folder."""
    return f"sheet/earlier/{picture_key}.jpg"
