"""The style sheet: paper and ink, contrasts that can be read, and nothing that moves by itself."""

from __future__ import annotations

import re
from importlib import resources

import pytest

from pipeline.deliver.sheet.style import STYLES


def luminance(colour: str) -> float:
    """Relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    digits = colour.lstrip("#")
    digits = "".join(2 * digit for digit in digits) if len(digits) == 3 else digits
    channels = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def style_text() -> str:
    return "".join((resources.files("pipeline.deliver.templates") / name).read_text("utf-8") for name in STYLES)


def palettes() -> dict[str, dict[str, str]]:
    """Return the colours of each scheme by name, as the style sheet cascades them."""
    blocks = [
        dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{3,6});", block))
        for block in re.findall(r":root \{(.*?)\}", style_text(), re.DOTALL)
    ]
    light, dark, paper = (block for block in blocks if block)
    return {"light": light, "dark": light | dark, "print": light | dark | paper}


def testcontrast_is_computed_as_published() -> None:
    """Worked values of the WCAG formula: black on white 21, #767676 on white 4.54, #777777 4.48, #949494 3.03."""
    for colour, ratio in (("#000", 21.0), ("#767676", 4.5422), ("#777777", 4.4781), ("#949494", 3.0335)):
        assert ratio == pytest.approx(contrast(colour, "#fff"), abs=5e-5)


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize(
    ("ink", "ground"), [("ink", "paper"), ("soft", "paper"), ("paper", "ink"), ("label-ink", "label"), ("ink", "card")]
)
def test_text_reaches_thecontrast_of_wcag_aa(scheme: str, ink: str, ground: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5:1 for text of any size (and so the 3:1 of 1.4.11 for the focus ring, drawn in ink)."""
    palette = palettes()[scheme]
    assert contrast(palette[ink], palette[ground]) >= 4.5


def test_lines_on_a_photograph_differ_from_their_edge() -> None:
    """A white line with a dark edge is seen on any picture: WCAG 2.2, 1.4.11 asks 3:1 of neighbouring colours."""
    for palette in palettes().values():
        assert contrast(palette["mark"], palette["halo"]) >= 3


def test_style_takes_every_colour_from_the_palette() -> None:
    rules = re.sub(r"/\*.*?\*/|--[a-z-]+:[^;]*;", "", style_text(), flags=re.DOTALL)
    assert re.findall(r"#[0-9a-f]{3,8}\b|\b(?:rgb|hsl|lab|lch|oklab|oklch|color)a?\(", rules) == []
    used = set(re.findall(r"(?:color|fill|stroke|background|outline|border[a-z-]*):[^;]*?var\(--([a-z-]+)\)", rules))
    assert used == {"paper", "ink", "soft", "rule", "card", "mark", "halo", "label", "label-ink"}


def test_photographs_alone_have_colour() -> None:
    """Paper and ink: every colour of the palette is nearly grey (its channels within 20 of each other, 8 bit)."""
    for palette in palettes().values():
        for colour in palette.values():
            digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
            channels = [int(digits[at : at + 2], 16) for at in (0, 2, 4)]
            assert max(channels) - min(channels) <= 20


def test_nothing_moves_by_itself() -> None:
    """WCAG 2.2, 2.2.2 and 2.3.3: there is no animation that would have to be stopped or turned off."""
    assert re.findall(r"animation|transition|(?<!over)scroll-behavior|@keyframes", style_text()) == []


def test_a_page_of_paper_has_numbers_and_a_margin_for_the_job() -> None:
    assert re.search(r"@page \{[^}]*@bottom-left[^}]*\}[^}]*@bottom-right \{ content: counter\(page\)", style_text())
