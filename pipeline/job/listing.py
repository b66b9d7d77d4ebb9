"""Every target of every outlet profile, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.faults import RequestRefused
from pipeline.job.outlets import join_outlets, own_outlets, packaged_outlets

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.job.target import Target


def target_lines(folder: Path | None) -> list[str]:
    """Return one line for each target: name, shape, size, formats, use. Raises `RequestRefused` for her own folder."""
    own, faults = own_outlets(folder, str(folder)) if folder else ([], [])
    outlets, more = join_outlets(packaged_outlets(), own)
    if faults or more:
        raise RequestRefused(*faults, *more)
    lines = []
    for name, outlet in outlets.items():
        lines.append(f"{name}: {outlet.profile.about}")
        lines.extend(_line(f"{name}/{key}", target) for key, target in outlet.profile.targets.items())
        lines.append("")
    return lines[:-1]


def _line(name: str, target: Target) -> str:
    return f"  {name:24}{shape(target):36}{size(target):32}{', '.join(target.formats):18}{target.about}"


def shape(target: Target) -> str:
    """Return the shape in words, with what is covered or seen elsewhere."""
    if target.size_mm:
        words = f"{target.size_mm[0]:g} x {target.size_mm[1]:g} mm"
    else:
        words = target.ratio or "{} x {}".format(*(target.size_px or ()))
    if target.layout:
        words += f", {target.layout.replace('-', ' ')}"
    if target.shape == "round":
        words += ", round"
    if target.also_seen:
        words += f", also {', '.join(target.also_seen)}"
    return words


def size(target: Target) -> str:
    """Return the sizes in words: widths in pixels, or paper with its resolution and bleed."""
    if target.size_mm:
        bleed = f" + {target.bleed_mm:g} mm bleed" if target.bleed_mm else ""
        return f"{target.ppi:g} ppi{bleed}"
    widths = target.widths or (target.size_px or ())[:1]
    return f"{', '.join(map(str, widths))} px wide"
