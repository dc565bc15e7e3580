"""The I/O check-out: a person, a rig and a sheet. The rig is the real sequence; time passes by the question."""

import asyncio
from contextlib import contextmanager
from datetime import UTC, datetime

import pytest
from panel.rigs import MILL, BenchRig

from controller.panel.check_out import CheckOut, People
from controller.panel.check_out_sheet import Entry, Sheet, SheetError
from controller.panel.messages import Answer, line_of
from controller.panel.server import Panel

HORN_MS = 3_000
HEAD = ",".join(Entry._fields)
WHEN = datetime(2026, 1, 5, 6, 30, tzinfo=UTC)


class StraightClient:
    """A client without a socket: 50 ms of the rig's time pass with each request."""

    def __init__(self, rig):
        self.rig = rig
        self._panel = Panel(MILL, rig)

    def ask(self, asked):
        self.rig.run(50)
        answer = asyncio.run(self._panel._answer(line_of(asked), self))
        return Answer.model_validate_json(line_of(answer))


class Person:
    """Answers in turn; `{...: call}` does something at the machine before an answer."""

    def __init__(self, rig, *answers, at_hand=True, by="B. Baker"):
        self.rig, self.answers, self.told, self.watch = rig, list(answers), [], None
        self.people = People(by, self.ask, self.told.append, lambda: WHEN, at_hand)

    def ask(self, question):
        self.told.append(question)
        if not self.answers:
            raise EOFError
        answer = self.answers.pop(0)
        if callable(answer):
            answer = answer(self)
        self.watch.beat()
        return answer

    def beats(self, for_ms):
        """Waits at the machine while the program renews."""
        end_ms = self.rig.bench.now_ms + for_ms
        while self.rig.bench.now_ms < end_ms:
            self.watch.beat()

    @contextmanager
    def beating(self, watch):
        self.watch = watch
        yield
        watch.let_go()

    @property
    def text(self):
        return "\n".join(map(str, self.told))


def waits(for_ms, then=""):
    return lambda person: (person.beats(for_ms), then)[1]


def walk(path, person, *names, real=False):
    client = StraightClient(person.rig)
    sheet = Sheet(path, "R-101", "bench")
    points = [p for p in person.rig.points() if p.name in names]
    good = CheckOut(client, sheet, person.people, person.beating).walk(points)
    return good, sheet


@pytest.fixture
def rig():
    return BenchRig()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "sheet.csv"


def moved(rig):
    return rig.bench.on - {"horn", "run_lamp", "fault_lamp"}


# ---- the walk ----


def test_an_entry_says_point_how_value_seen_by_whom_and_when(rig, path):
    person = Person(rig, "good probe covered by hand")
    good, sheet = walk(path, person, "level_free")
    assert good
    entry = ("R-101", "bench", "LSH-101", "level_free", "good", "probe covered by hand", "on", "B. Baker")
    assert sheet.entries == [Entry(*entry, "2026-01-05T06:30:00+00:00")]
    assert path.read_text().splitlines() == [HEAD, ",".join((*entry, "2026-01-05T06:30:00+00:00"))]


def test_every_change_that_was_seen_stands_in_the_entry(rig, path):
    def covered(person):
        person.rig.bench.machine.level_free = False
        person.beats(200)
        person.rig.bench.machine.level_free = True
        person.beats(200)
        return "good probe covered by hand"

    _, sheet = walk(path, Person(rig, covered), "level_free")
    assert sheet.entries[0].seen == "on, off, on"


def test_an_entry_without_how_is_asked_for_again(rig, path):
    _, sheet = walk(path, Person(rig, "good", "good   ", "good by hand"), "level_free")
    assert [entry.how for entry in sheet.entries] == ["by hand"]


def test_it_is_saved_as_it_goes_and_gone_on_with(rig, path):
    names = ("start_pb", "level_free", "flap_open_fb")
    good, _ = walk(path, Person(rig, "good pressed", "bad stays on", "end"), *names)
    assert not good
    person = Person(rig, "good wire mended", "good pulled by hand")
    good, sheet = walk(path, person, *names)
    assert good
    assert [(e.point, e.verdict) for e in sheet.entries] == [
        ("start_pb", "good"), ("level_free", "not good"), ("level_free", "good"), ("flap_open_fb", "good"),
    ]  # fmt: skip
    assert "1 of 3 points are good" in person.text
    assert "start_pb is" not in person.text


def test_a_person_who_goes_away_leaves_what_was_entered(rig, path):
    good, _ = walk(path, Person(rig, "good pressed"), "start_pb", "level_free")
    assert not good
    assert [e.point for e in Sheet(path, "R-101", "bench").entries] == ["start_pb"]


def test_left_out_and_not_good_points_are_named_at_the_end(rig, path):
    person = Person(rig, "next", "bad dead")
    walk(path, person, "start_pb", "level_free")
    assert "not good: level_free; open: 1" in person.text


# ---- holding an output ----


def test_an_output_is_held_after_a_name_and_the_horn_and_falls_with_the_point(rig, path):
    seen = []

    def looks(person):
        for _ in range(60):
            seen.append((person.rig.bench.now_ms, "horn" in person.rig.bench.on, moved(person.rig)))
            person.watch.beat()
        return "good flap opens"

    person = Person(rig, "manual", waits(HORN_MS + 500), "hold", "A. Miller", looks)
    _, sheet = walk(path, person, "flap_open_cmd")
    first_on = next(k for k, (_, _, on) in enumerate(seen) if "flap_open" in on)
    horn = [at for at, sounds, _ in seen[:first_on] if sounds]
    assert horn[-1] - horn[0] >= HORN_MS - 200, "a horn of its own, not the one of manual mode"
    assert not any(on for _, _, on in seen[:first_on])
    assert all("flap_open" in on for _, _, on in seen[first_on:]), "renewed while the person looks"
    assert sheet.entries[0].how == "flap opens (held, area given as clear by A. Miller)"
    assert sheet.entries[0].seen == "off, on"
    rig.run(500)
    assert not moved(rig)


@pytest.mark.parametrize("said", ["", "yes", "OK", "y", "ja"])
def test_without_a_name_nothing_is_held(rig, path, said):
    person = Person(rig, "manual", waits(HORN_MS + 500), "hold", said, waits(5_000, "end"))
    walk(path, person, "flap_open_cmd")
    assert not moved(rig)
    assert "hold: accepted" not in person.text


def test_outside_manual_mode_nothing_is_held_and_the_way_is_said(rig, path):
    person = Person(rig, "hold", "A. Miller", waits(5_000, "end"))
    walk(path, person, "flap_open_cmd")
    assert "hold: refused: manual mode is off: ask for manual first" in person.text
    assert not moved(rig)


def test_release_lets_it_fall_within_the_renewal_time(rig, path):
    held = []

    def notes(person):
        held.append(moved(person.rig))
        return "release"

    def after(person):
        person.rig.run(500)
        held.append(moved(person.rig))
        return "end"

    person = Person(rig, "manual", waits(HORN_MS), "hold", "A. Miller", waits(HORN_MS + 500), notes, after)
    walk(path, person, "flap_open_cmd")
    assert held == [{"flap_open"}, set()]


def test_what_the_last_word_holds_back_is_told_before_the_next_word(rig, path):
    person = Person(rig, "manual", waits(HORN_MS), "hold", "A. Miller", waits(HORN_MS + 500), "end")
    walk(path, person, "pulse_1_cmd")
    assert "HELD BY HAND: pulse_1_cmd is off: " in person.text
    assert not moved(rig)


def test_on_real_io_no_script_gives_the_area_as_clear(path):
    rig = BenchRig(real=True)
    person = Person(rig, "manual", waits(HORN_MS), "hold", "A. Miller", waits(5_000, "end"), at_hand=False)
    walk(path, person, "flap_open_cmd")
    assert "no script" in person.text
    assert not moved(rig)


def test_lamps_and_horn_are_not_held(rig, path):
    person = Person(rig, "hold", "end")
    walk(path, person, "horn")
    assert "lamps and horn show by themselves" in person.text


# ---- forcing an input ----


def test_a_forced_value_is_no_value_seen(path):
    rig = BenchRig(real=True)
    person = Person(rig, "manual", "force off", "A. Miller", waits(500), "good sequence says full")
    _, sheet = walk(path, person, "level_free")
    assert sheet.entries[0].seen == "on", "the wire carried current all the time"
    assert sheet.entries[0].how.endswith("(forced, area given as clear by A. Miller)")
    assert "FORCED INPUT: level_free reads 0" in person.text
    rig.run(100)
    assert rig.inputs.level_free


def test_the_end_of_manual_mode_ends_the_force_and_says_so(path):
    rig = BenchRig(real=True)
    person = Person(rig, "manual", "force off", "A. Miller", "automatic", waits(500), "", "end")
    walk(path, person, "level_free")
    assert "ENDED: " in person.text
    assert rig.inputs.level_free


@pytest.mark.parametrize("typed", ["force", "force 25 mA", "force on", "force -1", "force nan", "force inf"])
def test_a_signal_is_forced_to_a_current_it_can_have(rig, path, typed):
    person = Person(rig, typed, "end")
    walk(path, person, "vacuum_ua")
    assert "a current from 0 to 24 mA" in person.text
    assert rig.status().forced == {}


# ---- the sheet ----


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ":1: is no check-out sheet"),
        ("a note\n", ":1: is no check-out sheet"),
        (HEAD + "\nR-101,bench,T,p\n", ":2: must have 9 cells"),
        (HEAD + "\nR-101,bench,T,p,perhaps,h,s,b,w\n", ":2: must have 9 cells, the fifth good or not good"),
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
