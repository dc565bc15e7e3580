"""prepare.py: secrets that nobody else can read, none of them known beforehand, none changed by a second run."""

import importlib.util
import os
import re
import stat

import pytest
from containers.composed import HERE, MADE, ROOT, binds, composed, services

from controller.reporting.secret import password, read_private
from controller.reporting.services import Mqtt

ACL = (HERE / "acl").read_text(encoding="utf-8")
UID, GID = os.getuid(), os.getgid()


def load():
    spec = importlib.util.spec_from_file_location("prepare", HERE / "prepare.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


prepare = load()


def secrets(root):
    return {path.name: path for path in (root / MADE / "secrets").iterdir()}


def mode(path):
    return stat.S_IMODE(path.stat().st_mode)


def test_it_makes_all_that_the_compose_file_binds_in(tmp_path):
    prepare.prepare(tmp_path, ACL, UID, GID)
    for name in services():
        for source, _target, _read_only in binds(name):
            assert not source.startswith(MADE) or (tmp_path / source).is_dir()
    for secret in composed()["secrets"].values():
        assert (tmp_path / secret["file"]).is_file()


def test_only_its_owner_reads_what_it_made(tmp_path):
    prepare.prepare(tmp_path, ACL, UID, GID)
    assert {mode(path) for path in (tmp_path / MADE).iterdir()} == {0o700}
    assert {mode(path) for path in secrets(tmp_path).values()} == {0o600}


def test_our_own_reader_takes_the_password(tmp_path):
    prepare.prepare(tmp_path, ACL, UID, GID)
    mqtt = Mqtt(
        site="mill", unit="R-101", client_id="x", user="controller",
        password_file=f"{MADE}secrets/controller_password",
    )  # fmt: skip
    found = password(mqtt, tmp_path, {})
    assert len(found) >= 43, "32 bytes of chance, as letters"
    assert read_private(secrets(tmp_path)["controller_password"]).decode() == found + "\n"


def test_no_two_passwords_are_alike_here_or_elsewhere(tmp_path):
    found = set()
    for place in ("here", "elsewhere"):
        prepare.prepare(tmp_path / place, ACL, UID, GID)
        found |= {
            path.read_text() for name, path in secrets(tmp_path / place).items() if name.endswith("_password")
        }
    assert len(found) == 2 * 3


def test_a_second_run_changes_no_password_and_closes_what_was_opened(tmp_path):
    prepare.prepare(tmp_path, ACL, UID, GID)
    before = secrets(tmp_path)["viewer_password"].read_text()
    secrets(tmp_path)["viewer_password"].chmod(0o644)
    assert prepare.prepare(tmp_path, ACL, UID, GID) == []
    assert secrets(tmp_path)["viewer_password"].read_text() == before
    assert mode(secrets(tmp_path)["viewer_password"]) == 0o600


def test_who_is_added_to_the_access_list_gets_a_password_and_who_is_taken_out_is_no_user_any_more(tmp_path):
    prepare.prepare(tmp_path, ACL, UID, GID)
    made = prepare.prepare(tmp_path, "user operator\ntopic read a\nuser viewer\ntopic read b\n", UID, GID)
    assert made == [f"{MADE}secrets/operator_password"]
    lines = secrets(tmp_path)["broker_passwords"].read_text().splitlines()
    assert [line.split(":")[0] for line in lines] == ["operator", "viewer"]


def test_the_broker_gets_the_access_list_as_it_is_now_and_for_itself_alone(tmp_path):
    """Mosquitto warns of one that others may read, and says that later versions will not take it (its log)."""
    prepare.prepare(tmp_path, ACL, UID, GID)
    prepare.prepare(tmp_path, ACL + "# more\n", UID, GID)
    there = secrets(tmp_path)["broker_acl"]
    assert (there.read_text(), mode(there)) == (ACL + "# more\n", 0o600)
    conf = (HERE / "mosquitto.conf").read_text(encoding="utf-8")
    assert "acl_file /run/secrets/broker_acl\n" in conf
    assert "broker_acl" in services()["broker"]["secrets"]
    assert not any("acl" in source for source, _, _ in binds("broker"))


def test_no_password_stands_in_the_file_of_the_broker(tmp_path):
    prepare.prepare(tmp_path, ACL, UID, GID)
    hashes = secrets(tmp_path)["broker_passwords"].read_text()
    for name, path in secrets(tmp_path).items():
        assert name == "broker_passwords" or path.read_text().strip() not in hashes


def test_the_hash_is_pbkdf2_with_sha_512():
    """
    Worked out by mosquitto_passwd 2.0.11 (`mosquitto_passwd -b -c FILE x abc`) from a salt of its own; the password
    abc protects nothing.
    """
    line = "$7$101$54VdqNNVgUGoF58G$q01fcKODh1lnNVAVsiwK+zZabGTklOlANwDe+NBVeLO0g9r6+uVSg5EyUYRmqFyoeSQqMUaAPgqCtIp5IWPzrg=="
    salt = prepare.base64.b64decode(line.split("$")[3])
    assert prepare.hashed("abc", salt, 101) == line


def test_the_containers_run_as_who_prepared_and_other_lines_of_the_file_stay(tmp_path):
    (tmp_path / ".env").write_text("TZ=UTC\nRECEIVER_UID=0\n")
    prepare.prepare(tmp_path, ACL, UID, GID)
    assert (tmp_path / ".env").read_text().splitlines() == [
        "TZ=UTC",
        f"RECEIVER_UID={UID}",
        f"RECEIVER_GID={GID}",
    ]


@pytest.mark.skipif(UID != 0, reason="needs root: files are given away")
def test_what_root_prepares_belongs_to_somebody_else(tmp_path):
    prepare.prepare(tmp_path, ACL, prepare.NOBODY, prepare.NOBODY)
    assert {path.stat().st_uid for path in secrets(tmp_path).values()} == {prepare.NOBODY}
    assert {path.stat().st_uid for path in (tmp_path / MADE).iterdir()} == {prepare.NOBODY}


def test_git_takes_nothing_of_it():
    lines = (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    assert {"/.env", f"/{MADE.split('/')[0]}/"} <= set(lines)


def test_no_hash_of_a_password_comes_with_the_files_of_the_broker():
    """A password that comes along is everybody's."""
    found = [
        path.name for path in HERE.iterdir() if path.is_file() and re.search(r"\$[67]\$\w", path.read_text())
    ]
    assert found == []
