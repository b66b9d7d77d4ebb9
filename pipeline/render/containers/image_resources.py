"""Image resources, the blocks in which JPEG and TIFF carry IIM and its digest.

Source: XMP Specification Part 3 (2020) 3.1.3 (a resource: "8BIM", number, name, length, data, even) and Table 36:
1028 (0x0404) holds IIM, 1061 (0x0425) the MD5 of the IIM. A reader that finds the digest true knows that IIM
and XMP were written together, and takes the XMP, where nothing is cut.
"""

from __future__ import annotations

import hashlib

from pipeline.render.containers.ifd import even

_IIM, _IIM_DIGEST = 0x0404, 0x0425
_NO_NAME = b"\0\0"


def iim_resource(iim: bytes) -> bytes:
    """Return the resource that holds an IIM block."""
    return _resource(_IIM, iim)


def digest_resource(iim: bytes) -> bytes:
    """Return the resource that holds the digest of an IIM block."""
    return _resource(_IIM_DIGEST, hashlib.md5(iim, usedforsecurity=False).digest())


def _resource(number: int, data: bytes) -> bytes:
    return b"8BIM" + number.to_bytes(2, "big") + _NO_NAME + len(data).to_bytes(4, "big") + even(data)
