"""The contact sheet: one page that shows a plan in pictures and words, and takes an answer."""

from __future__ import annotations

from pipeline.deliver.sheet.page import sheet_html

__all__ = ["sheet_html"]
