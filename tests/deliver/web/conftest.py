"""A small shoot for the kit's tests, planned and also exported for once."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.export import Asked, export
from tests.deliver.web.kit_shoot import JOB, SIZES, Exported, Shoot, all_made
from tests.small_shoot import frame, plan_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


@pytest.fixture(scope="session")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    """Return the plan of frames large enough for all their targets, but for the third."""
    return plan_of(tmp_path_factory.mktemp("planned"), JOB, *SIZES)[1]


@pytest.fixture(scope="session")
def made(plan: Plan) -> Mapping[str, Made]:
    """Return what the ledger would know when all of the plan was made."""
    return all_made(plan)


@pytest.fixture(scope="session")
def shoot(plan: Plan, made: Mapping[str, Made]) -> Shoot:
    """Return both."""
    return Shoot(plan, made)


@pytest.fixture(scope="session")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Exported:
    """Return a shoot of frames that are too small for the widest files, exported for once."""
    folder = tmp_path_factory.mktemp("exported")
    for name, size in (("oil.jpg", (1000, 700)), ("bowl.jpg", (1301, 901)), ("beans.jpg", (500, 800))):
        frame(folder / name, size)
    frame(folder / "linen.jpg", (720, 480))
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    asked = Asked(folder / "job.toml", folder / "out", only="*/blog/*", workers=1, quiet=True)
    summary = export(asked, io.StringIO())
    assert summary.faults == ()
    return Exported(summary.plan, summary.made, folder / "out")
