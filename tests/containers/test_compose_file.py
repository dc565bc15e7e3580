"""
docker-compose.yml, without an engine: its schema, and whether all that it names is there and safe.

The schema is that of the Compose Specification, as the package check-jsonschema brings it along. The hardening is
what the specification offers (user, read_only, cap_drop, security_opt, deploy.resources); that these are the ones
worth having is common practice, no source.
"""

import subprocess
import sys

import pytest
import yaml
from containers.composed import FILE, MADE, ROOT, binds, composed, filled, seconds, services

from controller.live.run_command import CONFIRM_S, READY_S

OURS = ("plant", "controller")
EACH = pytest.mark.parametrize("name", ["broker", *OURS])


def checked(path):
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(path)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


def test_it_satisfies_the_schema_of_the_compose_specification():
    done = checked(FILE)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("change", [{"read_onli": True}, {"ports": [{"published": []}]}, {"restart": 3}])
def test_the_schema_refuses_what_is_wrong(tmp_path, change):
    document = yaml.safe_load(FILE.read_text(encoding="utf-8"))
    document["services"]["broker"].pop("ports")
    document["services"]["broker"] |= change
    (tmp_path / "docker-compose.yml").write_text(yaml.safe_dump(document), encoding="utf-8")
    done = checked(tmp_path / "docker-compose.yml")
    assert done.returncode == 1
    assert "broker" in done.stdout


def test_there_are_broker_plant_and_controller_and_no_other():
    assert set(services()) == {"broker", *OURS}


def test_its_head_says_that_no_engine_has_run_it_and_that_it_is_no_safety_function():
    head = FILE.read_text(encoding="utf-8").split("\nname:")[0]
    assert "NO CONTAINER ENGINE HAS RUN THIS" in head
    assert "not a safety function" in head


@EACH
def test_every_published_port_is_bound_to_this_machine_alone(name):
    """Short syntax of the specification: without an address a port is open to everybody."""
    service = services()[name]
    assert service.get("network_mode") is None
    for port in service.get("ports", []):
        assert isinstance(port, str)
        assert port.startswith("127.0.0.1:"), f"{name} publishes {port}"
        assert len(port.split(":")) == 3


def test_modbus_is_published_nowhere_and_its_network_leads_nowhere():
    assert composed()["networks"]["wire"]["internal"] is True
    assert {name for name, service in services().items() if "wire" in service["networks"]} == set(OURS)
    assert all("ports" not in services()[name] for name in OURS)


@EACH
def test_a_container_is_not_root_and_can_neither_gain_rights_nor_write_into_its_image(name):
    service = services()[name]
    uid, gid = filled(service["user"], RECEIVER_UID="1000", RECEIVER_GID="1001").split(":")
    assert (uid, gid) == ("1000", "1001")
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert "cap_add" not in service
    assert "privileged" not in service
    assert "no-new-privileges:true" in service["security_opt"]


@EACH
def test_it_does_not_start_before_it_is_known_who_it_runs_as(name):
    """`${NAME:?why}` of the specification ends with the reason; without it the user would be empty, which is root."""
    why = "run configs/containers/prepare.py first"
    assert services()[name]["user"] == f"${{RECEIVER_UID:?{why}}}:${{RECEIVER_GID:?{why}}}"


@EACH
def test_a_container_is_checked_restarted_limited_and_its_log_is_bounded(name):
    service = services()[name]
    assert service["healthcheck"]["test"][0] in ("CMD", "CMD-SHELL")
    assert service["restart"] == "unless-stopped"
    assert service["logging"]["options"].keys() == {"max-size", "max-file"}
    assert service["deploy"]["resources"]["limits"].keys() >= {"memory", "pids"}


def test_the_controller_has_no_limit_of_cpu_time():
    """A quota is enforced by pauses, and a pause is a late scan (kernel documentation, CFS bandwidth control)."""
    assert "cpus" not in services()["controller"]["deploy"]["resources"]["limits"]
    assert "cpus" not in services()["controller"]


@EACH
def test_no_image_is_the_latest_whatever_that_may_be(name):
    repository, colon, tag = services()[name]["image"].partition(":")
    assert (repository, colon) in {("eclipse-mosquitto", ":"), ("vacuum-receiver", ":")}
    assert tag[0].isdigit()


def test_the_controller_has_the_time_to_bring_its_outputs_to_safe():
    """Waiting for a first image and for the confirmation, twice over, before the engine would kill it."""
    assert seconds(services()["controller"]["stop_grace_period"]) >= 2 * (READY_S + CONFIRM_S)


def test_the_plant_outlives_the_controller_and_the_broker_holds_nothing_up():
    """Compose stops in the reverse order of `depends_on`: so somebody is there to confirm the safe outputs."""
    after = services()["controller"]["depends_on"]
    assert after["plant"]["condition"] == "service_healthy"
    assert after["broker"]["condition"] == "service_started"
    assert all("depends_on" not in services()[name] for name in ("plant", "broker"))


@EACH
def test_what_is_bound_in_is_in_the_tree_for_reading_or_made_by_the_preparation(name):
    for source, target, read_only in binds(name):
        assert target.startswith("/")
        if source.startswith(MADE):
            assert not read_only
        else:
            assert (ROOT / source).exists(), source
            assert read_only, f"{source} could be written by {name}"


@EACH
def test_a_folder_that_is_missing_is_an_error_and_not_one_of_roots(name):
    """`create_host_path` is true by default: the engine would make the folder, as root."""
    for one in services()[name]["volumes"]:
        if not isinstance(one, str):
            assert one["bind"] == {"create_host_path": False}
        else:
            assert not one.startswith(f"./{MADE}")


@EACH
def test_the_secrets_are_files_of_the_preparation_and_stand_in_no_environment(name):
    service = services()[name]
    assert "environment" not in service
    assert "env_file" not in service
    for one in service.get("secrets", []):
        source = one if isinstance(one, str) else one["source"]
        assert composed()["secrets"][source]["file"] == f"./{MADE}secrets/{source}"


@EACH
def test_what_is_written_besides_lies_in_memory_and_is_bounded(name):
    """The panel socket needs /tmp; the image of the broker declares a volume for its log."""
    needs = "/mosquitto/log" if name == "broker" else "/tmp"
    [[where, options]] = [one.split(":") for one in services()[name]["tmpfs"]]
    assert where == needs
    assert options.startswith("size=")
