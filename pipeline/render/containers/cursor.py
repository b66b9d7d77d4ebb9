"""Reading numbers from bytes that may be cut short or wrong."""

from __future__ import annotations

from typing import Literal


class Cursor:
    """A place in some bytes that moves on with each reading.

    `what` names the bytes in messages ("JPEG file", "iloc box"). Whatever asks for more than is there
    raises ValueError; nothing here raises IndexError or struct.error.
    """

    def __init__(self, data: bytes, what: str, order: Literal["big", "little"] = "big", at: int = 0) -> None:
        self.data = data
        self.what = what
        self.order = order
        self.at = at

    @property
    def left(self) -> int:
        """Return how many bytes are still to come."""
        return max(len(self.data) - self.at, 0)

    def take(self, count: int) -> bytes:
        """Return the next `count` bytes and move past them."""
        if count < 0 or self.at < 0 or self.at + count > len(self.data):
            raise ValueError(f"{self.what} is cut short: {count} bytes wanted at byte {self.at}, {self.left} left")
        start, self.at = self.at, self.at + count
        return self.data[start : self.at]

    def number(self, width: int) -> int:
        """Return the next unsigned number of `width` bytes (0 bytes are the number 0)."""
        return int.from_bytes(self.take(width), self.order)
