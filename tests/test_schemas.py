"""The schemas that editors use say what the reader demands."""

import json
from functools import cache
from pathlib import Path

import jsonschema
import pytest
import yaml
from schemas import FOLDER
from schemas import texts as written

texts = cache(written)
STATIONS = [path.parent for path in FOLDER.parent.glob("*/receiver.yaml")]
FILES = sorted(file for folder in STATIONS for file in folder.glob("*.yaml"))


@cache
def validator(name: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(json.loads(texts()[name]))


@pytest.mark.parametrize("name", sorted(texts()))
def test_the_schema_on_disk_is_the_one_the_models_give(name):
    assert (FOLDER / name).read_text(encoding="utf-8") == texts()[name], "run `make schemas`"


@pytest.mark.parametrize("name", sorted(texts()))
def test_the_schema_is_a_valid_schema_of_its_dialect(name):
    """JSON Schema 2020-12, as the metaschema of the jsonschema package has it."""
    jsonschema.Draft202012Validator.check_schema(json.loads(texts()[name]))


@pytest.mark.parametrize("file", FILES, ids=lambda file: f"{file.parent.name}-{file.stem}")
def test_the_files_of_a_station_satisfy_their_schema(file: Path):
    """An independent validator takes what our reader takes, and the file points the editor at the schema."""
    text, station, kind = file.read_text(encoding="utf-8"), file.parent, file.stem
    validator(f"{kind}.schema.json").validate(yaml.safe_load(text))
    line = f"# yaml-language-server: $schema=../schemas/{kind}.schema.json"
    assert text.splitlines()[0] == line
    assert (station / ".." / "schemas" / f"{kind}.schema.json").is_file()


@pytest.mark.parametrize("file", sorted((FOLDER.parent / "scenarios").glob("*.yaml")), ids=lambda file: file.stem)
def test_a_scenario_satisfies_its_schema(file: Path):
    text = file.read_text(encoding="utf-8")
    validator("scenario.schema.json").validate(yaml.safe_load(text))
    assert text.splitlines()[0] == "# yaml-language-server: $schema=../schemas/scenario.schema.json"


def test_a_number_out_of_range_and_a_strange_key_are_refused_by_the_schema():
    schema = json.loads(texts()["receiver.schema.json"])
    station = {"name": "R-101", "description": "x", "product": "flour"}
    for bad in ({"vacuum_high_kpa": 95}, {"vacuum_hihg_kpa": 35}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({"station": station, "convey": bad}, schema)


def test_descriptions_carry_unit_and_reason():
    convey = json.loads(texts()["receiver.schema.json"])["$defs"]["convey"]["properties"]
    assert convey["vacuum_high_kpa"]["description"].startswith("[kPa] ")
    assert len(convey["vacuum_high_kpa"]["description"]) > len("[kPa] ")
