"""The diagram in letters, and what `receiver scenarios` leaves and prints of a failed run."""

from pathlib import Path

import pytest
from campaign.failing_run import TEXT, failing_run
from typer.testing import CliRunner

from controller.campaign.command import Ask, _page_files
from controller.campaign.timing_diagram import AFTER, ASCII, BEFORE
from controller.cli import app


def diagram() -> tuple[str, ...]:
    """Of the order that is not followed within 3 s."""
    return next(facts.diagram for facts in failing_run()[1].facts if facts.at_ms == 4_000)


def test_the_diagram_stands_its_moment_over_the_column_that_ends_then() -> None:
    head, step, *rows = diagram()
    begin = step.index("|REST") - 4  # four columns of 100 ms lie before power-up
    assert head.index("▼") == begin + BEFORE - 1
    assert head.endswith("▼ 4s, 0.1s a column")
    assert head.index("0s") == begin + 4
    # the start at 1 s is followed in the scan that ends at 1.01 s, which the column from 1.0 s to 1.1 s shows
    assert step.index("|WARNING") == begin + 4 + 10
    assert [row.split()[0] for row in rows] == ["flap_open_cmd", "flap_closed_fb", "flap_open_fb"]
    assert all(len(row) == begin + BEFORE + AFTER for row in rows)


def test_blocks_are_high_while_a_point_is_on() -> None:
    outcome, _ = failing_run()
    assert outcome.recording is not None
    row = next(row for row in diagram() if row.startswith("flap_open_fb"))
    rises = [
        piece.first_ms + 10 * int(at)
        for piece in outcome.recording.pieces()
        for at in piece.columns.now("flap_open_fb").nonzero()[0][:1]
    ]
    column = (rises[0] - 1 - (4_000 - BEFORE * 100)) // 100
    blocks = row[-BEFORE - AFTER :]
    assert set(blocks[4:column]) == {"▁"}
    assert blocks[column] in "▌█"
    assert set(blocks[column + 1 :]) == {"█"}


def test_a_terminal_without_blocks_gets_letters() -> None:
    assert "".join(diagram()).translate(ASCII).isascii()


@pytest.mark.parametrize(("pages", "left"), [("failed", ["late"]), ("all", ["early", "late"])])
def test_a_folder_for_pages_gets_those_of_failed_runs_or_of_all(
    tmp_path: Path, pages: str, left: list[str]
) -> None:
    passes = "title: t\nwhy: w\nstation: buckwheat_mill\ntimeline:\n  - at: 100ms\nlasts: 500ms\n"
    (tmp_path / "early.yaml").write_text(passes, encoding="utf-8")
    (tmp_path / "late.yaml").write_text(TEXT, encoding="utf-8")
    out = tmp_path / "run"
    asked = ["scenarios", str(tmp_path), "--pages", pages, "--jobs", "1", "--out", str(out)]
    done = CliRunner().invoke(app, asked)
    assert done.exit_code == 1, done.output
    assert sorted(file.stem for file in out.glob("*.html")) == left
    assert f"page: {out / 'late.html'}" in done.output


def test_two_files_of_one_name_leave_two_pages(tmp_path: Path) -> None:
    files = [tmp_path / "a" / "one.yaml", tmp_path / "b" / "one.yaml"]
    ask = Ask(files, None, 1, tmp_path)
    assert [page.name for page in _page_files(ask) if page] == ["one.html", "one_2.html"]
    assert _page_files(ask._replace(out=None)) == [None, None]
