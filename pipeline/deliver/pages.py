"""The templates of our pages. Jinja is loaded with the first one, so that verbs without a page start without it.

A template is compiled once and kept between runs, by its text and the Jinja and Python it was compiled for: compiling
them is half of what writing a small shoot's pages takes.
"""

from __future__ import annotations

import functools
import sys
from importlib import resources
from typing import TYPE_CHECKING

from pipeline.deliver.printable import printable
from pipeline.ledger.sealed import digest, keep, kept

if TYPE_CHECKING:
    from collections.abc import Callable

    from jinja2 import BytecodeCache, Environment
    from jinja2.bccache import Bucket

PACKAGE = "pipeline.deliver.templates"


def rendered(name: str, **values: object) -> str:
    """Return a template of the package filled in; every value is escaped, and none that is missing passes."""
    return environment().get_template(name).render(**values)


def package_text(name: str) -> str:
    """Return a file of the package's templates as it is."""
    return (resources.files(PACKAGE) / name).read_text(encoding="utf-8")


@functools.cache
def environment() -> Environment:
    """Return what templates are filled in by."""
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
        bytecode_cache=_compiled_before(),
    )


def _compiled_before() -> BytecodeCache:
    """Return what keeps compiled templates; Jinja itself refuses those of another version or of another text."""
    import jinja2  # noqa: PLC0415 (as the module says)

    def seal(bucket: Bucket) -> tuple[bytes, bytes]:
        read_as = bucket.environment
        rules = repr((read_as.autoescape, read_as.trim_blocks, read_as.lstrip_blocks))
        which = (jinja2.__version__, sys.version, rules, bucket.key, bucket.checksum)
        return digest("template", *which), digest("compiled", *which)

    class Kept(jinja2.BytecodeCache):
        def load_bytecode(self, bucket: Bucket) -> None:
            data = kept(*seal(bucket))
            if data:
                bucket.bytecode_from_string(data)

        def dump_bytecode(self, bucket: Bucket) -> None:
            keep(*seal(bucket), bucket.bytecode_to_string())

    return Kept()
