"""The sheet of a check-out: what is no sheet is refused, and what was entered is kept."""

import pytest

from controller.panel.check_out_sheet import Entry, Sheet, SheetError

HEAD = ",".join(Entry._fields)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "sheet.csv"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ":1: is no check-out sheet"),
        ("a note\n", ":1: is no check-out sheet"),
        (HEAD + "\nR-101,bench,T,p\n", ":2: must have 9 cells"),
        (
            HEAD + "\nR-101,bench,T,p,perhaps,h,s,b,w\n",
            ":2: must have 9 cells, the fifth one of: good, not good, by word only",
        ),
        (HEAD + "\nR-101,bench,T,p,good,h,s,b,w\nR-102,bench,T,p,good,h,s,b,w\n", ":3: is of R-102 on bench"),
        (
            HEAD + "\nR-101,simulated,T,p,good,h,s,b,w\n",
            ":2: is of R-101 on simulated, this is R-101 on bench",
        ),
    ],
)
def test_another_file_is_refused_with_its_line_and_left_as_it_is(path, text, said):
    path.write_text(text)
    with pytest.raises(SheetError) as refused:
        Sheet(path, "R-101", "bench")
    assert said in str(refused.value)
    assert path.read_text() == text


def test_words_with_commas_quotes_and_line_ends_come_back_as_they_were(path):
    entry = Entry("R-101", "bench", "T", "p", "good", 'say "on", wait\nthen off', "on, off", "Ö. Ähm", "w")
    Sheet(path, "R-101", "bench").add(entry)
    assert Sheet(path, "R-101", "bench").entries == [entry]


def test_a_sheet_that_cannot_be_written_says_which_entry_is_not_saved_and_keeps_the_old(path, monkeypatch):
    sheet = Sheet(path, "R-101", "bench")
    entry = Entry("R-101", "bench", "T", "p", "good", "h", "s", "b", "w")
    sheet.add(entry)
    before = path.read_text()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(SheetError, match="the entry of q is not saved"):
        sheet.add(entry._replace(point="q"))
    assert path.read_text() == before
    assert [e.point for e in sheet.entries] == ["p"]


def test_a_sheet_is_said_to_be_saved_once_there_is_one(path):
    sheet = Sheet(path, "R-101", "bench")
    assert (sheet.saved, path.exists()) == ("nothing is entered, and no sheet written", False)
    sheet.add(Entry("R-101", "bench", "T", "p", "good", "h", "s", "b", "w"))
    assert (sheet.saved, path.exists()) == (f"saved in {path}", True)
