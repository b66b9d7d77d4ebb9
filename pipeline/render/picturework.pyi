from collections.abc import Callable
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

Way: TypeAlias = Callable[
    [tuple[NDArray[Any], int, int, int, int], NDArray[np.float32] | None, list[Picture], int, int],
    list[tuple[int, tuple[float, float, float]]],
]

# The frame's codes, their depth, bands, width, height; its tables; the pictures; which strip of how many.
make: Way
make_eight: Way
make_plain: Way
