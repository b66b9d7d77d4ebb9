"""How many threads may be at the work of this process: one, until cores stand idle and it is told of them.

What of a frame's work does not need each other (strips of its pictures, its files) is then shared among threads: codecs
and the sweep let others run meanwhile. What comes of it is the same, however many there are and whenever they come.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from typing import TYPE_CHECKING, Any, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Item = TypeVar("Item")
Result = TypeVar("Result")


class Cores:
    """The threads that may be at work, and what they may help with at this moment."""

    def __init__(self) -> None:
        self._most = 1
        self._under_way: list[_Shared[Any, Any]] = []
        self._lock = threading.Lock()

    def allow(self, threads: int) -> None:
        """Let so many threads be at work from now on, also at what is under way; those that are at it stay."""
        with self._lock:
            self._most = threads
            for shared in self._under_way:
                shared.take_help(threads - 1)

    def each(self, do: Callable[[Item], Result], items: Sequence[Item], /) -> list[Result]:
        """Do the same to each of some things, by this thread and as many others as may help; see `Each`.

        They are begun in their order.
        """
        shared = _Shared(do, items)
        with self._lock:
            self._under_way.append(shared)
            shared.take_help(self._most - 1)
        try:
            shared.work()
        finally:
            with self._lock:
                self._under_way.remove(shared)
            shared.join()
        return shared.results()


class _Shared(Generic[Item, Result]):
    """Things to be done, and what came of those that are."""

    def __init__(self, do: Callable[[Item], Result], items: Sequence[Item]) -> None:
        self._do = do
        self._waiting = deque(enumerate(items))
        self._came: dict[int, Result] = {}
        self._raised: dict[int, BaseException] = {}
        self._helpers: list[threading.Thread] = []

    def take_help(self, threads: int) -> None:
        """Let so many threads help as long as anything waits, or as many as can be had."""
        for _ in range(min(threads - len(self._helpers), len(self._waiting))):
            helper = threading.Thread(target=self.work, daemon=True)
            with contextlib.suppress(RuntimeError):
                helper.start()
                self._helpers.append(helper)

    def work(self) -> None:
        """Do what waits, one after the other; once something was raised, nothing more is begun."""
        while True:
            try:
                place, item = self._waiting.popleft()
            except IndexError:
                return
            try:
                self._came[place] = self._do(item)
            except BaseException as error:  # noqa: BLE001 (whatever it is, it is raised where all come together)
                self._raised[place] = error
                self._waiting.clear()

    def join(self) -> None:
        """Wait for those that help."""
        for helper in self._helpers:
            helper.join()

    def results(self) -> list[Result]:
        """Return what came of each; raise what was raised for the first."""
        if self._raised:
            raise self._raised[min(self._raised)]
        return [self._came[place] for place in range(len(self._came))]


CORES = Cores()
