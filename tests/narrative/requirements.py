"""
Sections of the narrative with the claims that show them, for the reports of the product.

`make narrative` writes them; the product ships them, as it knows neither the narrative nor the tests.
"""

import json

from narrative.names import ROOT
from narrative.sections import SECTIONS

FILE = ROOT / "controller" / "campaign" / "report" / "requirements.json"


def text() -> str:
    """The file as it should be: number, title, rules and names of claims of each section."""
    found = []
    for section in SECTIONS:
        shown = [name for rule in section.rules for name in rule.shown]
        claims = dict.fromkeys(name.removeprefix("claim ") for name in shown if name.startswith("claim "))
        found.append(
            {"section": section.number, "title": section.title, "rules": len(section.rules), "claims": list(claims)}
        )
    return json.dumps(found, indent=1) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
