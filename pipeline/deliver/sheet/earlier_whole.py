"""The whole frame of an earlier round, as an outlet may see it: small, and marked as its whole frames are now."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.deliver.sheet.for_outlet import at_most
from pipeline.deliver.tasks import FileTask
from pipeline.deliver.work import with_metadata
from pipeline.frames.read_header import read_header
from pipeline.light.box import Box
from pipeline.plan.files import SCREEN_PPI, SMALL_WHOLE_SIDE, WHOLE_SIDE
from pipeline.plan.rendition import Output

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Rendition


def earlier_whole(kept: Path, whole: Rendition) -> bytes:
    """Return the JPEG of a kept print, no larger than `whole`'s preview may be, with its mark and its metadata.

    Raises OSError and FrameUnreadable.
    """
    from pipeline.frames.pixels import decode  # noqa: PLC0415 (loads the image library; few sheets need it)
    from pipeline.render.encode import encode  # noqa: PLC0415 (as above)
    from pipeline.render.picture import make_picture  # noqa: PLC0415 (as above)

    header = read_header(kept, name=kept.name, pixel_limit=WHOLE_SIDE**2)
    box = Box(0, 0, header.size.width, header.size.height)
    settings = replace(whole.settings, sharpen_amount=0.0)  # it was sharpened when it was made
    small = Output(at_most(header.size, SMALL_WHOLE_SIDE), "jpeg", kept.name, SCREEN_PPI)
    picture = make_picture(decode(header, name=kept.name), box, small.size, settings)
    bare = encode(picture, "jpeg", dict(settings.quality)["jpeg"])
    task = FileTask(small, "", "", "", "pixels", None, None, policy=whole.policy)
    return with_metadata(bare, header, whole, task)
