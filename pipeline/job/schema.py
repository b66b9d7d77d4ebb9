"""The JSON Schema of the job file, for editors that complete and check while she types."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from pipeline.job.model import JobFile
from pipeline.job.target import Target
from pipeline.job.words import BARE
from pipeline.light.thresholds import house_thresholds

if TYPE_CHECKING:
    from pipeline.light.thresholds import Threshold

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def job_schema() -> str:
    """Return the schema as JSON text. A changed target may hold any of a target's keys, none of them required."""
    schema = JobFile.model_json_schema()
    change = Target.model_json_schema(ref_template="#/$defs/{model}")
    definitions = change.pop("$defs")
    for table in (change, *definitions.values()):
        table.pop("required", None)
    schema["$defs"] |= definitions | {"TargetChange": change | {"title": "TargetChange"}}
    schema["properties"]["targets"] |= {
        "propertyNames": {"pattern": f"^{BARE}/{BARE}$"},
        "additionalProperties": {"$ref": "#/$defs/TargetChange"},
    }
    schema["properties"]["inspection"] |= {
        "properties": {name: _of_threshold(one) for name, one in house_thresholds().items()},
        "additionalProperties": False,
    }
    return json.dumps({"$schema": DIALECT, **schema, "title": "plateline job file"}, indent=1, ensure_ascii=False)


def _of_threshold(one: Threshold) -> dict[str, object]:
    unit = f" ({one.unit})" if one.unit else ""
    about = f"{one.about}{unit}"
    return {"type": "number", "minimum": one.least, "maximum": one.most, "default": one.value, "description": about}
