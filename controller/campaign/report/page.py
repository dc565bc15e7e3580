"""The report as one HTML page: who ran what on what, what came of it, what shows what, room to sign."""

from collections import Counter
from collections.abc import Iterable
from importlib.resources import files

from controller.campaign.report.front import FOREIGN, Document, Told, deviations, front
from controller.campaign.report.html import Raw, cell, joined, number, table, tag
from controller.campaign.report.matrix import Cell
from controller.campaign.report.proofs import PROVED, numbers
from controller.campaign.report.requirements import sections, within
from controller.campaign.report.scenario_part import scenario_part
from controller.engines.claims import CLAIMS

BY_SECTION = (
    "By section of the control narrative. A scenario stands where its file says that it shows the section; "
    "one that names a whole chapter stands at the end. A claim is a promise proved for all inputs, histories "
    "and presets; its number is that of the list below. Striped: shown only by what did not pass or is not "
    "proved for this report, so not shown. Yellow: nothing is meant to show it."
)
BY_CELL = (
    "Under what happens stand its scenarios (S) and claims (C). A scenario stands "
    "there if it passed, the interlock acted in it, and a guard or a fulfilled check names it, and in "
    "the column of an output the output too. A claim stands there if it reads the interlock or its cause "
    "and the output; for a trip also if it ties what the cause reads to the fault, or says what a fault "
    "does to the output, as a trip is a fault in the same scan. Blank: no change."
)
FEW = 4
"""So many numbers stand in a cell of the matrix; the rest are counted."""


def page(t: Told) -> str:
    """The whole file."""
    title = f"Test report {t.folder}, no. {t.number}"
    style = (files("controller.campaign.report") / "report.css").read_text(encoding="utf-8")
    parts = [front(t), deviations(t), _requirements(t), _effects(t), _scenarios(t), _claims(t), _files(t)]
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width">\n{tag("title", title)}\n'
        f"<style>\n{style}{_paper(title, t.identity)}</style>\n</head>\n<body>\n"
        + "\n".join(parts)
        + "\n</body>\n</html>\n"
    )


def _paper(title: str, identity: str) -> str:
    """The margins of each printed page: identity above, page number below."""
    quoted = [
        text.replace("\\", "\\\\").replace('"', '\\"').replace("<", "\\3c ") for text in (title, identity)
    ]
    font = "font: 7.5pt system-ui, sans-serif; color: #555d68"
    return (
        "@page { size: A4; margin: 17mm 14mm 15mm; "
        f'@top-left {{ content: "{quoted[0]}"; {font} }} @top-right {{ content: "{quoted[1]}"; {font} }} '
        f'@bottom-left {{ content: "simulated; ordinary software, not a safety function"; {font} }} '
        f'@bottom-right {{ content: counter(page) " of " counter(pages); {font} }} }}\n'
        "@page wide { size: A4 landscape; }\n"
    )


# ---- what shows what -----------------------------------------------------------------------------------
def _requirements(t: Told) -> Raw:
    numbered = list(enumerate(t.scenarios, 1))
    rows: list[list[object]] = []
    counts: Counter[str] = Counter()
    for section in sections():
        shown = [(k, s) for k, s in numbered if section.number in s["shows"]]
        claims = [numbers()[name] for name in section.claims if name in numbers()] if t.matrix else []
        ran = any(s["verdict"] == "passed" for _, s in shown)
        gap = "" if ran or _any_proved(t, claims) else "open" if shown or claims else "gap"
        counts[gap or ("run" if ran else "proof")] += 1
        rows.append([
            number(section.number), section.title, number(section.rules), cell(_marked(shown), gap),
            cell(_spans(claims), gap), cell(_proof_state(t, section.claims), "tight"),
        ])  # fmt: skip
    known = {section.number for section in sections()}
    for chapter in sorted({n for s in t.scenarios for n in s["shows"]} - known):
        said = "the whole chapter" if any(within(chapter, k) for k in known) else "not known to this software"
        rows.append(
            [number(chapter), said, "", _marked([p for p in numbered if chapter in p[1]["shows"]]), "", ""]
        )
    return tag(
        "section",
        tag("h2", "Requirements, scenarios, proofs"),
        tag("p", f"Of {len(sections())} sections {counts['run']} are shown by a scenario that passed, "
                 f"{counts['proof']} more by a proof, {counts['open']} by nothing that passed or is proved "
                 f"(striped), {counts['gap']} by nothing at all (yellow). {BY_SECTION}", class_="faint"),
        table(["", "section", "rules", "scenarios", "claims", "proofs"], rows),
        class_="new",
    )  # fmt: skip


def _marked(shown: list[tuple[int, Document]]) -> Raw:
    return joined(
        (tag("a", f"S{k}" + ("" if s["verdict"] == "passed" else f" {s['verdict']}"), href=f"#s{k}",
             class_="" if s["verdict"] == "passed" else "failed") for k, s in shown), " ",
    )  # fmt: skip


def _spans(found: list[int]) -> str:
    """Numbers with rows of them joined: C1 to C4, C7."""
    spans: list[list[int]] = []
    for n in sorted(found):
        if spans and n == spans[-1][1] + 1:
            spans[-1][1] = n
        else:
            spans.append([n, n])
    return ", ".join(f"C{a}" if a == b else f"C{a} to C{b}" for a, b in spans)


def _proof_state(t: Told, claims: tuple[str, ...]) -> str:
    if not claims:
        return ""
    said = [t.proofs.said(name) for name in claims]
    return ", ".join(f"{said.count(word)} {word}" for word in dict.fromkeys(said))


def _effects(t: Told) -> Raw:
    m = t.matrix
    if m is None:
        return tag("section", tag("h2", "Cause and effect"), tag("p", _other_logic(t)))
    by_run = sum(bool(c.scenarios) for c in m.cells)
    by_proof = sum(not c.scenarios and _any_proved(t, c.claims) for c in m.cells)
    unproved = sum(bool(c.claims) and not c.scenarios and not _any_proved(t, c.claims) for c in m.cells)
    counted = (
        f"Of {len(m.cells)} cells {by_run} are shown by a scenario, {by_proof} more by a proof; {unproved} "
        "have only claims that are not proved for this report (striped), "
        f"{sum(not c.shown for c in m.cells)} nothing (yellow)."
    )
    head = [
        "interlock",
        "what is the case",
        "effect",
        *(Raw(tag("th", name, class_="up")) for name in m.outputs),
    ]
    rows = [
        [cell(row.interlock, "name"), row.words, _proved(t, row.effect),
         *(_proved(t, row.outputs[name]) if name in row.outputs else "" for name in m.outputs)]
        for row in m.rows
    ]  # fmt: skip
    return tag(
        "section",
        tag("h2", "Cause and effect"),
        tag("p", f"{counted} {BY_CELL}",
            class_="faint"),
        tag("div", table(head, rows, class_="effects"), class_="scroll"),
        tag("p", f"Can never act at these stations: {', '.join(m.never) or 'none'}.", class_="faint"),
        class_="new wide",
    )  # fmt: skip


def _other_logic(t: Told) -> str:
    return f"Left out: {FOREIGN}." if t.foreign else OTHER_LOGIC


OTHER_LOGIC = (
    "Left out: this report was made by software whose logic is not the one that ran. Make it with the "
    "software named under Identity."
)


def _proved(t: Told, c: Cell) -> Raw:
    by = [f"{kind}{n}" for kind, found in (("S", c.scenarios), ("C", c.claims)) for n in found[:FEW]]
    by += [
        f"+{len(found) - FEW} {kind}"
        for kind, found in (("S", c.scenarios), ("C", c.claims))
        if len(found) > FEW
    ]
    inside = joined([tag("span", c.mark, class_="mark"), tag("span", " ".join(by) or "gap", class_="by")])
    return cell(inside, "gap" if not c.shown else "" if c.scenarios or _any_proved(t, c.claims) else "open")


def _any_proved(t: Told, claims: Iterable[int]) -> bool:
    return any(t.proofs.said(CLAIMS[n - 1].name) == PROVED for n in claims)


# ---- the parts -----------------------------------------------------------------------------------------
def _scenarios(t: Told) -> Raw:
    parts = (scenario_part(k, s, t.evidence[s["name"]]) for k, s in enumerate(t.scenarios, 1))
    return tag("section", tag("h2", "Scenarios"), *parts, class_="new")


def _claims(t: Told) -> Raw:
    if t.matrix is None:
        return tag("section", tag("h2", "Claims"), tag("p", _other_logic(t)))
    said = "not run for this report: `receiver prove STATION --json` writes what --proofs reads"
    said = t.proofs.summary if t.proofs.verdicts else said
    rows = ([f"C{n}", claim.name, t.proofs.said(claim.name)] for n, claim in enumerate(CLAIMS, 1))
    listed = table(["no.", "in every scan", "proof"], rows)
    if not t.proofs.verdicts:
        listed = tag("details", tag("summary", f"{len(CLAIMS)} claims by number"), listed)
    return tag(
        "section",
        tag("h2", "Claims"),
        tag("p", f"Proved is the logic, not the machine. Proofs: {said}.", class_="faint"),
        listed,
        class_="new",
    )


def _files(t: Told) -> Raw:
    rows: list[list[object]] = [
        [f"scenarios/{s['path'].rsplit('/', 1)[-1]}", Raw(tag("code", s["sha256"]))] for s in t.scenarios
    ]
    rows += [[e.name, Raw(tag("code", e.sha256))] for found in t.evidence.values() for e in found.files]
    return tag(
        "section", tag("h2", "Files of the run"),
        tag("p", "SHA-256 of each file beside this report.", class_="faint"), table(["file", "sha256"], rows),
    )  # fmt: skip
