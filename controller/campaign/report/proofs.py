"""The proofs behind a report: the claims by number, and what `receiver prove --json` said of them."""

import ast
import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from controller.campaign.record import sha256
from controller.engines.claims import CLAIMS
from controller.problems import Problem, StationError
from controller.sequence.expressions import written

FORMAT = 1
NOT_RUN, PROVED, FAILED = "not run", "proved", "NOT PROVED"


class Proofs(NamedTuple):
    """Verdicts on claims, by name; none where nobody ran the proofs."""

    verdicts: Mapping[str, bool]
    made: str = ""  # when, and by which software
    sha256: str = ""  # of the file

    def said(self, claim: str) -> str:
        """Of one claim."""
        if claim not in self.verdicts:
            return NOT_RUN
        return PROVED if self.verdicts[claim] else FAILED

    @property
    def summary(self) -> str:
        """How many of the claims of this software are proved."""
        if not self.verdicts:
            return f"not run for this report ({len(CLAIMS)} claims)"
        good = sum(self.said(claim.name) == PROVED for claim in CLAIMS)
        return f"{good} of {len(CLAIMS)} claims proved"


def read(path: Path, logic: str) -> Proofs:
    """
    What `receiver prove --json` printed.

    Args:
        path: The file.
        logic: Hash of the logic that the scenarios ran on: the proofs must be of the same.

    Raises:
        StationError: It is no such file, or of another logic.
    """
    try:
        found: Any = json.loads(path.read_text(encoding="utf-8"))
        verdicts = {row["name"]: row["proved"] and row["possible"] for row in found["claims"]}
        made = f"{found['made_utc']}, software {found['software']}"
        of, known = found["logic"], found["receiver_proofs"] == FORMAT
    except OSError as error:
        raise _wrong(path, f"cannot be read: {error.strerror}") from None
    except (ValueError, KeyError, TypeError):
        raise _wrong(path, "holds no proofs: save what `receiver prove STATION --json` prints") from None
    if not known:
        raise _wrong(path, f"is not of format {FORMAT}")
    if of != logic:
        raise _wrong(path, f"proves logic {of}, the scenarios ran on {logic}: prove again with that software")
    return Proofs(verdicts, made, sha256(path))


@cache
def numbers() -> dict[str, int]:
    """The number of each claim, by name: its place in the list, from 1."""
    return {claim.name: n for n, claim in enumerate(CLAIMS, 1)}


@cache
def reads() -> dict[str, frozenset[str]]:
    """The names that each claim reads, by its name."""
    found = {}
    for claim in CLAIMS:
        trees = [written(rule).tree for rule in (claim.when, claim.then) if rule]
        nodes = [node for tree in trees for node in ast.walk(tree)]
        names = {node.attr for node in nodes if isinstance(node, ast.Attribute)}
        found[claim.name] = frozenset(names | {node.id for node in nodes if isinstance(node, ast.Name)})
    return found


def _wrong(path: Path, said: str) -> StationError:
    return StationError([Problem(str(path), 0, 0, "", said)])
