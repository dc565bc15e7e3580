"""A file of a station is read strictly: what is wrong, where, what is allowed, and never a traceback."""

from typing import Literal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pydantic import Field

from controller.problems import Problem, StationError, together
from controller.station_file import StrictModel, load


class Convey(StrictModel):
    fill_s: float = Field(
        default=16.0, ge=1.5, le=600, description="a batch", json_schema_extra={"unit": "s"}
    )
    vacuum_high_kpa: float = Field(
        default=35.0, ge=5, le=90, description="under dead end", json_schema_extra={"unit": "kPa"}
    )
    repeats: int = Field(default=2, ge=1, le=3, description="of three")
    effect: Literal["trip", "wait"] = Field(default="trip", description="what follows")
    finish: bool = Field(default=False, description="finish the batch")
    curve: list[float] = Field(default=[0, 1], min_length=2, max_length=2, description="two numbers")


class Level(StrictModel):
    clear_s: float = Field(default=5.0, ge=0.5, le=600, description="heap", json_schema_extra={"unit": "s"})


class Station(StrictModel):
    name: str = Field(min_length=1, max_length=10, description="the receiver's tag")
    convey: Convey = Field(default_factory=Convey)
    level: Level = Field(default_factory=Level)


def problems_of(folder, text: str | bytes) -> list[str]:
    """What the reader says about a file, without the folder in front."""
    file = folder / "x.yaml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    try:
        load(file, Station)
    except StationError as error:
        return [str(problem).removeprefix(f"{folder}/") for problem in error.problems]
    return []


GOOD = "name: R-101\nconvey:\n  fill_s: 16\n  vacuum_high_kpa: 35.5\n  effect: wait\n  finish: true\n"


def test_a_good_file_is_read(tmp_path):
    (tmp_path / "x.yaml").write_text(GOOD)
    document = load(tmp_path / "x.yaml", Station)
    assert document.value.convey == Convey(fill_s=16, vacuum_high_kpa=35.5, effect="wait", finish=True)
    assert document.value.level.clear_s == 5


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path):
    assert problems_of(tmp_path, b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode()) == []


def under_convey(line: str) -> str:
    return f"name: R-101\nconvey:\n  {line}\n"


BASE_60 = "is to base 60 for some YAML readers"
SOME_TEXT = "is text to some YAML readers"
TRUTH = "is true or false to some YAML readers and text to others"
VALUES = [
    # what is typed under convey, and the whole message
    ("fill_s: 0.5", "x.yaml:3:11: convey.fill_s: is 0.5, allowed numbers 1.5 to 600 s (a batch)"),
    ("fill_s: 601", "x.yaml:3:11: convey.fill_s: is 601, allowed numbers 1.5 to 600 s (a batch)"),
    ("fill_s: -3", "x.yaml:3:11: convey.fill_s: is -3, allowed numbers 1.5 to 600 s (a batch)"),
    ("fill_s: true", "x.yaml:3:11: convey.fill_s: is true, allowed numbers 1.5 to 600 s"),
    ("fill_s:", "x.yaml:3:10: convey.fill_s: has no value, allowed numbers 1.5 to 600 s"),
    ("fill_s: ~", "x.yaml:3:11: convey.fill_s: has no value, allowed numbers 1.5 to 600 s"),
    ("fill_s: [16]", "x.yaml:3:11: convey.fill_s: is a list, allowed numbers 1.5 to 600 s"),
    ("fill_s: {s: 16}", "x.yaml:3:11: convey.fill_s: is a group of keys, allowed numbers 1.5 to 600 s"),
    (
        'fill_s: "16"',
        "x.yaml:3:11: convey.fill_s: is '16', allowed numbers 1.5 to 600 s: leave the quotes away",
    ),
    (
        "fill_s: 16,5",
        "x.yaml:3:11: convey.fill_s: is '16,5', allowed numbers 1.5 to 600 s: write a decimal point",
    ),
    (
        "fill_s: 16 s",
        "x.yaml:3:11: convey.fill_s: is '16 s', allowed numbers 1.5 to 600 s: "
        "the number alone, its unit stands in the key",
    ),
    ("fill_s: .inf", "x.yaml:3:11: convey.fill_s: is inf, allowed numbers 1.5 to 600 s"),
    ("fill_s: .nan", "x.yaml:3:11: convey.fill_s: is nan, allowed numbers 1.5 to 600 s"),
    ("fill_s: soon", "x.yaml:3:11: convey.fill_s: is 'soon', allowed numbers 1.5 to 600 s"),
    ("repeats: 1.5", "x.yaml:3:12: convey.repeats: is 1.5, allowed whole numbers 1 to 3"),
    (
        "repeats: 2.0",
        "x.yaml:3:12: convey.repeats: is 2, allowed whole numbers 1 to 3: without a decimal point",
    ),
    ("repeats: 4", "x.yaml:3:12: convey.repeats: is 4, allowed whole numbers 1 to 3 (of three)"),
    ("finish: 1", "x.yaml:3:11: convey.finish: is 1, allowed true or false"),
    ("finish: 'true'", "x.yaml:3:11: convey.finish: is 'true', allowed true or false: leave the quotes away"),
    ("effect: trp", "x.yaml:3:11: convey.effect: is 'trp', allowed trip or wait - did you mean 'trip'?"),
    ("effect: 0", "x.yaml:3:11: convey.effect: is 0, allowed trip or wait"),
    ("curve: [1]", "x.yaml:3:10: convey.curve: has 1 of them, allowed a list: two numbers"),
    ("curve: [1, x]", "x.yaml:3:14: convey.curve[1]: is 'x', allowed a list: two numbers"),
    ("curve: 1", "x.yaml:3:10: convey.curve: is 1, allowed a list: two numbers"),
    # read differently by YAML 1.1 and YAML 1.2
    ("finish: yes", f'x.yaml:3:11: convey.finish: yes {TRUTH}: write true, or as text "yes"'),
    ("finish: no", f'x.yaml:3:11: convey.finish: no {TRUTH}: write false, or as text "no"'),
    ("effect: on", f'x.yaml:3:11: convey.effect: on {TRUTH}: write true, or as text "on"'),
    ("effect: Off", f'x.yaml:3:11: convey.effect: Off {TRUTH}: write false, or as text "Off"'),
    ("fill_s: 1:30", f'x.yaml:3:11: convey.fill_s: 1:30 {BASE_60}: write one number, or as text "1:30"'),
    (
        "fill_s: 016",
        "x.yaml:3:11: convey.fill_s: 016 starts with 0, which is octal to some YAML readers: "
        'write 16, or as text "016"',
    ),
    (
        "fill_s: 0x10",
        'x.yaml:3:11: convey.fill_s: 0x10 is not a decimal number: write it in decimals, or as text "0x10"',
    ),
    ("fill_s: 1e2", f'x.yaml:3:11: convey.fill_s: 1e2 {SOME_TEXT}: write 100, or as text "1e2"'),
    ("fill_s: 1.6e1", f'x.yaml:3:11: convey.fill_s: 1.6e1 {SOME_TEXT}: write 16, or as text "1.6e1"'),
    ("fill_s: 1_6", f'x.yaml:3:11: convey.fill_s: 1_6 {SOME_TEXT}: write 16, or as text "1_6"'),
    (
        "effect: 2026-11-25",
        'x.yaml:3:11: convey.effect: 2026-11-25 is a date to some YAML readers: write "2026-11-25"',
    ),
    ("effect: =", 'x.yaml:3:11: convey.effect: = is a special sign of YAML: write "="'),
    # keys
    ("fill_ms: 16000", "x.yaml:3:3: convey.fill_ms: is typed in s: fill_s: 16"),
    ("vacuum_high_pa: 35000", "x.yaml:3:3: convey.vacuum_high_pa: is typed in kPa: vacuum_high_kpa: 35"),
    ("vacuum_high_bar: 0.35", "x.yaml:3:3: convey.vacuum_high_bar: is typed in kPa: vacuum_high_kpa: 35"),
    ("vacuum_high_pa: high", "x.yaml:3:3: convey.vacuum_high_pa: is typed in kPa: vacuum_high_kpa"),
    ("vacuum_high_kpa_g: 35", "x.yaml:3:3: convey.vacuum_high_kpa_g: is typed in kPa: vacuum_high_kpa"),
    ("clear_s: 3", "x.yaml:3:3: convey.clear_s: does not belong here: put it under level"),
    ("clear_ms: 3000", "x.yaml:3:3: convey.clear_ms: is typed in s: level.clear_s: 3"),
    ("repaets: 2", "x.yaml:3:3: convey.repaets: is not a key of this file - did you mean 'repeats'?"),
    (
        "colour: 2",
        "x.yaml:3:3: convey.colour: is not a key of this file, "
        "allowed here: fill_s, vacuum_high_kpa, repeats, effect, finish, curve",
    ),
    ("name: 2", "x.yaml:3:3: convey.name: does not belong here: put it under the left margin"),
    ("on: 2", "x.yaml:3:3: convey.on: is not a key of this file"),
    ("? [fill_s]\n  : 16", "x.yaml:3:5: convey: a key must be one word before a colon"),
    ("claer_s: 2", "x.yaml:3:3: convey.claer_s: is not a key of this file - did you mean 'level.clear_s'?"),
    # signs of YAML that have no place here
    ("fill_s: &fill 16", "x.yaml:3:11: &fill is an anchor: leave it out, repeat the value"),
    ("fill_s: !!float 16", "x.yaml:3:11: !!float is a tag: leave it out"),
    ("effect: !wait trip", "x.yaml:3:11: !wait is a tag: leave it out"),
]


@pytest.mark.parametrize(("typed", "message"), VALUES, ids=[typed for typed, _ in VALUES])
def test_one_wrong_line_gives_one_message(tmp_path, typed, message):
    found = problems_of(tmp_path, under_convey(typed))
    assert len(found) == 1
    assert found[0].startswith(message)
    assert message.endswith("is not a key of this file") or found[0] == message


FILES = [
    ("empty", "", "x.yaml:1:1: is empty"),
    ("comment only", "# nothing\n", "x.yaml:1:1: is empty"),
    ("a list", "- 1\n", "x.yaml:1:1: must be keys and values, as in `key: value`"),
    ("text", "hello\n", "x.yaml:1:1: must be keys and values, as in `key: value`"),
    ("tab", "name: R-101\nconvey:\n\tfill_s: 16\n", "x.yaml:3:1: is a tab: indent and separate with spaces"),
    ("tab before a value", "name:\tR-101\n", "x.yaml:1:6: is a tab: indent and separate with spaces"),
    (
        "two colons",
        "name: R: 101\n",
        "x.yaml:1:8: has a colon too many: quote the text, or put the key on its own line",
    ),
    ("no colon", "name: R-101\nconvey\n", "x.yaml:3:1: is not `key: value`: a colon and a space are missing"),
    (
        "indentation",
        "name: R-101\nconvey:\n  fill_s: 16\n repeats: 1\n",
        "x.yaml:4:2: does not line up with the keys above: check the indentation",
    ),
    ("open quote", "name: 'R-101\n", "x.yaml:2:1: ends inside a quoted text: close the quote"),
    (
        "reserved sign",
        "name: @R\n",
        "x.yaml:1:7: begins with a sign that YAML keeps for itself: quote the text",
    ),
    (
        "second document",
        "name: R-101\n---\nname: R-102\n",
        "x.yaml:2:1: starts a second document (---): one file, one document",
    ),
    ("too deep", "name: " + "[" * 500, "x.yaml:1:18: is nested deeper than any station file"),
    ("control character", "name: R\x07\n", "x.yaml:1:8: character number 0x7 cannot stand in a text file"),
    ("latin-1", b"name: M\xfchle\n", "x.yaml:1:8: byte 0xfc is not UTF-8: save the file as UTF-8"),
    ("utf-16", GOOD.encode("utf-16"), "x.yaml:1:1: byte 0xff is not UTF-8: save the file as UTF-8"),
    ("no name", "level:\n  clear_s: 5\n", "x.yaml:1:1: name: is missing: the receiver's tag"),
    ("name a number", "name: 101\n", 'x.yaml:1:7: name: is 101, allowed 1 to 10 characters: quote it, "101"'),
    ("a truth", "name: true\n", 'x.yaml:1:7: name: is true, allowed 1 to 10 characters: quote it, "true"'),
    ("name empty", "name: ''\n", "x.yaml:1:7: name: is '', allowed 1 to 10 characters"),
    (
        "group without keys",
        "name: R-101\nlevel: 5\n",
        "x.yaml:2:8: level: is 5, allowed keys and values, indented under it",
    ),
    (
        "key twice",
        "name: R-101\nname: R-102\n",
        "x.yaml:2:1: name: stands twice: first in line 1, keep one of the two",
    ),
    (
        "unit at the left margin",
        "name: R-101\nclear_ms: 5000\n",
        "x.yaml:2:1: clear_ms: is typed in s: level.clear_s: 5",
    ),
]


@pytest.mark.parametrize(("text", "message"), [f[1:] for f in FILES], ids=[f[0] for f in FILES])
def test_a_file_that_cannot_be_used_says_why(tmp_path, text, message):
    assert problems_of(tmp_path, text) == [message]


def test_an_alias_is_refused_beside_its_anchor(tmp_path):
    text = "name: R-101\nconvey:\n  fill_s: &t 16\nlevel:\n  clear_s: *t\n"
    assert problems_of(tmp_path, text) == [
        "x.yaml:3:11: &t is an anchor: leave it out, repeat the value",
        "x.yaml:5:12: *t is an alias: write the value out again",
    ]


def test_an_alias_of_itself_and_ever_growing_aliases_end(tmp_path):
    assert len(problems_of(tmp_path, "name: &a [*a]\n")) == 2
    bomb = "a: &a [x, x]\n" + "".join(
        f"{b}: &{b} [{', '.join([f'*{a}'] * 9)}]\n" for a, b in zip("abcdefgh", "bcdefghi", strict=True)
    )
    assert len(problems_of(tmp_path, bomb)) > 70


def test_every_problem_is_said_at_once_in_the_order_of_the_file(tmp_path):
    text = (
        "nam: R-101\nconvey:\n  fill_ms: 16000\n  repeats: 9\n  repeats: 2\n  finish: yes\n  effect: trp\n"
        "level: &l\n  clear_s: 0.1\n"
    )
    assert problems_of(tmp_path, text) == [
        "x.yaml:1:1: name: is missing: the receiver's tag",
        "x.yaml:1:1: nam: is not a key of this file - did you mean 'name'?",
        "x.yaml:3:3: convey.fill_ms: is typed in s: fill_s: 16",
        "x.yaml:4:12: convey.repeats: is 9, allowed whole numbers 1 to 3 (of three)",
        "x.yaml:5:3: convey.repeats: stands twice: first in line 4, keep one of the two",
        f'x.yaml:6:11: convey.finish: yes {TRUTH}: write true, or as text "yes"',
        "x.yaml:7:11: convey.effect: is 'trp', allowed trip or wait - did you mean 'trip'?",
        "x.yaml:8:8: &l is an anchor: leave it out, repeat the value",
        "x.yaml:9:12: level.clear_s: is 0.1, allowed numbers 0.5 to 600 s (heap)",
    ]


def test_a_missing_file_names_the_nearest_one(tmp_path):
    (tmp_path / "receiver.yml").write_text(GOOD)
    with pytest.raises(StationError) as caught:
        load(tmp_path / "receiver.yaml", Station)
    assert str(caught.value) == f"{tmp_path}/receiver.yaml: no such file - did you mean 'receiver.yml'?"


def test_another_file_of_the_station_is_no_hint_for_one_that_is_missing(tmp_path):
    for name in ("receiver.yaml", "points.yaml"):
        (tmp_path / name).write_text(GOOD)
    with pytest.raises(StationError) as caught:
        load(tmp_path / "plant.yaml", Station)
    assert str(caught.value) == f"{tmp_path}/plant.yaml: no such file"


def test_a_folder_is_not_a_file(tmp_path):
    with pytest.raises(StationError) as caught:
        load(tmp_path, Station)
    assert str(caught.value) == f"{tmp_path}: is a folder, not a file"


def test_a_file_under_the_working_folder_is_named_from_there(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(StationError) as caught:
        load(tmp_path / "mill" / "receiver.yaml", Station)
    assert str(caught.value) == "mill/receiver.yaml: no such file"


def test_a_later_check_can_name_the_place_of_a_value(tmp_path):
    (tmp_path / "x.yaml").write_text(GOOD)
    document = load(tmp_path / "x.yaml", Station)
    assert document.problem(("convey", "fill_s"), "too short")[1:] == (3, 11, "convey.fill_s", "too short")
    assert document.problem(("convey", "repeats"), "too few")[1:3] == (3, 3)  # left out: where its group is
    assert document.problem(("level", "clear_s"), "too long")[1:3] == (1, 1)


def test_problems_of_two_files_come_together():
    def first():
        raise StationError([Problem("a", 1, 1, "x", "bad")])

    def second():
        raise StationError([Problem("b", 0, 0, "", "worse")])

    with pytest.raises(StationError) as caught:
        together(first, second)
    assert str(caught.value) == "a:1:1: x: bad\nb: worse"
    with pytest.raises(StationError, match=r"^a:1:1: x: bad$"):
        together(first, lambda: 1)
    with pytest.raises(StationError, match=r"^b: worse$"):
        together(lambda: 1, second)
    assert together(lambda: 1, lambda: 2) == (1, 2)


@given(st.binary(max_size=300))
@example(b"\x00")
@example(b"a: " + b"9" * 5000)
@example(b"a: 1" + b"0" * 400 + b".0")
@example(b"? ? ? ?")
@example(b"%YAML 1.1\n%TAG ! x\n---\n")
def test_any_bytes_give_a_station_error_or_values(tmp_path_factory, raw):
    file = tmp_path_factory.getbasetemp() / "any.yaml"
    file.write_bytes(raw)
    with pytest.raises(StationError):  # no random bytes hold the one key that must be there
        load(file, Station)


def read_or_refuse(file) -> list[Problem]:
    """The problems of a file, none of a good one; any other error comes through."""
    try:
        assert load(file, Station).value.name
    except StationError as error:
        return error.problems
    return []


WORDS = [
    "name",
    "convey",
    "fill_s",
    "fill_ms",
    "effect",
    "trip",
    "16",
    "yes",
    "1:30",
    '"',
    "'",
    "|",
    ">",
    "#",
]
SIGNS = [
    ": ",
    ":",
    "\n",
    "\n  ",
    "\n\t",
    "- ",
    "[",
    "]",
    "{",
    "}",
    ", ",
    "&a ",
    "*a",
    "!!str ",
    "? ",
    "---",
    "é",
    "\u2028",
]


@given(st.lists(st.sampled_from(WORDS + SIGNS), max_size=30).map("".join))
def test_any_text_of_the_language_gives_a_station_error_or_values(tmp_path_factory, text):
    file = tmp_path_factory.getbasetemp() / "any.yaml"
    file.write_text(text)
    for problem in read_or_refuse(file):
        assert problem.line >= 1
        assert problem.column >= 1
