"""What a reviewer does: the keyboard alone, or fingers."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

MOST_TABS = 200


def tab_to(page: Page, selector: str, *, back: bool = False) -> Locator:
    """Press Tab until an element that the selector names holds the focus; return it."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Shift+Tab" if back else "Tab")
        found = page.locator(f":focus:is({selector})")
        if found.count():
            return found
    raise AssertionError(f"{MOST_TABS} presses of Tab lead to no {selector}")


def press(page: Page, *keys: str) -> None:
    """Press keys one after the other; "ArrowRight*12" twelve times."""
    for key in keys:
        name, _, times = key.partition("*")
        for _ in range(int(times or 1)):
            page.keyboard.press(name)


def finger(page: Page, *path: tuple[float, float]) -> None:
    """Put a finger down at the first point, move it over the others, and lift it."""
    session = page.context.new_cdp_session(page)
    first, *others = ({"x": x, "y": y} for x, y in path)
    session.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [first]})
    for point in others:
        session.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
        page.wait_for_timeout(16)
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    session.detach()


def inside(locator: Locator, x: float, y: float) -> tuple[float, float]:
    """Return a place in the window from fractions of an element."""
    box = locator.bounding_box()
    assert box
    return box["x"] + x * box["width"], box["y"] + y * box["height"]


def texts(locator: Locator) -> list[str]:
    """Return the text of each element, white space as single blanks."""
    return [" ".join(text.split()) for text in locator.all_text_contents()]
