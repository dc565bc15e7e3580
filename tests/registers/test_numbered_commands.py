"""Which writes count as a command: each bears a number, and a repeated one does nothing."""

import pytest

from controller.modbus.answers import BUSY, ILLEGAL_VALUE, RefusedError
from controller.registers.numbered_commands import CLIENTS_MAX, Heard, NumberedCommands, is_later
from controller.registers.numbers import ANSWERS, COMMANDS

START, STOP, HALT, RESET = (COMMANDS[name] for name in ("start", "stop", "halt", "reset"))
A, B = "10.0.0.1", "10.0.0.2"


def known(client=A, number=1):
    """A client whose first number was taken, and refused."""
    commands = NumberedCommands()
    commands.answered(commands.write(client, number, RESET), (30,))
    return commands


def refused(commands, number, command, client=A):
    with pytest.raises(RefusedError) as no:
        commands.write(client, number, command)
    return no.value.code


def test_a_number_that_comes_after_counts():
    assert known().write(A, 2, START) == Heard(A, 2, "start", only_mark=False)


def test_the_first_number_of_a_client_is_a_mark_but_stop_and_halt_are_heard():
    for command, only_mark in (("start", True), ("reset", True), ("stop", False), ("halt", False)):
        heard = NumberedCommands().write(A, 77, COMMANDS[command])
        assert heard == Heard(A, 77, command, only_mark)


def test_the_same_write_again_does_nothing_however_often():
    commands = known()
    heard = commands.write(A, 2, START)
    commands.answered(heard, ())
    assert [commands.write(A, 2, START) for _ in range(5)] == [None] * 5
    assert commands.of(A).answer == ANSWERS["accepted"]


def test_a_number_that_was_used_with_another_command_is_refused():
    commands = known()
    commands.answered(commands.write(A, 2, START), ())
    assert refused(commands, 2, RESET) == ILLEGAL_VALUE


def test_what_was_delayed_on_an_old_connection_is_not_done_after_what_came_later():
    commands = known()
    commands.answered(commands.write(A, 3, STOP), ())
    assert refused(commands, 2, START) == ILLEGAL_VALUE


def test_a_stop_is_heard_with_any_number_and_gives_no_old_start_a_second_life():
    commands = known(number=900)
    commands.answered(commands.write(A, 901, START), ())
    assert commands.write(A, 5, STOP) == Heard(A, 5, "stop", only_mark=False)
    assert commands.of(A).counted == 901
    assert refused(commands, 901, START) == ILLEGAL_VALUE


def test_two_clients_that_write_the_same_for_ever_do_not_wake_each_other():
    commands = known(A)
    commands.answered(commands.write(A, 2, START), ())
    commands.answered(commands.write(B, 7, STOP), ())
    assert commands.write(A, 2, START) is None
    assert commands.write(B, 7, STOP) is None


@pytest.mark.parametrize(("number", "command"), [(0, STOP), (2, 0), (2, 8), (2, 65_535)])
def test_what_is_no_command_is_refused(number, command):
    assert refused(known(), number, command) == ILLEGAL_VALUE


def test_while_one_waits_for_its_scan_only_stop_and_halt_pass():
    commands = known()
    start = commands.write(A, 2, START)
    assert refused(commands, 3, RESET) == BUSY
    assert commands.write(A, 3, STOP).command == "stop"
    commands.answered(start, (1,))  # an answer that came too late is not that of the stop
    assert commands.of(A)._replace(counted=0) == (3, STOP, ANSWERS["waiting"], (), 0)


def test_of_many_clients_the_one_that_was_silent_longest_begins_anew():
    commands = known(A)
    for k in range(CLIENTS_MAX):
        commands.write(f"10.0.1.{k}", 1, STOP)
    assert commands.write(A, 2, START).only_mark


def test_later_is_as_serial_numbers_have_it():
    """RFC 1982, 5.1: with 8 bits 44 > 0, 100 > 44, 200 > 100, 255 > 200, 0 > 255, 44 > 200; here x 256."""
    for later, earlier in (
        (44, 0),
        (100, 0),
        (100, 44),
        (200, 100),
        (255, 200),
        (0, 255),
        (100, 255),
        (0, 200),
        (44, 200),
    ):
        assert is_later(later * 256, earlier * 256)
        assert not is_later(earlier * 256, later * 256)
    assert not is_later(0x8000, 0)  # 3.2: half way round is not defined: not taken
