"""What stays of a journal: by age and size, told lines first, and what is lost is counted and said."""

import pytest
from test_journal import cycle, event

from controller.reporting import journal, journal_file, journal_kept
from controller.reporting.journal import Journal, read_cycles, read_events
from controller.reporting.journal_kept import Kept, used_bytes

LONG = "x" * 900  # four lines a page


@pytest.fixture(autouse=True)
def looked_at_often(monkeypatch):
    monkeypatch.setattr(journal, "LOOKED_AT_EVERY", 8)
    monkeypatch.setattr(journal_kept, "MOST_AT_ONCE", 16)


def on_day(day, detail=""):
    return event()._replace(utc=f"2026-01-{day:02}T06:00:00.000+00:00", detail=detail)


def opened(folder, days=10, mb=500, readers=()):
    return Journal(folder, readers=readers, kept=Kept(days, mb))


def day_by_day(journal, days, a_day=5, detail=""):
    for day in days:
        journal.add_events([on_day(day, detail)] * a_day)
        journal.commit()


def days_in(folder):
    return sorted({int(found.utc[8:10]) for found in read_events(folder)})


def test_lines_older_than_the_days_are_gone_and_numbers_go_on(tmp_path):
    with opened(tmp_path, readers=("mqtt",)) as journal:
        for day in range(1, 31):
            day_by_day(journal, [day])
            journal.told("mqtt", journal.waiting("mqtt")[-1].n)
        journal.add_events([on_day(30)])
        journal.commit()
        (line,) = journal.waiting("mqtt")
    assert line.n == 151
    assert days_in(tmp_path)[0] in (19, 20)  # it looks at every 8 lines, a day has 5
    assert days_in(tmp_path)[-1] == 30


def test_without_a_reader_nothing_waits_to_be_told(tmp_path):
    with opened(tmp_path) as journal:
        day_by_day(journal, range(1, 31))
    assert days_in(tmp_path)[0] in (19, 20)


def test_what_is_not_told_stays_however_old_it_is(tmp_path):
    with opened(tmp_path, readers=("mqtt", "page")) as journal:
        day_by_day(journal, range(1, 31))
        journal.told("mqtt", 150)
        journal.told("page", 30)
        day_by_day(journal, [30, 30])
        assert journal.removed_untold == 0
        assert journal.waiting("page", limit=1)[0].n == 31
    assert days_in(tmp_path)[0] == 7


def test_over_its_size_the_oldest_told_go_cycles_among_them(tmp_path):
    with opened(tmp_path, mb=0.2) as journal:
        for number in range(300):
            journal.add_events([on_day(5, LONG)])
            journal.add_cycle(cycle(number))
        assert used_bytes(journal._db) < 0.3e6
        assert journal.removed_untold == 0
    kept = [record.number for record in read_cycles(tmp_path)]
    assert kept == [*range(kept[0], 300)]
    assert kept[0] > 50


def test_untold_lines_go_at_twice_the_size_only_and_that_is_counted_and_said(tmp_path):
    with opened(tmp_path, mb=0.2, readers=("mqtt",)) as journal:
        journal.add_events([on_day(5, LONG)] * 240)  # 0.25 MB
        journal.commit()
        journal.add_events([on_day(5)] * 8)
        journal.commit()
        assert journal.waiting("mqtt", limit=1)[0].n == 1
        written = 248
        for _ in range(20):
            journal.add_events([on_day(5, LONG)] * 10)
            journal.commit()
            written += 10
        assert used_bytes(journal._db) < 0.5e6
        said = [found for found in read_events(tmp_path) if found.id == "RECORDS_REMOVED"]
        waits = journal.waiting("mqtt", limit=10_000)
        removed = journal.removed_untold
    assert said[0].what == "16 lines, 1 to 16"
    assert said[0].detail == "the journal is larger than 2 x 0.2 MB"
    assert removed == waits[0].n - 1 == sum(int(found.what.split()[0]) for found in said)
    assert waits[-1].n == written + len(said)
    with opened(tmp_path, mb=0.2, readers=("mqtt",)) as journal:
        assert journal.removed_untold == removed


def test_no_more_lines_are_counted_as_removed_than_there_were(tmp_path):
    with opened(tmp_path, mb=0.01, readers=("mqtt",)) as kept:
        kept.add([on_day(5)] * 8)
        kept.commit()
        assert kept.removed_untold == 8
    assert [found.what for found in read_events(tmp_path)] == ["8 lines, 1 to 8"]


def test_a_removal_in_the_commit_that_makes_room_takes_no_number_of_the_lines_to_come(tmp_path, monkeypatch):
    monkeypatch.setattr(journal, "MOST_UNWRITTEN", 240)
    with opened(tmp_path, mb=0.1, readers=("mqtt",)) as kept:
        kept.add([on_day(5, LONG)] * 240)
        kept.add([on_day(5)] * 3)  # over the most: what waits is committed, and over twice the size
        assert kept.removed_untold == 16
        kept.commit()  # removes again
        found = [(line.n, line.record.id) for line in kept.waiting("mqtt", limit=10_000)]
    said, usual = "RECORDS_REMOVED", event().id
    assert found[-6:] == [(240, usual), (241, said), (242, usual), (243, usual), (244, usual), (245, said)]


def test_one_line_dated_by_a_wrong_clock_takes_nothing_with_it_and_goes_with_its_neighbours(tmp_path):
    with opened(tmp_path) as journal:
        day_by_day(journal, [1, 2])
        journal.add_events([on_day(29)] * 8)
        journal.commit()
        day_by_day(journal, [3, 4])
        assert days_in(tmp_path) == [1, 2, 3, 4, 29]
        day_by_day(journal, range(5, 28))
    assert days_in(tmp_path) in ([*range(16, 28)], [*range(17, 28)])


@pytest.mark.parametrize("wrong", ["2099-01-05", "1970-01-01", "2026-02-25"])
def test_a_start_with_a_wrong_date_takes_nothing_with_it_and_after_it_age_counts_as_before(tmp_path, wrong):
    with opened(tmp_path) as journal:
        day_by_day(journal, range(1, 6))
    for _ in range(2):  # also the second with it, whose line before is as wrong
        with opened(tmp_path) as journal:
            for _ in range(40):
                journal.add_events([event()._replace(utc=f"{wrong}T06:00:00.000+00:00")])
                journal.commit()
    assert [found.utc[:10] for found in read_events(tmp_path)] == [
        f"2026-01-0{day}" for day in range(1, 6) for _ in range(5)
    ] + [wrong] * 80
    with opened(tmp_path) as journal:
        day_by_day(journal, [6, *range(15, 31)])
    assert days_in(tmp_path)[0] in (19, 20)
    assert {found.utc[:7] for found in read_events(tmp_path)} == {"2026-01"}


def test_a_file_whose_lines_went_shrinks(tmp_path):
    with opened(tmp_path, mb=2) as journal:
        for _ in range(100):
            journal.add_events([on_day(5, LONG)] * 20)
            journal.commit()
    large = (tmp_path / journal_file.FILE).stat().st_size
    with opened(tmp_path, mb=0.2) as journal:
        day_by_day(journal, [5] * 400, a_day=1)
        assert used_bytes(journal._db) < 0.3e6
    assert large > 2e6
    assert (tmp_path / journal_file.FILE).stat().st_size < 0.5e6


def test_how_long_a_start_lasted_goes_with_its_last_line(tmp_path):
    for day in range(1, 31):
        with Journal(tmp_path, boot=f"b{day}", kept=Kept(10, 500)) as journal:
            journal.take(1)
            day_by_day(journal, [day])
            journal.lasted(1_000)
    kept = {line.boot for line in journal_file.each_line(tmp_path)}
    marks = journal_file.read_marks(tmp_path)
    assert {of for kind, of in marks if kind == journal_file.LASTED} == kept
    assert len(kept) < 15
    assert [of for kind, of in marks if kind == journal_file.TAKEN] == ["b30"]
