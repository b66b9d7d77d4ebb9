"""Decode a frame once, whole and upright, in its own colour space."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.frames import items, refusal
from pipeline.frames.complete import is_cut_short
from pipeline.frames.heic import Damaged, decode_heic
from pipeline.frames.loaders import colour_bands, open_lazily
from pipeline.frames.plain_tiff import plain_codes
from pipeline.frames.raw import develop
from pipeline.frames.turbo import turbo_codes
from pipeline.light.icc import write_matrix_profile
from pipeline.light.icc_tables import to_connection_space
from pipeline.light.icc_tags import channel_count
from pipeline.light.spaces import ROMM, SRGB

if TYPE_CHECKING:
    from pathlib import Path

    import pyvips
    from numpy.typing import NDArray

    from pipeline.frames.header import Header

TAKEN_AS_SRGB = "no ICC profile: taken as sRGB"
BROKEN_PROFILE = "its ICC profile is broken: taken as sRGB"
OTHER_PROFILE = "its ICC profile is for another kind of picture: taken as sRGB"
LAID_ON_WHITE = "transparent parts laid on white"
SHORTER = {"jpeg": turbo_codes, "tiff": plain_codes}  # ways to the same codes as libvips decodes, for most files
EXTRA_LEFT_OUT = "a channel that is neither colour nor transparency left out"


@dataclass(frozen=True, slots=True)
class Pixels:
    """A decoded frame in memory, upright, encoded in the space of `icc_profile`.

    `image` is uchar (0..255) or ushort (0..65535) with 1 (grey), 3 (RGB) or 4 (CMYK, 0 is paper) bands and
    carries no metadata. `notes` are half-sentences about what had to be assumed or changed. `codes` (h, w, bands) are
    the same memory as `image`, where they are at hand.
    """

    image: pyvips.Image
    icc_profile: bytes
    notes: tuple[str, ...]
    codes: NDArray[Any] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """An image over an array that was filled once; it has no metadata: nothing may travel on by accident."""

    image: pyvips.Image
    codes: NDArray[Any]

    @classmethod
    def of(cls, image: pyvips.Image, codes: NDArray[Any] | None = None) -> _Held:
        """Return an image worked out, or over the codes that it has where they are at hand. Raises pyvips.Error."""
        import pyvips  # noqa: PLC0415 (heavy; only verbs that decode load it)

        if codes is None:
            codes = image.numpy().reshape(image.height, image.width, image.bands)
        held = pyvips.Image.new_from_memory(codes, image.width, image.height, image.bands, image.format)
        return cls(held.copy(interpretation=image.interpretation), codes)

    def as_seen(self, image: pyvips.Image) -> _Held:
        """Return this, or what was made of it since."""
        return self if image is self.image else _Held.of(image)


def decode(header: Header, *, name: str) -> Pixels:
    """Return the pixels of the frame that `header` describes; all of it in memory, decoded once.

    Palettes and 1, 2 and 4 bits become 8 bits; 10 and 12 bits become 16; 16 stay 16. Transparency is laid
    on white in encoded values. Raises FrameUnreadable where a part is missing or damaged (grey bands are
    never returned), where the file has changed since its header was read, and for CMYK without a profile.
    """
    try:
        if header.format == "raw":
            image, notes = develop(header, name=name)
            held = _Held.of(image)
            return Pixels(held.image, write_matrix_profile(ROMM), notes, held.codes)
        held, shape_notes = _decoded(header, name)
    except OSError as error:
        raise refusal.unopened(name, error) from error
    image = held.image
    icc_profile, colour_note = _colour(header.icc_profile, image.bands, name)
    if image.bands == 1 and colour_note:
        image = image.bandjoin([image, image]).copy(interpretation="rgb16" if image.format == "ushort" else "srgb")
    colour_notes = (colour_note,) if colour_note else ()
    held = held.as_seen(_upright(image, header.orientation))
    return Pixels(held.image, icc_profile, colour_notes + shape_notes, held.codes)


def _decoded(header: Header, name: str) -> tuple[_Held, tuple[str, ...]]:
    """Return colour bands only, as stored (not yet upright), in memory, and what was done to get there."""
    import pyvips  # noqa: PLC0415 (heavy; only verbs that decode load it)

    try:
        is_heic = header.format == "heic"
        if header.format in ("avif", "heic") and _lacks_tiles(header.path):
            raise refusal.unreadable(name, refusal.CUT_SHORT)
        image = decode_heic(header.path, name=name) if is_heic else open_lazily(header.path, header.format)
        if not _is_as_described(image, header):
            raise refusal.unreadable(name, "has changed since its header was read", "run again")
        if header.format in ("avif", "heic") and header.bits > 8:
            image = _full_scale(image, header.bits)
        held = _Held.of(image, SHORTER[header.format](image, header.path) if header.format in SHORTER else None)
    except (pyvips.Error, Damaged) as error:
        with header.path.open("rb") as stream:
            cut = is_cut_short(stream, header.format)
        raise refusal.unreadable(name, refusal.CUT_SHORT if cut else "is damaged") from error
    notes = []
    if pages := _other_pictures(image):
        notes.append(f"the first of {pages} pictures in the file taken")
    colour, whole = colour_bands(image) or image.bands, held.image
    if image.bands > colour + header.alpha:
        notes.append(EXTRA_LEFT_OUT)
    if not header.alpha:
        return held.as_seen(whole[:colour] if image.bands > colour else whole), tuple(notes)
    if whole[colour].min() < _white(image):
        notes.append(LAID_ON_WHITE)
    return _Held.of(_on_white(whole, colour)), tuple(notes)


def _lacks_tiles(path: Path) -> bool:
    with path.open("rb") as stream:
        return items.lack_data(stream)


def _is_as_described(image: pyvips.Image, header: Header) -> bool:
    size = header.size
    stored = (size.height, size.width) if header.orientation >= 5 else (size.width, size.height)
    return (image.width, image.height) == stored and image.bands == header.bands and colour_bands(image) is not None


def _other_pictures(image: pyvips.Image) -> int:
    """Return how many pictures the file holds where it is more than one, else 0."""
    count = image.get_n_pages()
    return count if count > 1 else 0


def _white(image: pyvips.Image) -> int:
    return 65535 if image.format == "ushort" else 255


def _full_scale(image: pyvips.Image, bits: int) -> pyvips.Image:
    """Return 10- or 12-bit values, which libvips shifts up and leaves short of white, spread over 0..65535."""
    top = (2**bits - 1) << (16 - bits)
    return (image * (65535 / top)).rint().cast("ushort").copy(interpretation=image.interpretation)


def _on_white(image: pyvips.Image, colour: int) -> pyvips.Image:
    """Return the colour bands over white paper, rounded to the nearest level; for CMYK white is no ink."""
    white = _white(image)
    paper = 0 if image.interpretation == "cmyk" else white
    cover = image[colour].cast("double") / white  # double: single precision would round some halves the wrong way
    laid = (image[:colour] * cover + paper * (1 - cover)).rint().cast(image.format)
    return laid.copy(interpretation=image.interpretation)


def _upright(image: pyvips.Image, orientation: int) -> pyvips.Image:
    """Return the image turned by Exif orientation 1..8 (CIPA DC-008, tag 0x0112)."""
    turned = {3: "d180", 5: "d90", 6: "d90", 7: "d90", 8: "d270"}
    mirrored = {2: "horizontal", 4: "vertical", 5: "horizontal", 7: "vertical"}
    if orientation == 1:
        return image
    if angle := turned.get(orientation):
        image = image.rot(angle)
    if direction := mirrored.get(orientation):
        image = image.flip(direction)
    return image


def _colour(icc_profile: bytes | None, bands: int, name: str) -> tuple[bytes, str | None]:
    """Return the profile to read the pixels by, and the note where it had to be assumed.

    Raises FrameUnreadable for CMYK without a usable profile: its numbers mean nothing then.
    """
    if icc_profile and _is_usable(icc_profile, bands):
        return icc_profile, None
    if bands == 4:
        found = "is CMYK with a broken ICC profile" if icc_profile else "is CMYK without an ICC profile"
        if icc_profile and channel_count(icc_profile) not in (None, bands):
            found = "is CMYK with an ICC profile for another kind of picture"
        raise refusal.unreadable(name, found, "export it with its CMYK profile embedded, or as RGB")
    note = TAKEN_AS_SRGB
    if icc_profile:
        note = BROKEN_PROFILE if channel_count(icc_profile) in (None, bands) else OTHER_PROFILE
    return write_matrix_profile(SRGB), note


def _is_usable(icc_profile: bytes, bands: int) -> bool:
    """Return whether the profile is for so many bands and can be read."""
    return channel_count(icc_profile) == bands and to_connection_space(icc_profile, "relative") is not None
