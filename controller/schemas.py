"""JSON Schemas of a station's files, made from the models that read them, for completion in an editor."""

import json
from typing import Any

from controller.station_file import StrictModel

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_text(model: type[StrictModel]) -> str:
    """The schema of a file as JSON; each description begins with the unit, as editors show nothing else."""
    schema: dict[str, Any] = {"$schema": DIALECT, **model.model_json_schema()}
    return json.dumps(_for_editors(schema), indent=2) + "\n"


def _for_editors(node: Any) -> Any:
    if isinstance(node, list):
        return [_for_editors(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {word: _for_editors(item) for word, item in node.items() if not _is_made_up(word, item)}
    if isinstance(kept.get("unit"), str):
        kept["description"] = f"[{kept['unit']}] {kept['description']}"
    return kept


def _is_made_up(word: str, item: Any) -> bool:
    """Titles that pydantic makes of the key, and units of values without one."""
    return word in ("title", "unit") and (word == "title" or item == "") and isinstance(item, str)
