"""The name of who gives the area as clear: one rule for who types it and for the socket."""

import pytest
from pydantic import ValidationError

from controller.panel.area import is_a_name
from controller.panel.messages import CommandAsked, HoldAsked, UnreadableError, read

LAST = 0xFFFF


def test_whatever_is_taken_for_a_name_at_the_terminal_the_socket_takes_too():
    taken = [name for name in (f"Bo{chr(code)}b" for code in range(LAST + 1)) if is_a_name(name)]
    assert len(taken) > LAST // 2
    for name in taken:
        CommandAsked(ask="command", command="stop", on_behalf_of=name)
        HoldAsked(ask="hold", output="purge_cmd", area_clear_by=name)


@pytest.mark.parametrize("said", ["Bob\x1b[D", "Bob\n", "Bob\u202e", "Bob\udc80", "\u200b\u200b"])
def test_what_moves_the_cursor_or_is_no_letter_is_no_name(said):
    assert not is_a_name(said)


@pytest.mark.parametrize("said", ["no", "Not yet", "yes", "clear"])
@pytest.mark.parametrize(
    "asked", ['"hold", "output": "purge_cmd"', '"force", "point": "level_free", "value": 0']
)
def test_the_socket_takes_no_refusal_for_the_word_of_a_person(asked, said):
    with pytest.raises(UnreadableError, match="area_clear_by: "):
        read(f'{{"ask": {asked}, "area_clear_by": "{said}"}}'.encode())


def test_the_word_is_looked_at_wherever_a_hold_is_made():
    with pytest.raises(ValidationError, match="no name"):
        HoldAsked(ask="hold", output="purge_cmd", area_clear_by="no")
