"""What two YAML readers would take differently is refused; PyYAML and ruamel.yaml are the two."""

import math

import yaml
from hypothesis import example, given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from controller.strict_yaml import parse
from controller.yaml_traps import plain, trap

NUMBERLIKE = st.text("0123456789.:_-+eExoabfinyNtrusOT=<", min_size=1, max_size=9)


@given(NUMBERLIKE)
@example("no")
@example("1:30")
@example("010")
@example("1e3")
@example("0o17")
@example("1_000")
@example("._0")
@example("-_0")
@example("-.0")
@example("-._1e+2")
@example("<<")
def test_what_yaml_1_1_and_1_2_read_differently_is_a_trap(text):
    """References: PyYAML, which follows YAML 1.1, and ruamel.yaml, which follows YAML 1.2."""
    try:
        old = yaml.safe_load(f"- {text}")
        new = YAML(typ="safe", pure=True).load(f"- {text}")
    except Exception:
        return  # not a value to one of them: the parser says so
    if not (isinstance(old, list) and isinstance(new, list)) or isinstance(old[0], dict | list):
        return
    if trap(text) is None:
        assert repr(old[0]) == repr(new[0]) == repr(plain(text))


@given(st.text(st.characters(exclude_characters="\r\x85\u2028\u2029"), max_size=40))
def test_places_count_from_one_and_lie_in_the_text(text):
    lines = text.split("\n")
    for problem in parse("x", text).problems:
        assert 1 <= problem.line <= len(lines)
        assert 1 <= problem.column <= len(lines[problem.line - 1]) + 1


def test_numbers_are_read_as_written():
    """The doubles nearest to the decimals, as Python's own float reads them (IEEE 754)."""
    for text in ("0.1", "5.4", "35", "-3", "+2", ".5", "264.24"):
        assert math.isclose(float(plain(text)), float(text), rel_tol=0, abs_tol=0)
