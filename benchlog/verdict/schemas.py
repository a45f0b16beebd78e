"""The JSON Schemas of plan, logger file and result, from the models themselves."""

import json
from typing import Any, Literal


def schema_text(what: Literal["plan", "logger", "result"]) -> str:
    """One schema as indented JSON text."""
    return json.dumps(schema_of(what), indent=2, ensure_ascii=False)


def schema_of(what: Literal["plan", "logger", "result"]) -> dict[str, Any]:
    """One schema (JSON Schema, draft 2020-12)."""
    if what == "plan":
        from benchlog.plan.model import plan_schema

        return plan_schema()
    if what == "logger":
        from benchlog.logger.model import logger_schema

        return logger_schema()
    from benchlog.verdict.result import Result

    return Result.model_json_schema(by_alias=True)
