"""The picture says what the rows say, no more and no less."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from miniature import MINIATURE, Step

from controller.engines.diagram import mermaid, svg
from controller.sequence.logic import Logic
from controller.sequence.phrases import phrase


@pytest.fixture(scope="module")
def logic():
    return Logic(MINIATURE)


def arrows(text, states=MINIATURE.states):
    """Each arrow of a Mermaid text between steps; one that leaves a state stands for all of its steps."""
    found = set()
    for source, target, number, guard in re.findall(r"(\w+) --> (\w+): (\d+) (.+)", text):
        steps = states.get(source.rstrip("_")) if source not in Step.__members__ else (Step[source],)
        found |= {(int(number), k.name, target, guard) for k in steps}
    return found


def test_mermaid_has_an_arrow_for_every_row_and_step(logic):
    rows = {
        (n, Step(k).name, Step(row.to).name, phrase(row.guard.name))
        for n, row in enumerate(logic.rows, 1)
        for k in row.steps
    }
    assert arrows(mermaid(logic)) == rows


def test_mermaid_groups_the_steps_by_state_and_begins_with_the_first(logic):
    text = mermaid(logic)
    assert text.startswith("stateDiagram-v2\n    [*] --> REST\n")
    assert "    state SUCTION {\n        SEAL\n        REOPEN\n        DRAW\n    }\n" in text
    assert "    SUCTION --> HELD: 5 air gone\n" in text


def test_state_with_the_name_of_one_of_its_steps_is_told_apart(logic):
    states = {
        "REST": (Step.REST, Step.HELD),
        "ELSE": tuple(k for k in Step if k not in (Step.REST, Step.HELD)),
    }
    text = mermaid(Logic(replace(MINIATURE, states=states)))
    assert "    state REST_ {\n        REST\n        HELD\n    }\n" in text
    assert arrows(text, states) >= {(4, "REST", "SEAL", "the run is on")}


def test_svg_names_every_state_step_and_row_and_is_the_same_each_time(logic, tmp_path):
    svg(logic, tmp_path / "a.svg")
    svg(logic, tmp_path / "b.svg")
    text = (tmp_path / "a.svg").read_text()
    assert text == (tmp_path / "b.svg").read_text()
    words = "".join(ElementTree.fromstring(text).itertext())
    for name in [*MINIATURE.states, *Step.__members__, *(phrase(row.guard.name) for row in logic.rows)]:
        assert name in words
