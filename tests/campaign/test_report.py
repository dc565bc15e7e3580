"""The run folder of scenarios and its report: whole, escaped, never over an earlier one."""

import hashlib
import json
import re
import shutil
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest
from narrative import requirements

from controller.campaign import command, record
from controller.campaign.report.command import report
from controller.engines.claims import CLAIMS
from controller.problems import StationError
from controller.stations import station_folder

NOW = datetime(2026, 1, 5, 6, 30, tzinfo=UTC)
SCENARIOS = {
    "stop_in_warning": """\
title: Stop while the horn sounds
why: Nobody may be surprised.
shows: ["3.5"]
guards: ["interlock LEVEL_HIGH"]
station: buckwheat_mill
timeline:
  - at: 1s
    command: start
    expect:
      - reaches: horn and LEVEL_HIGH
        within: 20ms
  - after: 500ms
    command: stop
    expect:
      - reaches: step == REST
        within: 20ms
""",
    "wrong_wish": """\
title: A wish with <b>marks</b> & signs
why: Wrong on purpose.
shows: ["5", "9.9"]
station: buckwheat_mill
timeline:
  - at: 1s
    command: start
    expect:
      - reaches: step == FAULT
        within: 100ms
        because: nothing
  - enters: drain
    waits: 50ms
    expect:
      - reaches: horn
""",
}


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Path:
    files = tmp_path_factory.mktemp("files")
    for name, text in SCENARIOS.items():
        (files / f"{name}.yaml").write_text(text, encoding="utf-8")
    out = tmp_path_factory.mktemp("runs") / "run"
    ask = command.Ask(sorted(files.iterdir()), None, 1, out)
    places = command.check(ask, station_folder)
    run = command.recorded(ask, out, places, NOW)
    run.finish(list(command.results(ask, station_folder)), NOW, ["receiver", "scenarios"])
    return out


@pytest.fixture
def run(ran: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(ran, tmp_path / "run"))


@pytest.fixture(scope="module")
def written(ran: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its first report."""
    return report(Path(shutil.copytree(ran, tmp_path_factory.mktemp("reported") / "run")), None, NOW)


@pytest.fixture
def reported(written: Path, tmp_path: Path) -> Path:
    """A folder with its first report."""
    return Path(shutil.copytree(written.parent, tmp_path / "reported")) / written.name


class Reader(HTMLParser):
    """Collects what is fetched from elsewhere, targets and links inside, and checks that elements close."""

    VOID = ("meta", "br")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.stack, self.links, self.ids, self.said = list[str](), list[str](), set[str](), list[str]()
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.links += [given[k] for k in ("src", "href") if k in given]
        self.ids |= {given["id"]} if "id" in given else set()
        if tag not in self.VOID:
            self.stack.append(tag)

    def handle_endtag(self, tag):
        assert self.stack.pop() == tag

    def handle_data(self, data):
        self.said.append(data)


def read(path: Path) -> Reader:
    return Reader(path.read_text(encoding="utf-8"))


def test_the_run_folder_keeps_each_file_with_its_hash(run: Path) -> None:
    found = record.read(run)
    kept = {run / "scenarios" / f"{s['name']}.yaml": s["sha256"] for s in found["scenarios"]}
    kept |= {run / "stations/buckwheat_mill" / n: h for n, h in found["stations"][0]["files"].items()}
    assert len(kept) == 5
    for path, sha256 in kept.items():
        assert hashlib.sha256(path.read_bytes()).hexdigest() == sha256
    assert [s["verdict"] for s in found["scenarios"]] == ["passed", "failed"]
    assert found["started_utc"] == "2026-01-05T06:30:00Z"


def test_what_was_never_come_to_is_not_run(run: Path) -> None:
    failed = record.read(run)["scenarios"][1]
    assert [[c["good"] for c in step["checks"]] for step in failed["steps"]] == [[False], [False, None]]


def test_a_second_run_into_the_folder_is_refused_and_so_is_a_folder_with_anything_in_it(
    run: Path, tmp_path: Path
) -> None:
    ask = command.Ask(sorted((run / "scenarios").iterdir()), None, 1)
    places = command.check(ask, station_folder)
    with pytest.raises(StationError, match="holds a run already; name another folder"):
        command.recorded(ask, run, places, NOW)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").touch()
    with pytest.raises(StationError, match="is not empty and holds no run"):
        command.recorded(ask, tmp_path / "other", places, NOW)


def test_two_scenarios_of_one_name_are_refused(run: Path, tmp_path: Path) -> None:
    again = shutil.copy(run / "scenarios" / "wrong_wish.yaml", tmp_path)
    ask = command.Ask([run / "scenarios" / "wrong_wish.yaml", Path(again)], None, 1)
    with pytest.raises(StationError, match="has the name of"):
        command.recorded(ask, tmp_path / "new", command.check(ask, station_folder), NOW)


def test_the_report_is_one_whole_file_that_asks_for_nothing(reported: Path) -> None:
    page, run = read(reported), reported.parent
    assert page.stack == []
    outside = [link for link in page.links if not link.startswith("#")]
    pages = [link for link in outside if link.endswith(".html")]
    assert pages == ["wrong_wish.html"], "the page of the failed one lies beside it"
    assert {link for link in outside if link not in pages} == {path.name for path in run.glob("*.trace.gz")}
    assert {link.removeprefix("#") for link in page.links if link.startswith("#")} <= page.ids


def test_the_report_says_who_ran_what_and_leaves_room_to_sign(reported: Path) -> None:
    said, run = "\n".join(read(reported).said), reported.parent
    found = record.read(run)
    for text in (
        found["logic"], found["stations"][0]["files"]["points.yaml"], "2026-01-05T06:30:00Z", "tester", "witness",
        "no performance level, no SIL", "Emergency stop, guards", "Local codes and licensed practice",
        "A wish with <b>marks</b> & signs", "wanted: reaches step == FAULT, within 0.1s; seen: never in its window",
        "not run for this report", "the whole chapter", "not known to this software",
        hashlib.sha256((run / "wrong_wish.html").read_bytes()).hexdigest(),
    ):  # fmt: skip
        assert text in said, text


def test_a_report_is_never_written_over(reported: Path) -> None:
    first, before = reported, reported.read_bytes()
    second = report(first.parent, None, NOW)
    assert [first.name, second.name] == ["report.html", "report_2.html"]
    assert first.read_bytes() == before


def test_a_file_that_was_changed_since_the_run_is_told(run: Path) -> None:
    with (run / "stations/buckwheat_mill/plant.yaml").open("a") as file:
        file.write("# later\n")
    with pytest.raises(StationError, match=r"plant\.yaml: was changed since the run"):
        report(run, None, NOW)


def test_a_folder_without_a_run_is_told(tmp_path: Path) -> None:
    with pytest.raises(StationError, match=r"holds no scenarios\.json"):
        report(tmp_path, None, NOW)


def test_proofs_are_told_by_claim_and_only_those_of_the_logic_that_ran(run: Path, tmp_path: Path) -> None:
    rows = [{"name": c.name, "proved": n > 0, "possible": True, "took_ms": 1} for n, c in enumerate(CLAIMS)]
    document = {
        "receiver_proofs": 1,
        "station": "R-101",
        "software": "0",
        "made_utc": "2026-01-05T06:00:00Z",
        "claims": rows,
    }
    file = tmp_path / "proofs.json"
    file.write_text(json.dumps(document | {"logic": record.read(run)["logic"]}))
    said = read(report(run, file, NOW)).said
    assert f"{len(CLAIMS) - 1} of {len(CLAIMS)} claims proved" in "".join(said)
    assert said.count("NOT PROVED") == 1
    file.write_text(json.dumps(document | {"logic": "another"}))
    with pytest.raises(StationError, match="proves logic another"):
        report(run, file, NOW)


def test_a_claim_that_is_not_proved_covers_no_requirement(reported: Path, tmp_path: Path) -> None:
    """One scenario passed, for section 3.5; without proofs the other sections stand open or empty."""
    text, run = reported.read_text(encoding="utf-8"), reported.parent
    found = re.search(r"Of (\d+) sections (\d+) are shown by a scenario that passed, (\d+) more by a proof, (\d+) by nothing that", text)
    assert found
    whole, by_run, by_proof, unproved = map(int, found.groups())
    assert (by_run, by_proof) == (1, 0)
    assert unproved > 10
    assert f"<details><summary>{len(CLAIMS)} claims by number</summary>" in text
    proved = report(run, proofs_of_all(run, tmp_path), NOW).read_text(encoding="utf-8")
    assert f"Of {whole} sections 1 are shown by a scenario that passed, {unproved} more by a proof, 0 by" in proved
    assert "<details>" not in proved


def proofs_of_all(run: Path, folder: Path) -> Path:
    rows = [{"name": c.name, "proved": True, "possible": True, "took_ms": 1} for c in CLAIMS]
    file = folder / "all.json"
    head = {"receiver_proofs": 1, "station": "R-101", "software": "0", "made_utc": "2026-01-05T06:00:00Z"}
    file.write_text(json.dumps(head | {"claims": rows, "logic": record.read(run)["logic"]}))
    return file


def test_a_cell_is_shown_only_by_a_scenario_that_passed_and_in_which_the_interlock_acted(run: Path) -> None:
    from controller.campaign.report.matrix import matrix
    from controller.sequence.logic import Logic
    from controller.sequence.receiver import RECEIVER

    found, logic = record.read(run), Logic(RECEIVER)
    by = {row.interlock: row.effect.scenarios for row in matrix(run, found, logic).rows}
    assert {name: shown for name, shown in by.items() if shown} == {"LEVEL_HIGH": (1,)}
    found["scenarios"][0]["acts"] = []
    assert not any(row.effect.scenarios for row in matrix(run, found, logic).rows)


def test_the_requirements_of_the_product_are_those_of_the_narrative() -> None:
    assert requirements.FILE.read_text(encoding="utf-8") == requirements.text(), "run: make narrative"


def test_evidence_that_was_changed_since_the_run_is_told(run: Path, tmp_path: Path) -> None:
    copied = shutil.copytree(run, tmp_path / "copied")
    trace = next(copied.glob("*.trace.gz"))
    trace.write_bytes(b"not the trace")
    with pytest.raises(StationError, match=r"trace\.gz: was changed since the run"):
        report(copied, None, NOW)
