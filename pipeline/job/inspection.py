"""What a job changes of the numbers that its frames are inspected by."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from pipeline.faults import Fault
from pipeline.job.explain import found_text, key_text, nearest
from pipeline.light.thresholds import house_thresholds

if TYPE_CHECKING:
    from pipeline.light.thresholds import Thresholds


def asked_thresholds(job: str, data: dict[str, Any], faults: list[Fault]) -> Thresholds:
    """Return the thresholds with the changes of `[inspection]`; what is wrong with them is added to `faults`.

    A value that is no plain number has its fault already.
    """
    thresholds = house_thresholds()
    changes = data.get("inspection")
    for name, value in changes.items() if isinstance(changes, dict) else ():
        where = f"inspection: {key_text(name)}"
        if name not in thresholds:
            wanted = "docs/inspection.md lists them all"
            faults.append(Fault(job, f"no threshold is called '{name}'", wanted, where, nearest(name, thresholds)))
        elif isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
            try:
                thresholds = thresholds.with_values({name: value})
            except ValueError as error:
                faults.append(Fault(job, f"found {found_text(value)}", str(error), where))
    return thresholds
