"""Writes docs/narrative.md: each rule, where it is done and what shows it. `make narrative`."""

import sys

from narrative.names import ROOT, Unknown, places, to_be_named
from narrative.rules import Rule, Section
from narrative.sections import SECTIONS

PAGE = ROOT / "docs" / "narrative.md"
HEAD = """# What the sequence must do, where it is done, and what shows it

Written by `make narrative` from `tests/narrative/`, where the rules stand; names are looked up when it is written,
so that file and line are right. Source of the rules: the control narrative of this project.
A rule is done by lines of the tables and by facts, and shown by claims (proved for all inputs, histories and
presets within their limits) and by tests that run it. Proved is the logic, not the machine: this is ordinary
software without a performance level or SIL; emergency stop and guards are wired and designed outside it.
"""


def unknown_names() -> list[str]:
    """Every name in the rules that nothing has, with its rule."""
    return [
        f"{section.number} {said.words[:60]}: {no}"
        for section in SECTIONS
        for said in section.rules
        for name in (*said.does, *said.shown)
        if (no := _problem(name))
    ]


def not_named() -> list[str]:
    """Every row, interlock, output, refusal and claim that no rule names."""
    named = {name for section in SECTIONS for said in section.rules for name in (*said.does, *said.shown)}
    return [name for name in to_be_named() if name not in named]


def without_evidence() -> list[tuple[str, Rule]]:
    """Rules that nothing does, or nothing shows."""
    return [
        (section.number, said)
        for section in SECTIONS
        for said in section.rules
        if said.missing or not said.does or not said.shown
    ]


def text() -> str:
    """The page. Raises Unknown with the first name that nothing has."""
    count, open_rules = sum(len(section.rules) for section in SECTIONS), len(without_evidence())
    contents = " · ".join(f"{section.number} {section.title}" for section in SECTIONS)
    lines = [HEAD, f"{count} rules; {count - open_rules} of them done and shown, {open_rules} still **open**.\n"]
    lines += [f"{contents}\n", "| section | rule | done by | shown by |", "| --- | --- | --- | --- |"]
    lines += [_row(section, said) for section in SECTIONS for said in section.rules]
    return "\n".join(lines) + "\n"


def _row(section: Section, said: Rule) -> str:
    does, shown = (", ".join(_link(n) for n in names) for names in (said.does, said.shown))
    still = f"**open**: {said.missing}" if said.missing else ""
    if not does:
        does, still = still, ""
    return f"| {section.number} | {said.words} | {does} | {' '.join(filter(None, (shown, still)))} |"


def _link(name: str) -> str:
    """The name and where it stands; of several lines of one file the file is said once, of a test no line."""
    kind, _, word = name.partition(" ")
    if kind == "test":
        path = places(name)[0].path
        return f"{word.partition('::')[2].replace('_', ' ')} [{path.rpartition('/')[2]}](../{path})"
    links, last = [], ""
    for path, line in places(name):
        file = path.rpartition("/")[2]
        links.append(f"[{line if path == last else f'{file}:{line}'}](../{path}#L{line})")
        last = path
    said = word if kind == "claim" else name
    return " ".join([said.replace("|", "\\|"), *links])


def _problem(name: str) -> str:
    try:
        places(name)
    except Unknown as no:
        return str(no)
    return ""


if __name__ == "__main__":
    wrong = [*unknown_names(), *(f"no rule names: {name}" for name in not_named())]
    for line in wrong:
        print(line)
    if unknown_names():
        sys.exit(1)
    PAGE.write_text(text(), encoding="utf-8")
    print(f"{PAGE.relative_to(ROOT)} written; {len(without_evidence())} rules without evidence")
    sys.exit(1 if wrong else 0)
