"""What is drawn over the pictures of a page, drawn anew for paper: each picture's marks as one SVG of its own.

A page draws in SVG that takes its look from the page's style, lies in several layers and shares shapes with the rest of
the page. A program that lays out pages for print knows none of this. Here the layers of a picture become one drawing in
CSS px of the width it has on paper, so that lines are as wide as they are on the page.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, tostring

if TYPE_CHECKING:
    from collections.abc import Iterator

_SVG = "{http://www.w3.org/2000/svg}"
_PX = 96 / 25.4  # CSS px in a millimetre
# As in the print style: a frame's picture is at most so wide and so high, a rendition's longer side, an earlier print.
_WHOLE_MM, _WHOLE_HEIGHT_MM, _CARD_MM, _CARD_UNITS, _PAIR_MM = 74, 70, 38, 240, 38
_TENTHS_ACROSS_MM, _TENTHS_DOWN_MM = 5, 8
_TAG_EM, _TAG_SIDE = 9.75, 1.9
_WHITE, _BLACK, _SOFT = "#fff", "#000", "#444"
_FIGURES = "DejaVu Sans Mono, Liberation Mono, monospace"
_DASHES = {"bleed": "1.5 3", "keep": "7 5"}
_LINE_PX, _EDGE_PX = 1.25, 3.0
_CROSS = "M-14 0H-5M5 0H14M0-14V-5M0 5V14"
_FIGURE = re.compile(r"([MHVZa])|(-?[\d.]+)")


@dataclass(slots=True)
class _Picture:
    """One drawing in the making: its size in px, and the SVG it becomes."""

    width: float
    height: float
    left: float = 0.0
    top: float = 0.0
    root: Element = field(init=False)

    def __post_init__(self) -> None:
        self.root = Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "width": _px(self.width),
                "height": _px(self.height),
                "viewBox": f"{_px(self.left)} {_px(self.top)} {_px(self.width)} {_px(self.height)}",
                "preserveAspectRatio": "none",
            },
        )

    def add(self, tag: str, **attributes: str) -> Element:
        return SubElement(self.root, tag, {name.replace("_", "-"): text for name, text in attributes.items()})

    def stroke(self, d: str, colour: str, width: float, opacity: float = 1.0, dash: str = "") -> None:
        """Draw a line; opacity and dashes only where they are asked for."""
        more = {"stroke_opacity": _px(opacity)} if opacity < 1 else {}
        if dash:
            more["stroke_dasharray"] = dash
        self.add("path", d=d, fill="none", stroke=colour, stroke_width=_px(width), **more)

    def lines(self, *shapes: tuple[str, str]) -> None:
        """Draw white lines with a dark edge, each with its dashes: all edges first, so that none lies on a line."""
        for d, dash in shapes:
            self.stroke(d, _BLACK, _EDGE_PX, 0.45, dash)
        for d, dash in shapes:
            self.stroke(d, _WHITE, _LINE_PX, 1.0, dash)

    def text(self, at: tuple[float, float], words: str, size: float, *, anchor: str = "middle", **more: str) -> None:
        x, y = at
        shown = {"x": _px(x), "y": _px(y), "font_family": _FIGURES, "font_size": _px(size), "text_anchor": anchor}
        self.add("text", **shown, **more).text = words


def draw_anew(body: Element) -> Iterator[str]:
    """Put empty boxes in the place of all SVG of a page, and yield the SVG of each in turn.

    The n-th box has `drawing:n` as its background: what is drawn says nothing that the words beside it do not say too,
    so it is no content of its own to who has the page read out. Changes `body`.
    """
    counter = 0
    for parent in list(body.iter()):
        layers = [child for child in parent if child.tag == f"{_SVG}svg"]
        if not layers or str(parent.tag).startswith(_SVG):
            continue
        for kind, drawing in _drawings(parent, layers):
            box = Element("div", {"class": kind, "style": f"background-image:url(drawing:{counter})"})
            parent.append(box) if kind != "drawing mark" else parent.insert(0, box)
            yield tostring(drawing.root, encoding="unicode")
            counter += 1
        for layer in layers:
            _replace(parent, layer)


def _replace(parent: Element, layer: Element) -> None:
    """Take a layer out; where it stood for a picture that is not made, leave a box of its shape."""
    at = list(parent).index(layer)
    if _has(layer, "empty"):
        width, height = _view_box(layer)
        box = Element("div", {"class": " ".join(one for one in layer.get("class", "").split() if one != "empty")})
        SubElement(box, "div", {"class": "empty", "style": f"padding-top:{100 * height / width:.2f}%"})
        parent.insert(at, box)
        at += 1
    if layer.tail and at:
        parent[at - 1].tail = (parent[at - 1].tail or "") + layer.tail
    elif layer.tail:
        parent.text = (parent.text or "") + layer.tail
    parent.remove(layer)


def _drawings(parent: Element, layers: list[Element]) -> Iterator[tuple[str, _Picture]]:
    """Yield what is drawn on one picture, each with the classes of the box it goes into."""
    if any(_has(layer, "unseen") for layer in layers):
        return
    over = [layer for layer in layers if _has(layer, "over")]
    if not over:
        for layer in layers:
            if layer.get("viewBox") and not _has(layer, "empty"):
                yield "drawing mark", _mark(layer)
        return
    image = next((one for one in parent.iter() if one.tag == "img" or _has(one, "empty")), None)
    if image is None:  # it waits for a picture that a script would put there
        return
    width, height = _on_paper(parent, image)
    picture = _Picture(width, height)
    for layer in over:
        if _has(layer, "tenths"):
            yield "drawing tenths across", _tenths_across(width)
            yield "drawing tenths down", _tenths_down(height)
        else:
            _draw(picture, layer)
    if len(picture.root):
        yield "drawing", picture


def _on_paper(parent: Element, image: Element) -> tuple[float, float]:
    """Return how large a picture is on paper, in px."""
    ratio = int(image.get("width", "1")) / int(image.get("height", "1"))
    units = re.search(r"\bw(\d+)\b", parent.get("class", ""))
    if units:
        width = int(units[1]) * _CARD_MM / _CARD_UNITS
    elif parent.tag == "figure":
        width = min(_WHOLE_MM, _WHOLE_HEIGHT_MM * ratio)
    else:
        width = _PAIR_MM
    return width * _PX, width * _PX / ratio


def _draw(picture: _Picture, layer: Element) -> None:
    view = _view_box(layer) if layer.get("viewBox") else (0.0, 0.0)
    scale = (picture.width / view[0], picture.height / view[1]) if all(view) else (1.0, 1.0)
    hidden = {inside for one in layer.iter() if _has(one, "is-refused", "own") for inside in one.iter()}
    paths = [one for one in layer.iter(f"{_SVG}path") if one not in hidden and not _has(one, "aid", "covered", "halo")]
    on_frame = any(_has(one, "crop") for one in layer.iter())
    lines = []
    for d, classes in ((_scaled(one.get("d", ""), scale), _classes(one)) for one in paths):
        if "cut" in classes and not on_frame:  # a round one on its own print: what is cut off is veiled
            picture.add("path", d=d, fill=_WHITE, fill_opacity="0.72", fill_rule="evenodd")
        else:
            lines.append((_inner(d) if "cut" in classes else d, _dash(classes)))
    picture.lines(*lines)
    for place in layer.iter(f"{_SVG}svg"):
        if place in hidden or place is layer or not place.get("x"):
            continue
        at = picture.width * _per_cent(place.get("x")), picture.height * _per_cent(place.get("y"))
        if _has(place, "subject"):
            _cross(picture, at)
        elif _has(place, "spot"):
            _ring(picture, at)
        else:
            _tag(picture, at, place)


def _cross(picture: _Picture, at: tuple[float, float]) -> None:
    d = re.sub(r"([MHV])(-?\d+)(?: ?(-?\d+))?", lambda found: _moved(found, at), _CROSS)
    picture.stroke(d, _BLACK, 5, 0.55)
    picture.stroke(d, _WHITE, 2)


def _moved(found: re.Match[str], at: tuple[float, float]) -> str:
    command, first, second = found[1], float(found[2]), found[3]
    if command == "M":
        return f"M{_px(at[0] + first)} {_px(at[1] + float(second))}"
    return f"{command}{_px(first + at[0 if command == 'H' else 1])}"


def _ring(picture: _Picture, at: tuple[float, float]) -> None:
    circle = {"cx": _px(at[0]), "cy": _px(at[1]), "r": "11", "fill": "none"}
    picture.add("circle", **circle, stroke=_BLACK, stroke_width="5", stroke_opacity="0.55")
    picture.add("circle", **circle, stroke=_WHITE, stroke_width="2")


def _tag(picture: _Picture, at: tuple[float, float], place: Element) -> None:
    """Draw a number in its box, at the corner that the page names."""
    shape = next(one.get("href", "") for one in place.iter(f"{_SVG}use")).partition("#tag")[2]
    words = "".join(next(place.iter(f"{_SVG}text")).itertext())
    side = _TAG_SIDE * _TAG_EM
    left, top = at[0] - side * ("r" in shape), at[1] - side * ("b" in shape)
    box = {"x": _px(left), "y": _px(top), "width": _px(side), "height": _px(side)}
    picture.add("rect", **box, fill=_WHITE, stroke=_BLACK, stroke_width="1")
    centre = left + side / 2, top + side / 2 + 0.35 * _TAG_EM
    picture.text(centre, words, _TAG_EM, font_weight="600", fill=_BLACK)


def _tenths_across(width: float) -> _Picture:
    strip = _Picture(width, _TENTHS_ACROSS_MM * _PX)
    for tenth in range(1, 10):
        strip.text((width * tenth / 10, 12), f".{tenth}", 8.5, fill=_SOFT)
    return strip


def _tenths_down(height: float) -> _Picture:
    strip = _Picture(_TENTHS_DOWN_MM * _PX, height)
    for tenth in range(1, 10):
        strip.text((strip.width - 3, height * tenth / 10 + 3), f".{tenth}", 8.5, anchor="end", fill=_SOFT)
    return strip


def _mark(layer: Element) -> _Picture:
    """Return one of the marks as it stands in the key to them: in ink, for there is no picture under it."""
    left, top, width, height = map(float, layer.get("viewBox", "").split())
    mark = _Picture(width, height, left, top)
    for one in layer.iter(f"{_SVG}path"):
        mark.stroke(one.get("d", ""), _BLACK, _LINE_PX, 1.0, _dash(_classes(one)))
    if next(layer.iter(f"{_SVG}use"), None) is not None:
        mark.stroke(_CROSS, _BLACK, 2)
    return mark


def _scaled(d: str, scale: tuple[float, float]) -> str:
    """Return path data of rectangles and half turns (M, H, V, Z and a) in other units."""
    words, command, seen = [], "", 0
    for letter, number in _FIGURE.findall(d):
        if letter:
            command, seen = letter, 0
            words.append(letter)
            continue
        across = {"M": seen % 2 == 0, "H": True, "V": False, "a": seen % 7 in {0, 5}}[command]
        flag = command == "a" and seen % 7 in {2, 3, 4}
        words.append(number if flag else _px(float(number) * scale[0 if across else 1]))
        seen += 1
    return " ".join(words)


def _inner(d: str) -> str:
    """Return a crop's outline without the one around the picture that lies first in it."""
    return d.partition("Z")[2].strip() or d


def _dash(classes: set[str]) -> str:
    return next((dash for name, dash in _DASHES.items() if name in classes), "")


def _view_box(layer: Element) -> tuple[float, float]:
    _, _, width, height = map(float, layer.get("viewBox", "0 0 1 1").split())
    return width, height


def _per_cent(text: str | None) -> float:
    return float((text or "0").removesuffix("%")) / 100


def _classes(element: Element) -> set[str]:
    return set(element.get("class", "").split())


def _has(element: Element, *names: str) -> bool:
    return bool(_classes(element) & set(names))


def _px(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
