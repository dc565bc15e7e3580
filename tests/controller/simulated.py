"""`receiver simulate` of the example station, as a person calls it."""

import json

from typer.testing import CliRunner

from controller.cli import app
from controller.simulate.executors import best


def simulate(*options, executor=None):
    executor = executor or best()
    return CliRunner().invoke(app, ["simulate", "buckwheat_mill", "--executor", executor, *options])


def as_document(*options):
    result = simulate(*options, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)
