"""Connected parts of a mask."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture

# Each pixel and its neighbour on one side, for each of the four sides.
SIDES = (
    (np.s_[1:, :], np.s_[:-1, :]),
    (np.s_[:-1, :], np.s_[1:, :]),
    (np.s_[:, 1:], np.s_[:, :-1]),
    (np.s_[:, :-1], np.s_[:, 1:]),
)


def labelled(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return a number for each connected part (by sides) of a mask, the same all over it; 0 outside."""
    labels = np.where(mask, np.arange(1, mask.size + 1).reshape(mask.shape), 0)
    before = np.zeros_like(labels)
    while not np.array_equal(before, labels):
        before = labels.copy()
        for here, there in SIDES:
            np.maximum(labels[here], labels[there], out=labels[here], where=mask[here])
    return labels


def heaviest(mask: NDArray[np.bool_], weight: Picture) -> NDArray[np.bool_]:
    """Return the connected part of a mask over which `weight` adds up to most; nothing where the mask is empty."""
    labels = labelled(mask)
    sums = np.bincount(labels.ravel(), weights=np.where(mask, weight, 0.0).ravel())
    sums[0] = -1.0
    return np.asarray((labels == int(sums.argmax())) & mask)
