"""The JSON Schema of the job file, for editors that complete and check while she types."""

from __future__ import annotations

import json

from pipeline.job.model import JobFile
from pipeline.job.target import Target
from pipeline.job.words import BARE

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
    return json.dumps({"$schema": DIALECT, **schema, "title": "plateline job file"}, indent=1, ensure_ascii=False)
