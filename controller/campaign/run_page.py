"""One run as a page: a single HTML file that asks nothing of any network and opens from a disk."""

import html
import json
import re
from importlib.resources import files

from controller.campaign.results import Result
from controller.campaign.run_data import data_of
from controller.campaign.runner import Outcome

SCRIPTS = ("data.js", "draw.js", "lists.js", "view.js")


def page_of(outcome: Outcome, result: Result) -> str:
    """
    The page of a run: what was done and what followed, over time, with all verdicts.

    Args:
        outcome: With its recording; one that is broken has none, and no page.
        result: Of the same outcome.
    """
    data = json.dumps(data_of(outcome, result), separators=(",", ":"), ensure_ascii=False)
    title = html.escape(f"{result.verdict}: {result.title}")
    parts = {
        "<!--title-->": title,
        "/*style*/": _part("page.css"),
        "/*data*/": data.replace("<", "\\u003c"),  # so that no text can end the element
        "/*script*/": "\n".join(_part(name) for name in SCRIPTS),
    }
    page = _part("page.html")
    # all in one pass: a text that holds a mark is left as it is
    return re.sub("|".join(map(re.escape, parts)), lambda found: parts[found[0]], page)


def _part(name: str) -> str:
    return (files("controller.campaign") / "page" / name).read_text(encoding="utf-8")
