"""Reading bytes of strangers in order, never past their end."""

from __future__ import annotations

from typing import Literal

Order = Literal["big", "little"]


class Reader:
    """A place in some bytes; every step is checked against their end."""

    def __init__(self, data: bytes, what: str, order: Order = "big", at: int = 0) -> None:
        self.data, self.what, self.order, self.at = data, what, order, at

    @property
    def left(self) -> int:
        """Return how many bytes are still to come."""
        return max(0, len(self.data) - self.at)

    def take(self, count: int) -> bytes:
        """Return the next bytes; ValueError where there are not as many."""
        if count < 0 or count > self.left:
            raise ValueError(f"{self.what} is cut short at byte {self.at}")
        self.at += count
        return self.data[self.at - count : self.at]

    def number(self, width: int) -> int:
        """Return the next unsigned number of `width` bytes; ValueError at the end."""
        return int.from_bytes(self.take(width), self.order)


def shown(name: bytes) -> str:
    """Return a name of bytes (a chunk, a box) so that it can be printed."""
    return name.decode("latin-1").encode("unicode_escape").decode("ascii").strip()
