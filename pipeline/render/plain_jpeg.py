"""JPEG with the tables that its standard prints, by libjpeg-turbo: the bytes of libvips, in three quarters of its time.

The extra `plateline[fast]` brings the encoder; where it is not installed libvips does all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.render.containers.jpeg import profile_segments

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pipeline.render.encode import Chroma

SUBSAMPLING: dict[Chroma, str] = {"4:4:4": "444", "4:2:0": "420"}
COLOURS = (1, 3)
START = b"\xff\xd8"


def plain_jpeg(codes: NDArray[np.uint8], icc_profile: bytes, quality: int, chroma: Chroma) -> bytes | None:
    """Return codes (h, w, 1 or 3; grey or RGB) as a baseline JPEG file with a profile; `quality` is 1..100.

    None where the encoder is not installed, for other colours (CMYK), and for what it refuses: libvips says why.
    """
    try:
        import imagecodecs  # noqa: PLC0415 (an extra; only runs that encode load it)

        encode = imagecodecs.jpeg8_encode
    except (ImportError, AttributeError):  # AttributeError: built without this codec
        return None
    bands = codes.shape[2]
    if bands not in COLOURS:
        return None
    try:
        plain = codes[..., 0] if bands == 1 else codes
        encoded = encode(plain, level=quality, subsampling=SUBSAMPLING[chroma] if bands > 1 else None)
    except (ValueError, RuntimeError):
        return None
    return b"".join((START, profile_segments(icc_profile), memoryview(encoded)[len(START) :]))
