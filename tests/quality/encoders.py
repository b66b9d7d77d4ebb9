"""What each encoder's effort and options cost and save, and when chroma may be halved: tables of docs/encoding.md."""

from __future__ import annotations

import time
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.render.budget import CHROMAS, measure
from pipeline.render.chroma import MOST_LOSS, halving_loss
from pipeline.render.encode import AVIF_OPTIONS, JPEG_OPTIONS, WEBP_OPTIONS, encode
from tests.quality.figure import line
from tests.quality.shoot import Finished, finished_pictures
from tests.render.reference_scores import cases

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from pipeline.plan.rendition import OutputFormat
    from pipeline.render.encode import Chroma
    from pipeline.render.picture import Picture

    Save = Callable[[Picture, int], bytes]

# Four pictures of different kinds: small detail in strong colours, smooth and red, overexposed, upright and calm.
SAMPLE = (
    "bowl-from-above/blog/hero",
    "vine-tomatoes/blog/step",
    "bowl-in-window-light/partner/proof",
    "bowl-and-flatbread/feed/tall",
)
WIDTHS = (720, 800, 1000, 1080)
AT = 85.0
CURVE = {"jpeg": (60, 75, 85, 91, 96), "webp": (60, 80, 90, 94, 98), "avif": (45, 60, 72, 82, 90)}
TYPICAL_CURVE: dict[OutputFormat, tuple[int, ...]] = {
    "jpeg": (30, 60, 80, 88, 95, 100),
    "webp": (30, 60, 82, 90, 95, 100),
    "avif": (30, 45, 62, 75, 85, 95, 100),
}
SCORES = (65.0, 75.0, 80.0, 85.0, 88.0)


def sample() -> list[Finished]:
    """Return the four pictures."""
    return [one for one in finished_pictures(full=True) if one.name in SAMPLE and one.picture.image.width in WIDTHS]


def curve(save: Save, picture: Picture, qualities: Sequence[int]) -> list[tuple[float, int, float]]:
    """Return fidelity, bytes and seconds of processor time of a picture at each quality."""
    found = []
    for quality in qualities:
        began = time.process_time()
        data = save(picture, quality)
        seconds = time.process_time() - began
        found.append((measure(picture, data) or 0.0, len(data), seconds))
    return found


def bytes_at(points: Sequence[tuple[float, int, float]], fidelity: float) -> float | None:
    """Return the bytes that a curve has at a fidelity, between its points; None outside them."""
    ordered = sorted(points)
    scores, sizes = [point[0] for point in ordered], [np.log(point[1]) for point in ordered]
    if not scores[0] <= fidelity <= scores[-1]:
        return None
    return float(np.exp(np.interp(fidelity, scores, sizes)))


def saving(options: Mapping[str, Any], save: str) -> Save:
    """Return an encoder of libvips with options in place of ours."""
    return lambda picture, quality: getattr(picture.image, f"{save}_buffer")(Q=quality, keep="none", **options)


def variants() -> Iterator[tuple[OutputFormat, str, Save, bool]]:
    """Yield each encoder's way to be tried: format, what is different, how it saves, whether it is what we use."""
    jpeg = partial(saving, save="jpegsave")
    plain = {"optimize_coding": True, "subsample_mode": "off"}
    ways: dict[str, dict[str, Any]] = {
        "baseline, optimised tables (paper)": plain,
        "progressive": {**plain, "interlace": True},
        "and scans in the best order": {**plain, "interlace": True, "optimize_scans": True},
        "and trellis": {**JPEG_OPTIONS, "subsample_mode": "off"},
    }
    for words, options in ways.items():
        yield "jpeg", words, jpeg(options), "trellis" in words
    for effort in (2, 4, 5, 6):
        options = {**WEBP_OPTIONS, "effort": effort}
        yield "webp", f"effort {effort}", saving(options, "webpsave"), effort == WEBP_OPTIONS["effort"]
    yield "webp", "effort 4, preset for photographs", saving({**WEBP_OPTIONS, "preset": "photo"}, "webpsave"), False
    yield "webp", "effort 4, plain subsampling", saving({**WEBP_OPTIONS, "smart_subsample": False}, "webpsave"), False
    for effort in (0, 1, 2, 3, 4):
        options = {**AVIF_OPTIONS, "effort": effort}
        yield "avif", f"effort {effort}", saving(options, "heifsave"), effort == AVIF_OPTIONS["effort"]


def efforts() -> Iterator[str]:
    """Yield the table of efforts: seconds a megapixel, bytes at one fidelity by those of the way that we use."""
    pictures = [one.picture for one in sample()]
    megapixels = sum(one.megapixels for one in sample())
    found = [
        (output_format, words, ours, [curve(save, picture, CURVE[output_format]) for picture in pictures])
        for output_format, words, save, ours in variants()
    ]
    yield line(("encoder", "way", "seconds a megapixel", f"bytes at fidelity {AT:g}, by ours", ""))
    yield line("---" for _ in range(5))
    for output_format, words, ours, curves in found:
        chosen = next(one[3] for one in found if one[0] == output_format and one[2])
        seconds = sum(point[2] for points in curves for point in points) / len(CURVE[output_format]) / megapixels
        pairs = [(bytes_at(points, AT), bytes_at(base, AT)) for points, base in zip(curves, chosen, strict=True)]
        shares = [one / other for one, other in pairs if one and other]
        share = f"{np.mean(shares):.3f}" if len(shares) == len(pairs) else "not reached by all"
        yield line((output_format.upper(), words, f"{seconds:.2f}", share, "**ours**" if ours else ""))


def _jpeg(picture: Picture, quality: int, chroma: Chroma) -> bytes:
    return encode(picture, "jpeg", quality, chroma)


def chroma() -> Iterator[str]:
    """Yield the table of halved chroma: the loss measured, and the bytes of 4:2:0 by those of 4:4:4 at one fidelity."""
    yield line(("picture", "loss", *(f"bytes at {score:g}" for score in SCORES), "may be halved"))
    yield line("---" for _ in range(len(SCORES) + 3))
    rows = []
    for one in finished_pictures(full=True):
        if one.picture.image.width not in {480, 1000, 1080, 1200, 1440}:
            continue
        curves = [curve(partial(_jpeg, chroma=chroma), one.picture, (40, 55, 68, 78, 85, 90, 95)) for chroma in CHROMAS]
        pairs = [(bytes_at(curves[1], score), bytes_at(curves[0], score)) for score in SCORES]
        loss = halving_loss(one.picture.image.numpy())
        rows.append((loss, str(one), ["" if not (a and b) else f"{a / b:.2f}" for a, b in pairs]))
    for loss, name, shares in sorted(rows):
        yield line((name, f"{loss:.1f}", *shares, "yes" if loss <= MOST_LOSS else ""))


def chroma_avif() -> Iterator[str]:
    """Yield the same of AVIF, for the pictures whose chroma JPEG may halve."""
    yield line(("picture", "loss", *(f"bytes at {score:g}" for score in SCORES)))
    yield line("---" for _ in range(len(SCORES) + 2))
    for one in finished_pictures(full=True):
        loss = halving_loss(one.picture.image.numpy())
        if one.picture.image.width not in {1000, 1080, 1440} or loss > MOST_LOSS:
            continue
        curves = [
            curve(
                saving({**AVIF_OPTIONS, "subsample_mode": mode}, "heifsave"), one.picture, (35, 45, 55, 65, 75, 85, 93)
            )
            for mode in ("off", "on")
        ]
        pairs = [(bytes_at(curves[1], score), bytes_at(curves[0], score)) for score in SCORES]
        yield line((str(one), f"{loss:.1f}", *("" if not (a and b) else f"{a / b:.2f}" for a, b in pairs)))


def typical() -> Iterator[str]:
    """Yield fidelity and bits a pixel by quality: the mean over the pictures of 700 to 1100 px."""
    pictures = [one for one in finished_pictures(full=True) if 700 <= one.picture.image.width <= 1100]
    yield line(("encoder", "quality", "fidelity, lowest", "mean", "highest", "bits a pixel, mean"))
    yield line("---" for _ in range(6))
    for output_format, qualities in TYPICAL_CURVE.items():
        for quality in qualities:
            files = [(one, encode(one.picture, output_format, quality)) for one in pictures]
            scores = [measure(one.picture, data) or 0.0 for one, data in files]
            bits = [8 * len(data) / one.megapixels / 1e6 for one, data in files]
            yield line(
                (
                    output_format.upper(),
                    str(quality),
                    *(f"{value:.1f}" for value in (min(scores), np.mean(scores), max(scores))),
                    f"{np.mean(bits):.2f}",
                )
            )


def agreement() -> Iterator[str]:
    """Yield our score beside the reference tool's."""
    from pipeline.render.fidelity import score  # noqa: PLC0415 (this table alone needs it)

    yield line(("photograph", "damage", "strength", "reference tool", "ours", "difference"))
    yield line("---" for _ in range(6))
    for case, expected in cases():
        found = score(case.original, case.delivered, case.space)
        space = "" if case.space.name == "sRGB" else f", {case.space.name}"
        yield line(
            (
                f"{case.photograph}{space}",
                case.damage,
                f"{case.strength:g}",
                f"{expected:.2f}",
                f"{found:.2f}",
                f"{found - expected:+.2f}",
            )
        )


TABLES = {"efforts": efforts, "chroma": chroma, "chroma-avif": chroma_avif, "typical": typical, "agreement": agreement}
