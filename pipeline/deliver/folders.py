"""The output folders of the shoots at work: each held against other runs, few of their ledgers open at a time."""

from __future__ import annotations

from contextlib import ExitStack
from typing import TYPE_CHECKING, Self

from pipeline.deliver.place import alone_in
from pipeline.ledger.book import Ledger, file_id, taken_away

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

MOST_OPEN = 8  # an open ledger takes three files of the 256 that some systems give a process


class Folders:
    """Locks and ledgers by output folder. Use as a context manager, which lets go of all of them."""

    def __init__(self) -> None:
        self._locks: dict[Path, ExitStack] = {}
        self._open: dict[Path, Ledger] = {}  # the one used last stands last
        self._known: dict[Path, tuple[int, int] | None] = {}

    def __enter__(self) -> Self:
        """Return it, holding nothing yet."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let go of every folder."""
        for out in tuple(self._locks):
            self.let_go(out)

    def hold(self, out: Path) -> None:
        """Hold a folder. Raises `RequestRefused` where another run does, and OSError."""
        with ExitStack() as lock:
            lock.enter_context(alone_in(out))
            self._locks[out] = lock.pop_all()

    def ledger(self, out: Path) -> Ledger:
        """Return the open ledger of a folder that is held; it may be closed when another folder's is asked for.

        Raises `RequestRefused` for what is no ledger, and OSError where it was taken away meanwhile.
        """
        ledger = self._open.pop(out, None) or self._opened(out)
        self._open[out] = ledger
        if len(self._open) > MOST_OPEN:
            self._open.pop(next(iter(self._open))).close()
        return ledger

    def _opened(self, out: Path) -> Ledger:
        """Open a ledger; one that was open before must be the very file that it was then."""
        if out in self._known and file_id(out) != self._known[out]:
            raise taken_away(out)
        ledger = Ledger(out)
        self._known[out] = file_id(out)
        return ledger

    def let_go(self, out: Path) -> None:
        """Let go of a folder, if it is held."""
        if out in self._open:
            self._open.pop(out).close()
        if out in self._locks:
            self._locks.pop(out).close()
