"""Pictures damaged in known ways, and what the reference tool of SSIMULACRA 2 says of them.

`python -m tests.render.reference_scores TOOL` measures them with the tool TOOL (`ssimulacra2` of libjxl 0.9 or newer)
and prints the table that stands in `tests/data/ssimulacra2_tool.csv`. All damage is arithmetic, so that the pixels are
the same everywhere; the photographs are PNG files that scikit-image ships.
"""

from __future__ import annotations

import csv
import io
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import skimage.data
from numpy.typing import NDArray
from PIL import Image
from scipy import fft

from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import DISPLAY_P3, SRGB

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.light.spaces import RGBSpace

Codes = NDArray[np.uint8]

TABLE = Path(__file__).parents[1] / "data" / "ssimulacra2_tool.csv"
SPACES = {"srgb": SRGB, "display-p3": DISPLAY_P3}

# ITU-T T.81, tables K.1 and K.2: steps of lightness and of chroma.
LIGHTNESS_STEPS = """
16 11 10 16 24 40 51 61 12 12 14 19 26 58 60 55 14 13 16 24 40 57 69 56 14 17 22 29 51 87 80 62
18 22 37 56 68 109 103 77 24 35 55 64 81 104 113 92 49 64 78 87 103 121 120 101 72 92 95 98 112 100 103 99
"""
CHROMA_STEPS = """
17 18 24 47 99 99 99 99 18 21 26 66 99 99 99 99 24 26 56 99 99 99 99 99 47 66 99 99 99 99 99 99
99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99 99
"""
# ITU-T T.871: codes of red, green and blue to lightness and two differences.
TO_YCC = np.array([[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])


@dataclass(frozen=True, slots=True)
class Case:
    """A photograph, what was done to it and how much, the space that its codes are taken to be in."""

    photograph: str
    damage: str
    strength: float
    space: RGBSpace

    @property
    def original(self) -> Codes:
        """Return the photograph, (height, width, 3); "chelsea x 3" is it three times across and down."""
        name, _, times = self.photograph.partition(" x ")
        codes: Codes = np.tile(np.asarray(getattr(skimage.data, name)()), (int(times or 1), int(times or 1), 1))
        return codes

    @property
    def delivered(self) -> Codes:
        """Return the damaged photograph."""
        return DAMAGES[self.damage](self.original, self.strength)


def blocks(codes: Codes, quality: float) -> Codes:
    """Return pixels after the steps of baseline JPEG at a quality (1..100), chroma at full size."""
    height, width = (side - side % 8 for side in codes.shape[:2])
    scale = (5000 / quality if quality < 50 else 200 - 2 * quality) / 100
    ycc = codes[:height, :width] @ TO_YCC.T
    ycc[..., 0] -= 128
    for plane, text in enumerate((LIGHTNESS_STEPS, CHROMA_STEPS, CHROMA_STEPS)):
        steps = np.clip(np.round(np.array(text.split(), float).reshape(8, 8) * scale), 1, 255)
        cut = ycc[..., plane].reshape(height // 8, 8, width // 8, 8).transpose(0, 2, 1, 3)
        rounded = np.round(fft.dctn(cut, axes=(2, 3), norm="ortho") / steps) * steps
        back = fft.idctn(rounded, axes=(2, 3), norm="ortho").transpose(0, 2, 1, 3)
        ycc[..., plane] = back.reshape(height, width)
    ycc[..., 0] += 128
    found = codes.copy()
    found[:height, :width] = np.clip(np.round(ycc @ np.linalg.inv(TO_YCC).T), 0, 255)
    return found


def noise(codes: Codes, sigma: float) -> Codes:
    """Return pixels with noise of a standard deviation in codes."""
    drawn = np.random.Generator(np.random.PCG64(7)).integers(-1000, 1001, codes.shape) / 577.4
    return np.clip(np.round(codes + sigma * drawn), 0, 255).astype(np.uint8)


def blur(codes: Codes, share: float) -> Codes:
    """Return pixels that each give a share of their light to the four beside them."""
    light = codes.astype(float)
    around = sum(np.roll(light, step, axis) for step in (-1, 1) for axis in (0, 1)) / 4
    return np.round((1 - share) * light + share * around).astype(np.uint8)


def half_chroma(codes: Codes, times: float) -> Codes:
    """Return pixels whose chroma was averaged over squares of so many pixels."""
    side = int(times)
    height, width = (length - length % side for length in codes.shape[:2])
    ycc = codes[:height, :width] @ TO_YCC.T
    small = ycc.reshape(height // side, side, width // side, side, 3).mean(axis=(1, 3))
    ycc[..., 1:] = small.repeat(side, axis=0).repeat(side, axis=1)[..., 1:]
    found = codes.copy()
    found[:height, :width] = np.clip(np.round(ycc @ np.linalg.inv(TO_YCC).T), 0, 255)
    return found


DAMAGES = {"blocks": blocks, "noise": noise, "blur": blur, "half-chroma": half_chroma}


def cases() -> Iterator[tuple[Case, float]]:
    """Yield every case with the tool's score, as the table has them."""
    with TABLE.open(newline="", encoding="utf-8") as stream:
        for row in csv.DictReader(line for line in stream if not line.startswith("#")):
            space = SPACES[row["space"]]
            yield Case(row["photograph"], row["damage"], float(row["strength"]), space), float(row["score"])


def wanted() -> Iterator[Case]:
    """Yield what the table holds."""
    for photograph in ("coffee", "chelsea", "astronaut"):
        for quality in (20, 40, 60, 75, 85, 92, 96):
            yield Case(photograph, "blocks", quality, SRGB)
        yield from (Case(photograph, "noise", sigma, SRGB) for sigma in (1, 4, 12))
        yield from (Case(photograph, "blur", share, SRGB) for share in (0.1, 0.5))
        yield from (Case(photograph, "half-chroma", side, SRGB) for side in (2, 4))
    yield from (Case("coffee", "blocks", quality, DISPLAY_P3) for quality in (60, 85))
    yield from (Case(f"chelsea x {times}", "blocks", quality, SRGB) for times in (3, 5) for quality in (40, 75, 92))


def measured(tool: str, case: Case) -> float:
    """Return the tool's score of a case."""
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / name for name in ("original.png", "delivered.png")]
        profile = None if case.space is SRGB else write_matrix_profile(case.space)
        for file, codes in zip(files, (case.original, case.delivered), strict=True):
            Image.fromarray(codes).save(file, icc_profile=profile)
        done = subprocess.run([tool, *map(str, files)], capture_output=True, text=True, check=True)
    return float(done.stdout)


def main() -> None:
    """Print the table."""
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(("photograph", "damage", "strength", "space", "score"))
    names = {space: name for name, space in SPACES.items()}
    for case in wanted():
        score = measured(sys.argv[1], case)
        writer.writerow((case.photograph, case.damage, f"{case.strength:g}", names[case.space], f"{score:.4f}"))
    print(table.getvalue(), end="")  # noqa: T201 (it is what the command is for)


if __name__ == "__main__":
    main()
