"""How the contact sheet says things: figures, days, places and counts in words, never in codes."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

    from pipeline.deliver.review.state import Verdict
    from pipeline.frames.header import CameraFacts
    from pipeline.ledger.made import Made
    from pipeline.light.box import Region, Size
    from pipeline.plan.rendition import Crop

VERDICTS: dict[Verdict, str] = {"approve": "Approve", "change": "Change", "leave-out": "Leave out"}

_NBSP = "\N{NO-BREAK SPACE}"
_TIMES = "\N{MULTIPLICATION SIGN}"
_MONTHS = (
    "January February March April May June July August September October November December".split()  # noqa: SIM905 (a table)
)


def landing(crop: Crop, trim: Region) -> str:
    """Return where the subject lands in the trim, in words ("on the upper right crossing")."""
    x, y = crop.subject_at.x, crop.subject_at.y
    across, down = ("left", "right")[x > 1 / 2], ("upper", "lower")[y > 1 / 2]
    match crop.reached:
        case "crossing":
            return f"on the {down} {across} crossing"
        case "line":
            width = (trim.right - trim.left) * crop.box.width
            height = (trim.bottom - trim.top) * crop.box.height
            nearer_upright = abs(abs(x - 1 / 2) - 1 / 6) * width <= abs(abs(y - 1 / 2) - 1 / 6) * height
            return f"on the {across if nearer_upright else down} third"
        case "point":
            place = f"{share(x)} across, {share(y)} down"
            return "in the centre" if place == f"50{_NBSP}% across, 50{_NBSP}% down" else f"on its anchor, {place}"
        case "no":
            if 0 <= x <= 1 and 0 <= y <= 1:
                return f"anchor not reached: {share(x)} across, {share(y)} down"
            return "anchor not reached: outside the crop"


def weight(size_bytes: int) -> str:
    """Return bytes in decimal units (SI: 1 kB is 1000 bytes), two or three figures."""
    if size_bytes < 1000:
        return f"{size_bytes}{_NBSP}B"
    if size_bytes < 999_500:
        return f"{_figures(size_bytes / 1000)}{_NBSP}kB"
    return f"{_figures(size_bytes / 1e6)}{_NBSP}MB"


def weight_of(files: Sequence[Made]) -> str:
    """Return in words what files weigh together."""
    return weight(sum(one.size_bytes for one in files))


def exposure(camera: CameraFacts) -> str:
    """Return aperture, shutter, sensitivity and focal length on one line, as far as they are known."""
    parts = (
        f"f/{_plain(camera.f_number)}" if camera.f_number else "",
        f"{_shutter(camera.exposure_s)}{_NBSP}s" if camera.exposure_s else "",
        f"ISO{_NBSP}{camera.iso}" if camera.iso else "",
        f"{_plain(camera.focal_mm)}{_NBSP}mm" if camera.focal_mm else "",
    )
    return " · ".join(part for part in parts if part)


def day_in_words(text: str) -> str:
    """Return an ISO 8601 day or time as "12 September 2026" or "12 September 2026, 10:24"; other text as it is."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    day = f"{moment.day}{_NBSP}{_MONTHS[moment.month - 1]} {moment.year}"
    return day if is_day(text) else f"{day}, {moment:%H:%M}"


def is_day(text: str) -> bool:
    """Return whether a text is an ISO 8601 day without a time."""
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def share(fraction: float) -> str:
    """Return a share (0..1) in whole per cent."""
    return f"{100 * fraction:.0f}{_NBSP}%"


def fine_share(fraction: float) -> str:
    """Return a share so that "nothing" and "all" are said only where they are true."""
    if fraction in (0, 1):
        return ("nothing", "all")[fraction == 1]
    if fraction < 0.001:
        return f"under 0.1{_NBSP}%"
    if fraction < 0.0995:
        return f"{100 * fraction:.1f}{_NBSP}%"
    return share(fraction) if fraction < 0.995 else f"over 99{_NBSP}%"


def count(number: int, noun: str) -> str:
    """Return a number of things: "1 frame", "2 frames"."""
    return f"{number}{_NBSP}{noun}" if number == 1 else f"{number}{_NBSP}{noun}s"


def pixels(size: Size) -> str:
    """Return a size in pixels, width first."""
    return f"{size.width}{_NBSP}{_TIMES}{_NBSP}{size.height}"


def millimetres(width: float, height: float) -> str:
    """Return a size on paper, width first."""
    return f"{width:.0f}{_NBSP}{_TIMES}{_NBSP}{height:.0f}{_NBSP}mm"


def words_of(slug: str) -> str:
    """Return a slug as words, with a capital."""
    words = slug.replace("-", " ").strip()
    return words[:1].upper() + words[1:]


def format_word(name: str) -> str:
    """Return how a file format is written."""
    return {"webp": "WebP"}.get(name, name.upper())


def _figures(number: float) -> str:
    return f"{number:.1f}" if number < 9.95 else f"{number:.0f}"


def _plain(number: Fraction) -> str:
    return f"{float(number):.1f}".removesuffix(".0")


def _shutter(seconds: Fraction) -> str:
    """Return a shutter time as a camera's display writes it: 1/125, 0.6, 2 (common practice, no source)."""
    if seconds.numerator == 1 and seconds.denominator > 1:
        return f"1/{seconds.denominator}"
    return f"1/{round(1 / seconds)}" if seconds < 3 / 10 else _plain(seconds)
