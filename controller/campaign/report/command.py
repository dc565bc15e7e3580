"""`receiver report`: reads a run folder, makes the page, leaves it beside the rest."""

from collections.abc import Iterable
from datetime import datetime
from importlib.metadata import version
from pathlib import Path

from controller.campaign import record
from controller.campaign.report import proofs as proofs_of
from controller.campaign.report.front import Told
from controller.campaign.report.matrix import matrix
from controller.campaign.report.page import page
from controller.campaign.report.proofs import Proofs
from controller.campaign.report.scenario_part import Evidence, File
from controller.problems import Problem, StationError
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.trace.header import logic_hash

MOST = 10_000


def report(run: Path, proofs: Path | None, now: datetime) -> Path:
    """
    Writes the next report of a run: `report.html`, then `report_2.html`; an earlier one stays as it is.

    Args:
        run: The folder that `receiver scenarios --out` left.
        proofs: What `receiver prove --json` printed; None: they were not run.
        now: For its date.

    Raises:
        StationError: Anything there cannot be read or written, or was changed since the run.
    """
    found = record.read(run)
    changed = list(_changed(run, found))
    if changed:
        raise StationError(changed)
    logic = Logic(RECEIVER)
    same = logic_hash(logic) == found["logic"]
    known = {**found, "sha256": record.sha256(run / record.FILE)}
    told = Told(
        known, run.resolve().name, 1, record.utc(now), version("vacuum-receiver"),
        matrix(run, found, logic) if same else None,
        proofs_of.read(proofs, found["logic"]) if proofs else Proofs({}),
        {s["name"]: Evidence(tuple(_evidence(run, s["name"]))) for s in found["scenarios"]},
    )  # fmt: skip
    return _written(run, told)


def _written(run: Path, told: Told) -> Path:
    for number in range(1, MOST):
        path = run / ("report.html" if number == 1 else f"report_{number}.html")
        try:
            text = page(told._replace(number=number))
            with path.open("x", encoding="utf-8") as file:
                file.write(text)
        except FileExistsError:
            continue
        except OSError as error:
            said = f"cannot be written: {error.strerror}"
            raise StationError([Problem(str(path), 0, 0, "", said)]) from None
        return path
    raise StationError([Problem(str(run), 0, 0, "", f"holds {MOST} reports")])


def _evidence(run: Path, name: str) -> Iterable[File]:
    for path in record.evidence_of(run, name):
        if path.is_file():
            yield File(path.name, record.sha256(path))


def _changed(run: Path, found: record.Document) -> Iterable[Problem]:
    """The files that the run kept and that are no longer what they were."""
    kept = {run / "scenarios" / Path(s["path"]).name: s["sha256"] for s in found["scenarios"]}
    for station in found["stations"]:
        kept |= {run / "stations" / station["folder"] / n: h for n, h in station["files"].items()}
    for scenario in found["scenarios"]:
        kept |= {run / name: h for name, h in scenario["evidence"].items()}
    for path, sha256 in kept.items():
        if not path.is_file():
            yield Problem(str(path), 0, 0, "", "is gone: a report tells of files that are there")
        elif record.sha256(path) != sha256:
            yield Problem(str(path), 0, 0, "", "was changed since the run: run the scenarios again")
