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
    `picture_sha256` is the digest over all that decides its pixels, whatever its metadata says. None where it was
    not measured.
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
