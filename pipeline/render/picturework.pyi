from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Picture: TypeAlias = tuple[
    bool,
    tuple[int, int, int, int],
    tuple[int, int],
    tuple[tuple[NDArray[np.int32], NDArray[np.float32], int], ...] | None,
    float,
    NDArray[np.float32],
    tuple[NDArray[np.float32] | None, int, float, float, float],
    int,
    NDArray[np.uint8] | None,
    NDArray[Any],
]

def make(
    frame: tuple[NDArray[Any], int, int, int, int],
    tables: NDArray[np.float32] | None,
    pictures: list[Picture],
    strip: int,
    strips: int,
    /,
) -> list[tuple[int, tuple[float, float, float]]]: ...
def make_eight(
    frame: tuple[NDArray[Any], int, int, int, int],
    tables: NDArray[np.float32] | None,
    pictures: list[Picture],
    strip: int,
    strips: int,
    /,
) -> list[tuple[int, tuple[float, float, float]]]: ...
def make_plain(
    frame: tuple[NDArray[Any], int, int, int, int],
    tables: NDArray[np.float32] | None,
    pictures: list[Picture],
    strip: int,
    strips: int,
    /,
) -> list[tuple[int, tuple[float, float, float]]]: ...
