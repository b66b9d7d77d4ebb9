"""The sentences of this room: why one frame cannot be read, and what she can do about it."""

from __future__ import annotations

from pipeline.faults import Fault, FrameUnreadable

CUT_SHORT = "is cut short: part of the picture is missing"
COPY_AGAIN = "copy it from the card again, or export it again"


def unreadable(name: str, found: str, wanted: str = COPY_AGAIN) -> FrameUnreadable:
    """Return the exception for one frame; `name` is how the file is written in the job."""
    return FrameUnreadable(Fault(file=name, found=found, wanted=wanted))


def too_many_pixels(name: str, width: int, height: int, pixel_limit: int) -> FrameUnreadable:
    """Return the refusal of a claimed size above the limit: nothing was decoded."""
    return unreadable(
        name,
        f"claims {width} x {height} pixels ({_mega(width * height)} megapixels), more than the limit of "
        f"{_mega(pixel_limit)} megapixels",
        f"if it really is that large, raise `pixel_limit` in the job above {width * height} (it is {pixel_limit})",
    )


def unopened(name: str, error: OSError) -> FrameUnreadable:
    """Return the refusal of a file that the operating system does not give out."""
    if isinstance(error, FileNotFoundError):
        return unreadable(name, "is not there", "check the name and the folder")
    return unreadable(
        name, f"cannot be opened ({(error.strerror or 'unknown reason').lower()})", "check its permissions"
    )


def _mega(pixels: int) -> str:
    return f"{pixels / 1e6:.1f}" if pixels < 100_000_000 else f"{pixels / 1e6:.0f}"
