"""The templates of our pages. Jinja is loaded with the first one, so that verbs without a page start without it."""

from __future__ import annotations

import functools
from importlib import resources
from typing import TYPE_CHECKING

from pipeline.deliver.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable

    from jinja2 import Environment

PACKAGE = "pipeline.deliver.templates"


def rendered(name: str, **values: object) -> str:
    """Return a template of the package filled in; every value is escaped, and none that is missing passes."""
    return _environment().get_template(name).render(**values)


def package_text(name: str) -> str:
    """Return a file of the package's templates as it is."""
    return (resources.files(PACKAGE) / name).read_text(encoding="utf-8")


@functools.cache
def _environment() -> Environment:
    import jinja2  # noqa: PLC0415 (as the module says)
    from markupsafe import Markup  # noqa: PLC0415 (as the module says)

    def as_html_can_hold_it(value: object) -> object:
        return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    finalize: Callable[[object], object] = as_html_can_hold_it
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(package_text),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=finalize,
    )
