"""Which contact sheet is asked for, what it shows, and what keeps it from being written."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipeline.deliver.sheet.for_outlet import folder_of, outlet_plan
from pipeline.deliver.sheet.links import PAGE
from pipeline.faults import Fault, RequestRefused
from pipeline.job.explain import nearest
from pipeline.job.kept_names import SHEET_FOLDER

if TYPE_CHECKING:
    from pipeline.plan.rendition import Plan

MOST_SINGLE_BYTES, MOST_SINGLE_FRAMES = 10_000_000, 40
Paper = Literal["A4", "letter"]
PDF_EXTRA = "plateline[pdf]"
PANGO_ON_DEBIAN = "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"


@dataclass(frozen=True, slots=True)
class WantedSheet:
    """Which sheet is asked for: an outlet's (None: hers), and whether as one file without any other.

    `paper` asks for a PDF, laid out for that paper.
    """

    outlet: str | None = None
    single: bool = False
    paper: Paper | None = None

    @property
    def in_one_file(self) -> bool:
        """Return whether everything that is shown lies in the one file."""
        return self.single or self.paper is not None

    def place(self, plan: Plan) -> str:
        """Return where the page stands below the output folder."""
        if self.in_one_file:
            ending = "pdf" if self.paper else "single.html"
            return f"{folder_of(self.outlet) if self.outlet else f'{SHEET_FOLDER}/{plan.slug}'}.{ending}"
        return f"{folder_of(self.outlet)}/index.html" if self.outlet else PAGE


HERS = WantedSheet()


def plan_of_sheet(plan: Plan, wanted: WantedSheet) -> Plan:
    """Return what a sheet shows, and so which previews have to be made for it.

    Raises `RequestRefused` for an outlet that has nothing to show, for more frames than one file may hold, and for a
    PDF where what lays it out is not installed.
    """
    if wanted.paper is not None:
        _require_pdf()
    shown = plan
    if wanted.outlet is not None:
        shown = outlet_plan(plan, wanted.outlet)
        if not shown.frames:
            raise RequestRefused(_no_outlet(plan, wanted.outlet))
    if wanted.single and len(shown.frames) > MOST_SINGLE_FRAMES:
        raise RequestRefused(too_large(wanted, f"{len(shown.frames)} frames", f"{MOST_SINGLE_FRAMES}"))
    return shown


def _no_outlet(plan: Plan, outlet: str) -> Fault:
    outlets = list(dict.fromkeys(one.outlet for one in plan.renditions if one.refused is None))
    if any(one.outlet == outlet for one in plan.renditions):
        found = f"every rendition of this job for the outlet '{outlet}' is refused, so there is nothing to show"
        return Fault("--for", found, "see `plateline plan` for the reasons")
    wanted = f"it is one of {', '.join(outlets)}" if outlets else "this job makes nothing yet"
    return Fault("--for", f"this job makes nothing for an outlet '{outlet}'", wanted, nearest=nearest(outlet, outlets))


def _require_pdf() -> None:
    """Raise `RequestRefused` where the optional extra is missing, or what it needs of the system."""
    browser = "or print the page that `plateline sheet` writes from a browser"
    try:
        with contextlib.redirect_stdout(io.StringIO()):  # it says at length what the sentence here says
            import weasyprint  # noqa: F401, PLC0415 (an optional extra, and heavy)
    except ImportError:
        found = "the part of plateline that lays out a PDF is not installed"
        raise RequestRefused(Fault("--pdf", found, f"install it (pip install '{PDF_EXTRA}'), {browser}")) from None
    except OSError:
        found = "Pango, the system's library that sets type in a PDF, is missing or not whole"
        install = f"install it (Debian: apt install {PANGO_ON_DEBIAN}; macOS: brew install pango)"
        raise RequestRefused(Fault("--pdf", found, f"{install}, {browser}")) from None


def too_large(wanted: WantedSheet, found: str, most: str) -> Fault:
    """Return why a sheet cannot be one file, and what to do instead."""
    leave = f"plateline sheet JOB --for {wanted.outlet}" if wanted.outlet else "plateline sheet JOB"
    narrower = "" if wanted.outlet else ", or show one outlet alone with --for"
    folder = f"{folder_of(wanted.outlet)}/" if wanted.outlet else "sheet/"
    instead = f"at most {most} go into one file: leave --single out and send the folder {folder} instead"
    return Fault("--single", f"this sheet would hold {found}", f"{instead} (`{leave}`){narrower}")
