"""Addresses and numbers stay: a plant's program is written against them."""

import csv
from pathlib import Path

import pytest

from controller.events import ALARM_IDS
from controller.registers import numbers, table
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import STATES, Step

HERE = Path(__file__).parent
LOGIC = Logic(RECEIVER)


def listed(file):
    with (HERE / file).open(encoding="utf-8") as lines:
        return [tuple(line.values()) for line in csv.DictReader(lines)]


def numbers_now():
    return [
        (name, str(number), word)
        for name, words in numbers.TABLES.items()
        for word, number in words.items()
    ]  # fmt: skip


def rows_now():
    return [
        (row.table, str(row.address), row.name, row.type, row.unit, row.numbers)
        for row in (*table.ROWS, *table.COMMANDS)
    ]


@pytest.mark.parametrize(
    ("file", "now"), [("numbers.csv", numbers_now), ("map.csv", rows_now)], ids=["numbers", "map"]
)
def test_what_was_once_given_out_stands_in_the_code_as_it_was_and_what_is_new_is_added_to_the_list(file, now):
    given, found = listed(file), now()
    assert [line for line in given if line not in found] == [], "changed: a plant's program reads it"
    assert [line for line in found if line not in given] == [], f"new: add it to {file}"
    assert len(set(found)) == len(found)


def test_no_two_names_share_a_number_and_no_two_rows_an_address():
    for words in numbers.TABLES.values():
        assert len(set(words.values())) == len(words)
    taken = [
        (row.table, address)
        for row in (*table.ROWS, *table.COMMANDS)
        for address in range(row.address, row.address + row.size)
    ]
    assert len(set(taken)) == len(taken)
    assert len({row.name for row in table.ROWS}) == len(table.ROWS)
    for row in table.ROWS:
        assert row.address + row.size <= table.READ[row.table], row.name


def test_every_name_that_the_sequence_has_today_has_a_number():
    assert set(numbers.INTERLOCKS) >= {*LOGIC.interlock_names, *ALARM_IDS}
    assert set(numbers.STEPS) >= {step.name for step in Step}
    assert set(numbers.STATES) >= set(STATES)
    offered = [line for line in LOGIC.definition.refusals if line.command in numbers.COMMANDS]
    assert set(numbers.REASONS) >= {line.fact.name for line in offered}


def test_the_words_of_each_refusal_lead_to_its_number():
    reasons = numbers.ReasonNumbers(LOGIC)
    names = {number: name for name, number in numbers.REASONS.items()}
    for line in LOGIC.definition.refusals:
        if line.command in numbers.COMMANDS:
            assert names[reasons.of(line.command, line.reason)] == line.fact.name
    assert names[reasons.of("start", "words that nobody knows")] == "another"
    assert names[reasons.of("start", "the controller has ended")] == "controller_ended"


def test_rows_that_name_a_table_of_numbers_name_one_that_there_is():
    assert {row.numbers for row in table.ROWS if row.numbers} <= set(numbers.TABLES)


def test_the_printed_reference_counts_from_one_behind_the_digit_of_the_table():
    """Common practice, no source: 4xxxx holding registers, 3xxxx input registers, 1xxxx discrete inputs."""
    wanted = {"map": "30001", "simulated": "10001", "acts_IO_LOST": "10103", "command": "40002"}
    assert {name: table.BY_NAME[name].reference for name in wanted} == wanted
