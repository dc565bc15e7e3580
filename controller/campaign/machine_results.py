"""
Results of scenarios for build servers: JUnit XML and TAP version 14.

JUnit XML has no official standard; what is written keeps to the public schema `junit-10.xsd` of the xUnit
plugin of Jenkins, which knows no properties in a test case: what a case shows stands in its output.
TAP: the specification at testanything.org, version 14.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from xml.etree import ElementTree as ET

from controller.campaign.judge import NOT_JUDGED
from controller.campaign.results import Result
from controller.simulate.times import typed

WORDS = {True: "good", False: "BAD", None: "open"}
NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 (section 2.2) knows no character for."""


def junit(done: Sequence[Result], started_utc: str) -> str:
    """A suite for each station, a case for each scenario; broken is an error, not judged is skipped."""
    counts = {"tests": len(done), "failures": _count(done, "failed"), "errors": _count(done, "broken")}
    root = ET.Element("testsuites", _texts(name="receiver scenarios", time=_seconds(done), **counts))
    for station in dict.fromkeys(result.station for result in done):
        root.append(_suite(station, [r for r in done if r.station == station], started_utc))
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _suite(station: str, done: list[Result], started_utc: str) -> ET.Element:
    counts = {"tests": len(done), "failures": _count(done, "failed"), "errors": _count(done, "broken")}
    more = {"skipped": _count(done, NOT_JUDGED), "time": _seconds(done), "timestamp": started_utc}
    suite = ET.Element("testsuite", _texts(name=station, **counts, **more))
    for result in done:
        case = ET.SubElement(suite, "testcase", _texts(
            name=f"{result.name}: {result.title}", classname=station, time=f"{result.took_s:.3f}",
        ))  # fmt: skip
        if result.verdict == NOT_JUDGED:
            ET.SubElement(case, "skipped", _texts(message=_first_not_judged(result)))
        elif result.verdict != "passed":
            kind = "failure" if result.verdict == "failed" else "error"
            said = list(_wrong(result))
            found = ET.SubElement(case, kind, _texts(type=result.verdict, message=said[0]))
            found.text = _clean("\n".join(said))
        ET.SubElement(case, "system-out").text = _clean("\n".join(_seen(result)))
    return suite


def tap(done: Sequence[Result]) -> str:
    """A line for each scenario; under one that did not pass, what was wanted and seen, as YAML."""
    lines = ["TAP version 14", f"1..{len(done)}"]
    for n, result in enumerate(done, 1):
        ok = "ok" if result.verdict in ("passed", NOT_JUDGED) else "not ok"
        skip = f" # SKIP {_escaped(_first_not_judged(result))}" if result.verdict == NOT_JUDGED else ""
        lines.append(f"{ok} {n} - {_escaped(f'{result.name}: {result.title}')}{skip}")
        if result.verdict not in ("passed", NOT_JUDGED):
            lines += ["  ---", f"  severity: {'fail' if result.verdict == 'failed' else 'broken'}"]
            lines += ["  messages:", *(f"    - {_quoted(said)}" for said in _wrong(result)), "  ..."]
    return "\n".join(lines) + "\n"


def _first_not_judged(result: Result) -> str:
    """What of it was not judged, the first of it in full."""
    verdicts = result.not_judged
    more = f"; {len(verdicts)} of {len(result.verdicts)} so" if len(verdicts) > 1 else ""
    return f"{verdicts[0].wanted}: {verdicts[0].seen}{more}"


def _wrong(result: Result) -> Iterator[str]:
    """What did not pass, a line each; at least one."""
    if result.broken:
        yield f"could not be run: {result.broken}"
    for v, facts in result.told:
        yield f"line {v.line}: wanted {v.wanted}; seen {v.seen}; look at {typed(v.at_ms)}"
        if facts is not None:
            yield from (f"at {typed(facts.at_ms)}: {said}" for said in facts.said)
            yield from facts.diagram
    if result.untold:
        yield result.untold
    for said in result.disagreements:
        yield f"the engines differ at {said}"


def _seen(result: Result) -> Iterator[str]:
    yield f"station {result.station}, {typed(result.ran_ms)} of plant time"
    yield from (f"{typed(at)} {what}" for at, what in result.done)
    yield from (f"{WORDS[v.good]}: {v.wanted}; seen {v.seen}" for v in result.verdicts)


def _count(done: Iterable[Result], verdict: str) -> int:
    return sum(result.verdict == verdict for result in done)


def _seconds(done: Iterable[Result]) -> str:
    return f"{sum(result.took_s for result in done):.3f}"


def _texts(**attributes: object) -> dict[str, str]:
    return {name: _clean(str(value)) for name, value in attributes.items()}


def _clean(text: str) -> str:
    return NOT_XML.sub("", text)


def _escaped(text: str) -> str:
    """A description: one line, without what would begin a directive."""
    return " ".join(text.split()).replace("\\", "\\\\").replace("#", "\\#")


def _quoted(text: str) -> str:
    """A YAML scalar in single quotes: nothing in it means anything."""
    whole = re.sub(r"[\t\n\r]+", " ", NOT_XML.sub("", text)).strip()  # a diagram keeps its columns
    return f"'{whole.replace(chr(39), chr(39) * 2)}'"
