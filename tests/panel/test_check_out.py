"""The I/O check-out: a person, a rig and a sheet. The rig is the real sequence; time passes by the question."""

import asyncio
from contextlib import contextmanager
from datetime import UTC, datetime

import pytest
from panel.rigs import MILL, BenchRig

from controller.panel.area import Area
from controller.panel.caller import Caller
from controller.panel.check_out import CheckOut, People
from controller.panel.check_out_sheet import Entry, Sheet
from controller.panel.messages import Answer, line_of
from controller.panel.server import Panel

HORN_MS = 3_000
HEAD = ",".join(Entry._fields)
WHEN = datetime(2026, 1, 5, 6, 30, tzinfo=UTC)


class StraightClient:
    """A client without a socket: 50 ms of the rig's time pass with each request."""

    def __init__(self, rig):
        self.rig = rig
        self._panel, self._caller = Panel(MILL, rig), Caller("alice")

    def ask(self, asked):
        self.rig.run(50)
        answer = asyncio.run(self._panel._answer(line_of(asked), self._caller))
        return Answer.model_validate_json(line_of(answer))


class Person:
    """Answers in turn; `{...: call}` does something at the machine before an answer."""

    def __init__(self, rig, *answers, at_hand=True, given=None, by="B. Baker"):
        self.rig, self.answers, self.told, self.watch = rig, list(answers), [], None
        self.people = People(by, lambda: WHEN, Area(self.ask, self.told.append, at_hand, given))

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
        try:
            yield
        finally:
            watch.let_go()

    @property
    def text(self):
        return "\n".join(map(str, self.told))


def waits(for_ms, then=""):
    return lambda person: (person.beats(for_ms), then)[1]


def covers(then):
    """The high-level probe, covered and free again."""

    def done(person):
        for free in (False, True):
            person.rig.bench.machine.level_free = free
            person.beats(200)
        return then

    return done


def presses(then):
    """The start button."""

    def done(person):
        for pressed in (1, 0):
            person.rig.pressed = {"start_pb": pressed}
            person.beats(200)
        return then

    return done


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


def test_an_entry_says_point_how_value_seen_by_whom_and_when(rig, path):
    person = Person(rig, covers("bad covered by hand, lamp dark"))
    good, sheet = walk(path, person, "level_free")
    assert not good
    entry = ("R-101", "bench", "LSH-101", "level_free", "not good", "covered by hand, lamp dark", "on, off, on",
             "B. Baker", "2026-01-05T06:30:00+00:00")  # fmt: skip
    assert sheet.entries == [Entry(*entry)]
    text = ",".join(f'"{cell}"' if "," in cell else cell for cell in entry)
    assert path.read_text().splitlines() == [HEAD, text]


def test_every_change_that_was_seen_stands_in_the_entry(rig, path):
    good, sheet = walk(path, Person(rig, covers("good probe covered by hand")), "level_free")
    assert good
    assert (sheet.entries[0].verdict, sheet.entries[0].seen) == ("good", "on, off, on")


def test_an_entry_without_how_is_asked_for_again(rig, path):
    _, sheet = walk(path, Person(rig, covers("good"), "good   ", "good by hand"), "level_free")
    assert [entry.how for entry in sheet.entries] == ["by hand"]


def test_it_is_saved_as_it_goes_and_gone_on_with(rig, path):
    names = ("start_pb", "level_free", "flap_open_fb")
    good, _ = walk(path, Person(rig, presses("good pressed"), "bad stays on", "end"), *names)
    assert not good
    person = Person(rig, covers("good wire mended"), "good pulled by hand", "next")
    good, sheet = walk(path, person, *names)
    assert not good
    assert [(e.point, e.verdict) for e in sheet.entries] == [
        ("start_pb", "good"), ("level_free", "not good"), ("level_free", "good"),
        ("flap_open_fb", "by word only"),
    ]  # fmt: skip
    assert "1 of 3 points are good" in person.text
    assert "good: 2; by word only: flap_open_fb; not good: none; open: 0" in person.text
    assert "start_pb is" not in person.text


def test_a_person_who_goes_away_leaves_what_was_entered(rig, path):
    good, _ = walk(path, Person(rig, presses("good pressed")), "start_pb", "level_free")
    assert not good
    assert [e.point for e in Sheet(path, "R-101", "bench").entries] == ["start_pb"]


def test_left_out_and_not_good_points_are_named_at_the_end(rig, path):
    person = Person(rig, "next", "bad dead")
    walk(path, person, "start_pb", "level_free")
    assert "not good: level_free; open: 1" in person.text


# ---- good, or by word only ----


def verdict(path, person, *names):
    good, sheet = walk(path, person, *names)
    verdicts = [entry.verdict for entry in sheet.entries]
    assert good == (verdicts[-1:] == ["good"])
    return verdicts


def test_a_point_that_never_moved_is_good_by_word_only_until_it_moves(rig, path):
    person = Person(rig, "good covered by hand", covers("good covered by hand"))
    assert verdict(path, person, "level_free") == ["by word only", "good"]
    assert "BY WORD ONLY: not seen in both states: level_free" in person.text


def test_a_signal_that_only_trembles_has_not_moved(rig, path):
    def rises(to_kpa, then):
        def done(person):
            for k in range(10):
                person.rig.bench.machine.supply_bar_g = 7 + to_kpa / 100 * (k % 2)
                person.watch.beat()
            return then

        return done

    person = Person(rig, rises(45, "good valve throttled"), rises(55, "good valve throttled"))
    assert verdict(path, person, "supply_air_ua") == ["by word only", "good"], "under and over 5 % of 1000 kPa"


def test_what_an_input_showed_while_it_was_forced_too_old_or_failed_is_no_movement(rig, path):
    def away(person):
        person.rig.pressed = {"image_age_ms": 5_000, "level_free": 0}
        person.beats(200)
        person.rig.pressed = {}
        person.beats(200)
        return "good covered by hand"

    person = Person(rig, "force off", "clear", "A. Miller", waits(500), "release", waits(300), "good so", away, "next")
    assert verdict(path, person, "level_free") == ["by word only", "by word only"]


def test_an_output_whose_hold_was_refused_is_good_by_word_only(rig, path):
    person = Person(rig, "hold", "clear", "A. Miller", waits(5_000), "good heard it", "next")
    assert verdict(path, person, "purge_cmd") == ["by word only"]
    assert "hold: refused" in person.text


def test_an_output_that_the_last_word_held_back_is_good_by_word_only(rig, path):
    person = Person(rig, "manual", "hold", "clear", "A. Miller", waits(HORN_MS + 1_000), "good heard it", "next")
    assert verdict(path, person, "pulse_1_cmd") == ["by word only"]


def test_an_output_that_was_held_is_good_once_its_feedback_has_moved_too(rig, path):
    def loose(person):
        person.rig.pressed = {"flap_open_fb": 0}
        person.beats(HORN_MS + 1_000)
        return "good flap opens"

    def mended(person):
        person.rig.pressed = {}
        person.beats(200)
        return "good flap opens"

    person = Person(rig, "manual", "hold", "clear", "A. Miller", loose, mended)
    assert verdict(path, person, "flap_open_cmd") == ["by word only", "good"]
    assert "not seen in both states: flap_open_fb. " in person.text


def test_an_output_without_feedback_is_good_once_it_was_held(rig, path):
    person = Person(rig, "manual", "hold", "clear", "A. Miller", waits(HORN_MS + 500), "good air hisses")
    assert verdict(path, person, "purge_cmd") == ["good"]


def test_a_sheet_from_before_there_were_verdicts_by_word_is_gone_on_with(rig, path):
    path.write_text(HEAD + "\nR-101,bench,LSH-101,level_free,good,by hand,on,B. Baker,2025-12-01T06:30:00+00:00\n")
    person = Person(rig, presses("good pressed"))
    good, sheet = walk(path, person, "start_pb", "level_free")
    assert good
    assert [entry.point for entry in sheet.entries] == ["level_free", "start_pb"]


# ---- holding an output ----


def test_an_output_is_held_after_a_name_and_the_horn_and_falls_with_the_point(rig, path):
    seen = []

    def looks(person):
        for _ in range(60):
            seen.append((person.rig.bench.now_ms, "horn" in person.rig.bench.on, moved(person.rig)))
            person.watch.beat()
        return "good flap opens"

    person = Person(rig, "manual", waits(HORN_MS + 500), "hold", "clear", "A. Miller", looks)
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
    person = Person(rig, "hold", "clear", "A. Miller", waits(5_000, "end"))
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

    person = Person(rig, "manual", waits(HORN_MS), "hold", "clear", "A. Miller", waits(HORN_MS + 500), notes, after)
    walk(path, person, "flap_open_cmd")
    assert held == [{"flap_open"}, set()]


def test_what_the_last_word_holds_back_is_told_before_the_next_word(rig, path):
    person = Person(rig, "manual", waits(HORN_MS), "hold", "clear", "A. Miller", waits(HORN_MS + 500), "end")
    walk(path, person, "pulse_1_cmd")
    assert "HELD BY HAND: pulse_1_cmd is off: " in person.text
    assert not moved(rig)


def test_on_real_io_no_script_gives_the_area_as_clear(path):
    rig = BenchRig(real=True)
    person = Person(rig, "manual", waits(HORN_MS), "hold", waits(5_000), "end", at_hand=False)
    walk(path, person, "flap_open_cmd")
    assert "a script must say who does: --area-is-clear NAME" in person.text
    assert not moved(rig)


def test_on_real_io_a_script_that_names_who_gives_the_area_as_clear_may_hold(path):
    rig, seen = BenchRig(real=True), []

    def looks(person):
        person.beats(HORN_MS + 500)
        seen.append(moved(person.rig))
        return "good flap opens"

    person = Person(rig, "manual", "hold", looks, at_hand=False, given="A. Miller")
    _, sheet = walk(path, person, "flap_open_cmd")
    assert seen == [{"flap_open"}]
    assert sheet.entries[0].how.endswith("area given as clear by A. Miller)")


@pytest.mark.parametrize("said", ["yes", "no", "nein", "not clear", "good", "A. Miller", ""])
def test_whoever_does_not_say_clear_moves_nothing_and_is_not_asked_his_name(path, said):
    rig = BenchRig(real=True)
    person = Person(rig, "manual", waits(HORN_MS), "hold", said, waits(5_000), "end")
    walk(path, person, "flap_open_cmd")
    assert "the area is not given as clear; nothing was done" in person.text
    assert "Your name" not in person.text
    assert not moved(rig)


@pytest.mark.parametrize("said", ["no", "Nein, warte", "not yet", "yes", "good heard it", "next", "release", "x"])
def test_no_word_of_the_check_out_and_no_refusal_is_taken_for_a_name(path, said):
    rig = BenchRig(real=True)
    person = Person(rig, "manual", waits(HORN_MS), "hold", "clear", said, waits(5_000), "end")
    walk(path, person, "flap_open_cmd")
    assert "a name is asked for" in person.text
    assert not moved(rig)


def test_lamps_and_horn_are_not_held(rig, path):
    person = Person(rig, "hold", "end")
    walk(path, person, "horn")
    assert "lamps and horn show by themselves" in person.text


# ---- forcing an input ----


def test_a_forced_value_is_no_value_seen(path):
    rig = BenchRig(real=True)
    person = Person(rig, "manual", "force off", "clear", "A. Miller", waits(500), "good sequence says full")
    _, sheet = walk(path, person, "level_free")
    assert sheet.entries[0].seen == "on", "the wire carried current all the time"
    assert sheet.entries[0].verdict == "by word only"
    assert sheet.entries[0].how.endswith("(forced, area given as clear by A. Miller)")
    assert "FORCED INPUT: level_free reads 0" in person.text
    rig.run(100)
    assert rig.inputs.level_free


def test_what_is_never_forced_is_refused_before_anybody_is_asked_whether_the_area_is_clear(path):
    person = Person(BenchRig(real=True), "manual", "force on", "end")
    walk(path, person, "start_pb")
    assert "start_pb is never forced on real I/O" in person.text
    assert "Are people" not in person.text


def test_the_end_of_manual_mode_ends_the_force_and_says_so(path):
    rig = BenchRig(real=True)
    person = Person(rig, "manual", "force off", "clear", "A. Miller", "automatic", waits(500), "", "end")
    walk(path, person, "level_free")
    assert "ENDED: " in person.text
    assert rig.inputs.level_free


@pytest.mark.parametrize("typed", ["force", "force 25 mA", "force on", "force -1", "force nan", "force inf"])
def test_a_signal_is_forced_to_a_current_it_can_have(rig, path, typed):
    person = Person(rig, typed, "end")
    walk(path, person, "vacuum_ua")
    assert "a current from 0 to 24 mA" in person.text
    assert rig.status().forced == {}
