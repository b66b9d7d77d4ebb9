"""Telling how far a run is: one line that moves on a terminal, plain lines in a pipe, nothing when quiet."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import TextIO

CLEAR_LINE = "\r\x1b[K"


class Progress:
    """Counts frames, and files where there are any, as they are done. Time left is judged by the weight done."""

    def __init__(
        self, stream: TextIO, *, frames: int, weight: int, files: int | None = None, quiet: bool = False
    ) -> None:
        self._stream = stream
        self._moving = stream.isatty()
        self._quiet = quiet
        self._frames, self._files, self._weight = frames, files, weight
        self._frames_done = self._files_done = self._weight_done = 0
        self._started = time.monotonic()

    def expect(self, *, frames: int, files: int, weight: int) -> None:
        """Note that there is more to do; the time left is judged from where the first work began."""
        if not self._frames_done:
            self._started = time.monotonic()
        self._frames += frames
        self._files = (self._files or 0) + files
        self._weight += weight

    def frame_done(self, name: str, files: int = 0, weight: int = 1) -> None:
        """Note a finished frame."""
        self._frames_done += 1
        self._files_done += files
        self._weight_done += weight
        if self._quiet:
            return
        line = f"{self._frames_done} of {self._frames} frames"
        line += f", {self._files_done} of {self._files} files" if self._files is not None else ""
        shown = "".join(letter if letter.isprintable() else "?" for letter in name)
        if self._moving:
            from shutil import get_terminal_size  # noqa: PLC0415 (it loads what packs files; pipes need none of it)

            width = get_terminal_size().columns - 1  # a line that wraps could not be cleared
            self._stream.write(CLEAR_LINE + f"{line}{self._left()}: {shown}"[:width])
            if self._frames_done == self._frames:
                self._stream.write(CLEAR_LINE)
        else:
            self._stream.write(f"{line}: {shown}\n")
        self._stream.flush()

    def _left(self) -> str:
        spent = time.monotonic() - self._started
        left = spent * (self._weight - self._weight_done) / max(self._weight_done, 1)
        return f", about {left:.0f} s left" if left >= 1 else ""
