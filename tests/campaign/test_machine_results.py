"""JUnit XML and TAP of results: against the public schema, and through a parser from the index."""

import re
from xml.etree import ElementTree as ET

import pytest
import yaml
from tap.parser import Parser

from controller.campaign.judge import Verdict
from controller.campaign.machine_results import junit, tap
from controller.campaign.results import Facts, Result

GOOD = Result(
    "flap_sticks", "flap_sticks.yaml", "The flap sticks", "R-101", "passed",
    (Verdict(True, "reaches step == FAULT within 3s", "after 1s", 4_000, 7),), (), (), (("FLAP_NOT_CLOSED", 4_000),),
    ((1_000, "start from the panel"),), (1_000,), "", 9_000, 0.25,
)  # fmt: skip
BAD = GOOD._replace(
    name="wrong", title="Bell \x07, nul \x00 & <mark> # 5 \\ it's\nover", station="R-201", verdict="failed",
    verdicts=(Verdict(False, "never horn", "3 scans, first at 2s", 2_000, 9),), facts=(Facts(2_000, ("in FAULT", "it's so: \x1b[1m"), ("step  |IDLE   |FAULT",)),),
)  # fmt: skip
BROKEN = GOOD._replace(name="crash", verdict="broken", verdicts=(), broken="ValueError: no way")
DONE = [GOOD, BAD, BROKEN]

# What junit-10.xsd of the xUnit plugin of Jenkins (github.com/jenkinsci/xunit-plugin, commit 031e285, MIT licence)
# says of the elements: attributes that must be, that may be, elements inside. The rest of it is not written here.
SCHEMA = {
    "testsuites": (set(), {"name", "time", "tests", "failures", "errors"}, {"testsuite"}),
    "testsuite": (
        {"name", "tests", "failures", "errors"},
        {"group", "time", "skipped", "timestamp", "hostname", "id", "package", "file", "log", "url"},
        {"testsuite", "properties", "testcase", "system-out", "system-err"},
    ),
    "testcase": (
        {"name"}, {"time", "classname", "group"},
        {"skipped", "error", "failure", "rerunFailure", "rerunError", "flakyFailure", "flakyError", "system-out",
         "system-err"},
    ),
    "failure": (set(), {"type", "message"}, set()),
    "error": (set(), {"type", "message"}, set()),
    "system-out": (set(), set(), set()),
}  # fmt: skip
TIMES = {"testsuites", "testsuite"}
TIME = re.compile(r"(([0-9]{0,3},)*[0-9]{3}|[0-9]{0,3})*(\.[0-9]*)?")
MIXED = {"failure", "error", "system-out"}


def against_the_schema(root: ET.Element) -> list[str]:
    wrong = []
    for e in root.iter():
        if e.tag not in SCHEMA:
            wrong.append(f"{e.tag} is no element of it")
            continue
        must, may, inside = SCHEMA[e.tag]
        wrong += [f"{e.tag} lacks {name}" for name in must - set(e.attrib)]
        wrong += [f"{e.tag} has {name}" for name in set(e.attrib) - must - may]
        wrong += [f"{child.tag} in {e.tag}" for child in e if child.tag not in inside]
        if e.tag in TIMES and not TIME.fullmatch(e.get("time", "")):
            wrong.append(f"time {e.get('time')}")
        if e.tag not in MIXED and (e.text or "").strip():
            wrong.append(f"text in {e.tag}")
    return wrong


def test_junit_keeps_to_the_public_schema() -> None:
    assert against_the_schema(ET.fromstring(junit(DONE, "2026-01-05T06:00:00Z"))) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [('tests="1"', ""), ("<system-out>", "<properties/><system-out>"), ('classname="R-101"', 'line="3"')],
)
def test_the_check_against_the_schema_can_fail(old: str, new: str) -> None:
    text = junit([GOOD], "2026-01-05T06:00:00Z")
    assert old in text
    assert against_the_schema(ET.fromstring(text.replace(old, new)))


def test_the_totals_of_junit_are_those_of_the_results() -> None:
    root = ET.fromstring(junit(DONE, "2026-01-05T06:00:00Z"))
    assert {k: root.get(k) for k in ("tests", "failures", "errors")} == {
        "tests": "3",
        "failures": "1",
        "errors": "1",
    }
    for suite in root:
        cases = list(suite)
        assert suite.get("tests") == str(len(cases))
        assert suite.get("failures") == str(len(suite.findall("testcase/failure")))
        assert suite.get("errors") == str(len(suite.findall("testcase/error")))
    assert [suite.get("name") for suite in root] == ["R-101", "R-201"]


def test_what_xml_has_no_character_for_is_left_out_and_the_rest_kept() -> None:
    text = junit([BAD], "2026-01-05T06:00:00Z")
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f]", text)
    case = ET.fromstring(text).find("testsuite/testcase")
    assert case is not None
    assert "Bell , nul  & <mark>" in str(case.get("name"))


def test_a_parser_of_tap_reads_as_many_as_ran_and_each_verdict() -> None:
    lines = list(Parser().parse_text(tap(DONE)))
    tests = [line for line in lines if line.category == "test"]
    assert [line.version for line in lines if line.category == "version"] == [14]
    assert [line.expected_tests for line in lines if line.category == "plan"] == [3]
    assert [(line.number, line.ok, line.skip, line.todo) for line in tests] == [
        (1, True, False, False), (2, False, False, False), (3, False, False, False),
    ]  # fmt: skip


def test_what_is_wrong_stands_in_tap_as_yaml() -> None:
    blocks = re.findall(r"^  ---\n(.*?)^  \.\.\.$", tap(DONE), re.S | re.M)
    failed, broken = (yaml.safe_load(block) for block in blocks)
    assert failed["severity"] == "fail"
    assert failed["messages"][0] == "line 9: wanted never horn; seen 3 scans, first at 2s; look at 2s"
    assert failed["messages"][1:] == ["at 2s: in FAULT", "at 2s: it's so: [1m", "step  |IDLE   |FAULT"]
    assert broken == {"severity": "broken", "messages": ["could not be run: ValueError: no way"]}


def test_the_facts_stand_under_the_failed_verdict_that_they_are_of() -> None:
    many = tuple(Verdict(False, f"never c{n}", "1 scans", n * 1_000, n) for n in range(1, 6))
    failed = BAD._replace(
        verdicts=many, facts=tuple(Facts(v.at_ms, (f"in S{v.line}",), ()) for v in many[:3])
    )
    told = list(
        yaml.safe_load(re.findall(r"^  ---\n(.*?)^  \.\.\.$", tap([failed]), re.S | re.M)[0])["messages"]
    )
    text = ET.fromstring(junit([failed], "2026-01-05T06:00:00Z")).findtext("testsuite/testcase/failure")
    assert told == str(text).split("\n")
    assert [(said.split(";")[0], under) for said, under in zip(told[:6:2], told[1:6:2], strict=True)] == [
        (f"line {n}: wanted never c{n}", f"at {n}s: in S{n}") for n in (1, 2, 3)
    ]
    assert told[-1] == "2 more failed: facts are told of the first 3"
