"""What comes from the broker is read strictly, whatever somebody sent."""

import json

import jsonschema
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from reporting.test_messages import validator

from controller.reporting.commands import PAYLOAD_BYTES, Unreadable, read_command
from controller.reporting.message_models import COMMANDS, CommandAsked

ASKED = {
    "schema": "receiver.command/1", "id": "desk-0001", "command": "stop", "operator": "M. Roth",
    "issued_at": "2026-01-05T06:00:00.000Z", "expires_at": "2026-01-05T06:00:05.000Z",
}  # fmt: skip


def payload(**change):
    return json.dumps({**ASKED, **change}).encode()


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_is_read_and_valid_by_the_shipped_schema(command):
    validator("command").validate({**ASKED, "command": command})
    read = read_command(payload(command=command))
    assert isinstance(read, CommandAsked)
    assert (read.command, read.id, read.operator) == (command, "desk-0001", "M. Roth")


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"command": "jog"}, "command: is none of start, stop"),
        ({"command": "manual"}, "command: is none of start, stop"),
        ({"more": 1}, "more: is not known here"),
        ({"operator": ""}, "operator: "),
        ({"id": "a b"}, "id: "),
        ({"id": 12345678}, "id: "),
        ({"issued_at": "2026-01-05T07:00:00+01:00"}, "issued_at: "),
        ({"expires_at": 5}, "expires_at: "),
        ({"schema": "receiver.command/2"}, "schema: "),
    ],
)
def test_what_is_wrong_is_said_and_the_schema_refuses_it_too(change, why):
    read = read_command(payload(**change))
    assert isinstance(read, Unreadable)
    assert read.why.startswith(why)
    assert read.id == ("" if "id" in change else "desk-0001")
    with pytest.raises(jsonschema.ValidationError):
        validator("command").validate({**ASKED, **change})


@pytest.mark.parametrize(
    ("sent", "why"),
    [
        (b"", "is not JSON"),
        (b"start", "is not JSON"),
        (b"\xff\xfe", "is not JSON"),
        (b"NaN", "is not a JSON object"),
        (payload().decode().encode("utf-16"), "is not JSON"),
        (b"[1]", "is not a JSON object"),
        (b"[" * 4_000, "is not JSON"),
        (b"{}", "schema: is missing"),
        (
            payload(operator="x" * 1_000_000),
            f"has {len(payload()) + 999_993:,} bytes, at most 4,096 are read",
        ),
    ],
)
def test_what_is_no_command_says_why(sent, why):
    assert read_command(sent) == Unreadable(why)


@pytest.mark.parametrize("twice", ["command", "id", "operator", "expires_at"])
def test_a_key_that_stands_there_twice_is_refused_as_readers_differ_on_which_counts(twice):
    """RFC 8259 section 4. A start that was logged as a stop on its way here must not act as one."""
    sent = payload()[:-1] + f', "{twice}": "{ASKED[twice]}"}}'.encode()
    assert read_command(sent) == Unreadable("a key stands there twice", ASKED["id"])


@pytest.mark.parametrize("name", ["\x1b[2J\nX", "   ", "\u202egro", "a\u200bb", "a\x85b", "\ud800x"])
def test_a_name_that_shows_nothing_or_changes_what_others_show_is_refused(name):
    read = read_command(payload(operator=name))
    assert isinstance(read, Unreadable)
    assert read.why.startswith("operator: ")


@pytest.mark.parametrize("name", ["M. Roth", "Ada Öz", "李 小龍", "O'Neill-Łuk"])
def test_names_of_people_are_taken(name):
    assert read_command(payload(operator=name)).operator == name
    validator("command").validate({**ASKED, "operator": name})


def test_the_longest_that_is_read_is_bounded():
    assert isinstance(read_command(payload() + b" " * (PAYLOAD_BYTES - len(payload()))), CommandAsked)
    assert "bytes" in read_command(payload() + b" " * PAYLOAD_BYTES).why


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=10),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from([*ASKED, "x"]), inner, max_size=6)
    ),
    max_leaves=8,
)


@given(st.binary(max_size=200) | JSON.map(lambda value: json.dumps(value).encode()))
@settings(max_examples=300, deadline=None)
def test_nothing_that_is_sent_raises(sent):
    assert isinstance(read_command(sent), Unreadable)


@given(st.dictionaries(st.sampled_from([*ASKED]), JSON, max_size=3))
@settings(max_examples=200, deadline=None)
def test_reader_and_schema_agree(change):
    document = {**ASKED, **change}
    assume(not any(str(value).endswith("\n") for value in change.values()))  # "$" of Python, not of ECMA 262
    read = read_command(json.dumps(document).encode())
    assert isinstance(read, CommandAsked) == validator("command").is_valid(document)
