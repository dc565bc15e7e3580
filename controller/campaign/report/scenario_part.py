"""One scenario in a report: what was done and wanted at each moment, what was seen."""

from collections.abc import Iterator
from typing import Any, NamedTuple

from controller.campaign.report.html import BREAK, Raw, joined, table, tag, told
from controller.simulate.times import typed

Document = dict[str, Any]
SAID = {True: "passed", False: "failed", None: "not judged"}


class File(NamedTuple):
    """A file beside the report."""

    name: str
    sha256: str


class Evidence(NamedTuple):
    """The page and the trace that a scenario left, if it did."""

    files: tuple[File, ...]


def verdict(word: str) -> Raw:
    """A verdict as it stands everywhere."""
    return tag("span", word, class_=f"verdict {word.replace(' ', '_')}")


def scenario_part(n: int, s: Document, evidence: Evidence) -> Raw:
    """Heading, facts, timeline, grounds, evidence."""
    return tag(
        "div",
        tag("h3", f"S{n} · {s['title']} ", verdict(s["verdict"]), id=f"s{n}"),
        tag("p", s["why"], class_="about"),
        told(_facts(s, evidence)),
        _bad(s),
        table(["", "moment", "done", "expected", "window, tolerance", "actual", "verdict"], _rows(s)),
        class_="scenario",
    )  # fmt: skip


def _facts(s: Document, evidence: Evidence) -> list[tuple[str, object]]:
    acts = (
        ", ".join(f"{name} at {typed(at)}" for name, at in sorted(s["acts"], key=lambda act: int(act[1])))
        or "none"
    )
    links = (joined([tag("a", f.name, href=f.name), " ", tag("code", f.sha256)]) for f in evidence.files)
    pairs: list[tuple[str, object]] = [
        ("file", joined([s["name"], " ", tag("code", s["sha256"])])),
        ("station", f"{s['station']} ({s['station_folder']}), seed {s['seed']}"),
        ("set otherwise", _otherwise(s["otherwise"])),
        ("shows", ", ".join(s["shows"]) or "no requirement named"),
        ("guards", ", ".join(s["guards"]) or "no line named"),
        ("run", f"{typed(s['ran_ms'])} of plant time, {s['executor'] or 'not run to its end'}"),
        ("interlocks that acted", "not known" if s["broken"] or s.get("foreign") else acts),
        ("evidence", joined(links, "\n") if evidence.files else "no page and no trace was left"),
    ]
    return [pair for pair in pairs if pair[1]]


def _otherwise(o: Document) -> str:
    said = [
        f"{kind}.{group}.{key} = {value}"
        for kind in ("presets", "plant")
        for group, values in o[kind].items()
        for key, value in values.items()
    ]
    said += [f"{word.replace('_', ' ')}: {', '.join(o[word])}" for word in ("wired", "not_wired") if o[word]]
    return ", ".join(said)


def _bad(s: Document) -> Raw | None:
    if s["verdict"] in ("passed", "not judged"):
        return None
    said = [f"Could not be run: {s['broken']}"] if s["broken"] else []
    said += [f"The engines differ at {line}" for line in s["disagreements"]]
    again = tag("p", "Again: ", tag("code", f"receiver scenarios {s['path']}"))
    return tag(
        "div",
        tag("strong", "Grounds"),
        tag("ul", *(tag("li", x) for x in said)) if said else None,
        *_facts_of_failed(s),
        again,
        class_="bad-note",
    )


def _facts_of_failed(s: Document) -> Iterator[Raw]:
    """Under each failed verdict what stood behind it, at its moment."""
    bad = sorted((v for v in s["verdicts"] if v["good"] is False), key=lambda v: int(v["at_ms"]))
    for v, facts in zip(bad, s["facts"], strict=False):
        at = typed(facts["at_ms"])
        yield tag("p", tag("strong", f"{v['wanted']}: {v['seen']}"), f", line {v['line']}")
        yield tag("ul", *(tag("li", f"at {at}: {said}") for said in facts["said"]))
        if facts["diagram"]:
            yield tag("pre", "\n".join(facts["diagram"]))
    if len(bad) > len(s["facts"]):
        more = len(bad) - len(s["facts"])
        yield tag("p", f"{more} more failed: facts are told of the first {len(s['facts'])}.")


def _rows(s: Document) -> list[list[object]]:
    rows: list[list[object]] = []
    for n, step in enumerate(s["steps"], 1):
        checks = step["checks"] or [None]
        came = typed(step["at_ms"]) if step["at_ms"] is not None else "did not come"
        span = len(checks)
        first: list[object] = [
            tag("td", n, rowspan=span, class_="n"),
            tag("td", step["moment"], BREAK, tag("span", came, class_="faint"), rowspan=span),
            tag("td", joined(step["does"], ", "), rowspan=span),
        ]
        for k, check in enumerate(checks):
            rows.append((first if k == 0 else []) + _check(check))
    for check in s["rules"]:
        rows.append([tag("td", ""), tag("td", "all along"), "", *_check(check)])
    return rows


def _check(check: Document | None) -> list[object]:
    if check is None:
        return ["", "", "", ""]
    because = tag("span", check.get("because", ""), class_="faint") if check.get("because") else None
    wanted = joined([check["wanted"], BREAK if because else None, because])
    seen = joined([check["seen"], f" (look at {typed(check['at_ms'])})" if check["good"] is False else None])
    word = SAID[check["good"]] if check["seen"] else "not run"
    return [tag("td", wanted), check["window"], tag("td", seen), tag("td", verdict(word))]
