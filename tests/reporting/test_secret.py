"""A password comes from the environment or from a file of mode 0600, and stands in no message."""

import os

import pytest

from controller.reporting.secret import SecretError, password, read_private
from controller.reporting.services import Mqtt

MQTT = {"site": "mill", "unit": "R-101", "client_id": "mill-R-101", "user": "r101"}
BY_ENV = Mqtt(**MQTT, password_env="RECEIVER_MQTT_PASSWORD")
BY_FILE = Mqtt(**MQTT, password_file="mqtt_password")
WORD = "buckwheat-and-tea"


@pytest.fixture
def file(tmp_path):
    def write(content=f"{WORD}\n", mode=0o600):
        path = tmp_path / "mqtt_password"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        path.chmod(mode)
        return tmp_path

    return write


def test_from_the_environment(tmp_path):
    assert password(BY_ENV, tmp_path, {"RECEIVER_MQTT_PASSWORD": WORD}) == WORD


def test_from_a_file_in_the_folder_of_the_station_or_elsewhere(file):
    folder = file()
    assert password(BY_FILE, folder, {}) == WORD
    elsewhere = Mqtt(**MQTT, password_file=str(folder / "mqtt_password"))
    assert password(elsewhere, folder / "other", {}) == WORD


def test_none_where_none_is_set(tmp_path):
    assert password(Mqtt(**MQTT), tmp_path, {"RECEIVER_MQTT_PASSWORD": WORD}) is None


@pytest.mark.parametrize("mode", [0o400, 0o600])
def test_a_file_of_its_owner_alone_is_read(file, mode):
    assert password(BY_FILE, file(mode=mode), {}) == WORD


@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o660, 0o610, 0o777])
def test_a_file_that_others_may_read_is_refused_with_the_way_out(file, mode):
    folder = file(mode=mode)
    with pytest.raises(SecretError, match=f"mode is {mode:04o}.*chmod 600 ") as no:
        password(BY_FILE, folder, {})
    assert WORD not in str(no.value)


@pytest.mark.parametrize("content", ["", "\n", "a\nb\n", "x" * 2_000, b"\xff\xfe"])
def test_a_file_that_holds_no_single_line_is_refused_without_showing_it(file, content):
    folder = file(content)
    with pytest.raises(SecretError, match="a password is one line of UTF-8") as no:
        password(BY_FILE, folder, {})
    assert "x" * 20 not in str(no.value)


@pytest.mark.parametrize("environ", [{}, {"RECEIVER_MQTT_PASSWORD": ""}])
def test_a_variable_that_is_not_set_says_so(tmp_path, environ):
    with pytest.raises(SecretError, match="RECEIVER_MQTT_PASSWORD: is not set"):
        password(BY_ENV, tmp_path, environ)


def test_a_file_that_is_not_there_and_a_folder_say_so(tmp_path):
    with pytest.raises(SecretError, match="No such file"):
        password(BY_FILE, tmp_path, {})
    (tmp_path / "mqtt_password").mkdir()
    with pytest.raises(SecretError, match="is no ordinary file"):
        password(BY_FILE, tmp_path, {})


def test_a_pipe_does_not_hold_up_the_start(tmp_path):
    os.mkfifo(tmp_path / "pipe", 0o600)
    with pytest.raises(SecretError, match="is no ordinary file"):
        read_private(tmp_path / "pipe")
