"""The first pages of a report: verdict, cautions, identity, summary, deviations, room to sign."""

from typing import Any, NamedTuple

from controller.campaign.report.html import Raw, joined, number, table, tag, told
from controller.campaign.report.matrix import Matrix
from controller.campaign.report.proofs import Proofs
from controller.campaign.report.scenario_part import Evidence, verdict
from controller.simulate.times import typed

Document = dict[str, Any]
VERDICTS = ("passed", "failed", "not judged", "broken")
DEVIATION = ("no.", "scenario", "deviation", "severity", "agreed action, by whom")
CAUTIONS = (
    "The machine that this logic moves can hurt people. This report is about a simulated plant and ordinary "
    "software: no performance level, no SIL, not a safety function.",
    "Emergency stop, guards, safe exhaust and dust-explosion protection are wired and designed outside it, "
    "must work with it switched off, and are not tested here.",
    "It replaces no test at the machine. Local codes and licensed practice come first.",
)


AGAIN = "every scan looked at again by columns of facts, and by the rules as written wherever something moved"
FOREIGN = "another controller, of which nothing was seen but inputs, outputs and the simulated plant"


class Told(NamedTuple):
    """All that a report is made of."""

    record: Document
    folder: str  # name of the run folder
    number: int  # of the report of this run
    made_utc: str
    software: str  # that makes the report
    matrix: Matrix | None  # None: this software's logic is not the one that ran
    proofs: Proofs
    evidence: dict[str, Evidence]  # by scenario

    @property
    def scenarios(self) -> list[Document]:
        """In the order of the run."""
        return list(self.record["scenarios"])

    @property
    def verdict(self) -> str:
        """Of the whole."""
        found = {s["verdict"] for s in self.scenarios}
        return next(word for word in ("broken", "failed", "not judged", "passed") if word in found)

    @property
    def foreign(self) -> bool:
        """Another controller ran: nothing is known of its logic."""
        return any(s.get("foreign") for s in self.scenarios)

    @property
    def looked_at(self) -> str:
        """How the scans were looked at, in words."""
        return FOREIGN if self.foreign else AGAIN

    @property
    def identity(self) -> str:
        """In a line, for each page."""
        names = ", ".join(s["name"] for s in self.record["stations"])
        r = self.record
        return f"{names} · software {r['software']}, logic {r['logic']} · {r['started_utc']}"


def front(t: Told) -> Raw:
    """What a reader sees first."""
    counts = {word: sum(s["verdict"] == word for s in t.scenarios) for word in VERDICTS}
    said = ", ".join(f"{n} {word}" for word, n in counts.items() if n or word == "passed")
    ran_ms = sum(s["ran_ms"] for s in t.scenarios)
    checks = sum(len(step["checks"]) for s in t.scenarios for step in s["steps"])
    checks += sum(len(s["rules"]) for s in t.scenarios)
    return tag(
        "section",
        tag("p", "Test report · fault scenarios on a simulated receiver", class_="kind"),
        tag("h1", ", ".join(f"{s['name']} {s['folder'].replace('_', ' ')}" for s in t.record["stations"])),
        tag("div", t.verdict, class_=f"verdict whole {t.verdict.replace(' ', '_')}"),
        tag("p", tag("strong", f"{len(t.scenarios)} scenarios: {said}."),
            f" {checks} checks over {typed(ran_ms)} of plant time. Proofs: {t.proofs.summary}."),
        tag("div", *(tag("p", text) for text in CAUTIONS), class_="caution"),
        tag("h2", "Identity"),
        _identity(t),
        tag("h2", "Summary"),
        table(
            ["no.", "scenario", "station", "verdict"],
            ([number(k), Raw(tag("a", s["title"], href=f"#s{k}")), s["station"], verdict(s["verdict"])]
             for k, s in enumerate(t.scenarios, 1)),
        ),
    )  # fmt: skip


def _identity(t: Told) -> Raw:
    r = t.record
    seeds = sorted({s["seed"] for s in t.scenarios})
    pairs: list[tuple[str, object]] = [
        ("run", Raw(f"{tag('span', t.folder)}\n{tag('code', r['sha256'] + '  scenarios.json')}")),
        ("started, ended", f"{r['started_utc']}, {r['ended_utc']} (UTC, RFC 3339)"),
        ("software", f"vacuum-receiver {r['software']}"),
        ("logic", Raw(tag("code", r["logic"])) if r["logic"] else ""),
        ("executors", f"{', '.join(r['executors']) or 'none came to an end'}; {t.looked_at}"),
        ("seeds", ", ".join(map(str, seeds))),
        ("command", Raw(tag("code", " ".join(r["command"])))),
        ("report", f"no. {t.number} of this run, made {t.made_utc} by software {t.software}"),
    ]  # fmt: skip
    for station in r["stations"]:
        hashes = joined((tag("code", f"{h}  {name}") for name, h in station["files"].items()), "\n")
        pairs.append((f"station {station['name']}", Raw(f"{tag('span', station['folder'])}\n{hashes}")))
    if t.proofs.verdicts:
        pairs.append(("proofs", Raw(f"{tag('span', t.proofs.made)}\n{tag('code', t.proofs.sha256)}")))
    return told(pairs)


def deviations(t: Told) -> Raw:
    """What did not pass, numbered, with room for its severity; and the signatures."""
    found = [(k, s, said) for k, s in enumerate(t.scenarios, 1) for said in _wrong(s)]
    empty = Raw(tag("td", class_="empty"))
    rows = [
        [number(n), Raw(tag("a", f"S{k}", href=f"#s{k}")), said, empty, empty]
        for n, (k, _, said) in enumerate(found, 1)
    ]
    listed = (
        table(DEVIATION, rows)
        if rows
        else tag("p", "None was found by the run. Deviations that the witness sees are written here:")
    )
    more = None if rows else table(DEVIATION, [[empty] * 5] * 2)
    blank = Raw(tag("td"))
    return tag(
        "section",
        tag("h2", "Deviations"), listed, more,
        tag("h2", "Signatures"),
        table(["", "name", "signature", "date"],
              ([who, blank, blank, blank] for who in ("tester", "witness", "for the owner")), class_="sign"),
    )  # fmt: skip


def _wrong(s: Document) -> list[str]:
    said = [f"could not be run: {s['broken']}"] if s["broken"] else []
    checks = [c for step in s["steps"] for c in step["checks"]] + s["rules"]
    said += [f"wanted: {c['wanted']}{', ' if c['window'] else ''}{c['window']}; seen: {c['seen']}"
             for c in checks if c["good"] is False]  # fmt: skip
    return said + [f"the engines differ at {line}" for line in s["disagreements"]]
