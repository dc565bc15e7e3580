"""Every rule of the narrative points at what does it and what shows it, and the page says so."""

import re

import pytest
from narrative.names import Unknown, places, to_be_named
from narrative.page import PAGE, not_named, text, unknown_names
from narrative.sections import SECTIONS

README = PAGE.parents[1] / "README.md"
HAZARDS = ("off-line pulse", "stored in the pulse tanks during a fault", "on every loss of power (spring)")
"""What guards must cover because no software can, as the README says it."""


def test_every_name_in_the_rules_exists():
    assert unknown_names() == []


def test_every_row_interlock_output_refusal_and_claim_is_named_by_a_rule():
    assert not_named() == []


def test_the_page_is_the_one_of_today():
    assert PAGE.read_text(encoding="utf-8") == text(), "run: make narrative"


def test_a_rule_that_nothing_does_or_shows_says_why():
    silent = [
        (section.number, said.words)
        for section in SECTIONS
        for said in section.rules
        if not (said.does and said.shown) and not said.missing
    ]
    assert silent == []


@pytest.mark.parametrize(
    "name",
    ["fact nothing", "row run", "interlock NO_SUCH", "output level_free", "refusal start no_fault", "claim it flies",
     "preset horn", "point fill_ms", "event NOTHING", "code controller/clock.py::nothing", "test flap::bench",
     "rule 1"],
)  # fmt: skip
def test_a_name_that_nothing_has_is_refused(name):
    with pytest.raises(Unknown):
        places(name)


def test_what_must_be_named_can_be_found_each_where_it_stands():
    for name in to_be_named():
        for path, line in places(name):
            written = (PAGE.parents[1] / path).read_text(encoding="utf-8").splitlines()
            near = " ".join(written[line - 1 : line + 4])
            word = name.split(" ", 2)[-1] if name.startswith("refusal") else name.partition(" ")[2]
            begins = [said for said in re.findall(r'"([^"]{5,})"', near) if word.startswith(said)]
            assert word in near or begins, (name, path, line)


def test_the_readme_names_the_hazards_that_guards_must_cover():
    said = " ".join(README.read_text(encoding="utf-8").split())
    item = next(part for part in said.split(" - ") if part.startswith("**Hazards that guards must cover**"))
    assert [words for words in HAZARDS if words not in item] == []
