"""How the same is done to each of a few things: one after the other here, side by side where cores are free."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Item = TypeVar("Item")
Result = TypeVar("Result")


class Each(Protocol):
    """Do the same to each of some things, which do not need each other; return what came of them, in their order."""

    def __call__(self, do: Callable[[Item], Result], items: Sequence[Item], /) -> list[Result]:
        """Raise what was raised for the first of those that raised something."""


def in_turn(do: Callable[[Item], Result], items: Sequence[Item], /) -> list[Result]:
    """Do it to one after the other."""
    return [do(item) for item in items]
