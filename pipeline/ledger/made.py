"""What the ledger knows about one delivered file."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Made:
    """One file that was made: its place below the output folder, its keys, and what was measured.

    `identity` names what the file is for (`frame file | outlet/target | width | format`) whatever the
    file is called. `pixel_key` is the digest over everything that decides pixels, `metadata_key` over
    everything that decides the metadata. `outside_gamut` is the share (0..1) of pixels outside the
    target's colour space before clipping, `average` the mean of the picture's light as a CSS colour ("#rrggbb");
    `picture_sha256` is the digest over all that decides its pixels, whatever its metadata says. `quality` is the
    encoder's quality (1..100) that was used, `fidelity` the likeness to the picture before encoding, `total_ink`
    the most ink of any place in per cent of one ink's full coverage, `heavy_ink` what all but one pixel in a thousand
    stay within, `ink_over` the share (0..1) of pixels above the target's limit. None where it was not measured.
    """

    path: str
    identity: str
    pixel_key: str
    metadata_key: str
    sha256: str
    size_bytes: int
    mtime_ns: int
    outside_gamut: float | None
    average: str | None = None
    picture_sha256: str | None = None
    quality: int | None = None
    fidelity: float | None = None
    total_ink: float | None = None
    heavy_ink: float | None = None
    ink_over: float | None = None
