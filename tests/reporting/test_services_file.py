"""services.yaml: what may stand in it, and what is refused with its place and the way out."""

import json
from pathlib import Path

import jsonschema
import pytest
import yaml
from schemas import FOLDER, texts

from controller.problems import StationError
from controller.reporting.services import OURS, Services, is_loopback, load_services

EXAMPLE = FOLDER.parent / "buckwheat_mill"
MQTT = {"publish": True, "site": "mill", "unit": "R-101", "client_id": "mill-R-101"}
AWAY = {"host": "broker.mill.example"}
NAMED = {"user": "r101", "password_env": "RECEIVER_MQTT_PASSWORD"}
TLS = {"tls": {"ca_file": "secrets/ca.pem"}}


@pytest.fixture
def station(tmp_path):
    def write(document):
        text = document if isinstance(document, str) else yaml.safe_dump(document)
        (tmp_path / "services.yaml").write_text(text, encoding="utf-8")
        return tmp_path

    return write


def refused(folder):
    with pytest.raises(StationError) as no:
        load_services(folder)
    return str(no.value)


# ---- all off ---------------------------------------------------------------------------------------------
def test_without_the_file_nothing_is_told(tmp_path):
    services = load_services(tmp_path)
    assert services == Services()
    assert services.mqtt is None
    assert not services.metrics.serve


def test_the_example_is_off_and_on_this_machine():
    services = load_services(EXAMPLE)
    assert services.mqtt is not None
    assert not services.mqtt.publish
    assert services.mqtt.is_here
    assert services.mqtt.commands == "refused"
    assert not services.metrics.serve


def test_no_station_of_the_repository_tells_or_serves_anything():
    for folder in {path.parent for path in FOLDER.parent.glob("*/receiver.yaml")}:
        services = load_services(folder)
        assert services.mqtt is None or not services.mqtt.publish
        assert not services.metrics.serve


def test_every_commented_setting_of_the_example_is_accepted_where_it_stands(station):
    """What the comments teach is read by the same reader: uncommented, one password and words less."""
    lines = []
    for line in (EXAMPLE / "services.yaml").read_text(encoding="utf-8").splitlines():
        said = line.removeprefix("  #   ").split(" #")[0]
        key = said.strip().split(":")[0]
        shown = line.startswith("  #   ") and key in ("user", "password_file", "tls", "ca_file",
                                                      "certificate_file", "key_file", "unprotected")  # fmt: skip
        lines.append(f"  {said}" if shown else line)
    read = load_services(station("\n".join(lines))).mqtt
    assert (read.user, read.password_file, read.unprotected) == ("r101", "secrets/mqtt_password", OURS)
    assert read.tls.key_file == "secrets/r101.key"


def test_a_comment_and_the_file_say_the_same_of_the_default():
    """The example shows the defaults, so that a reader sees what is left out elsewhere."""
    shown = yaml.safe_load((EXAMPLE / "services.yaml").read_text(encoding="utf-8"))
    said = Services(mqtt={key: shown["mqtt"][key] for key in ("site", "unit", "client_id")})
    assert load_services(EXAMPLE) == said


# ---- what is refused -------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"topic": "x"}, "mqtt.topic"),
        ({"password": "secret"}, "mqtt.password"),
        ({"site": "mill/a"}, "mqtt.site: is 'mill/a'"),
        ({"site": "#"}, "mqtt.site"),
        ({"unit": "+"}, "mqtt.unit"),
        ({"client_id": "a b"}, "mqtt.client_id"),
        ({"protocol": 5.0}, "mqtt.protocol"),
        ({"port": 0}, "mqtt.port"),
        ({"tag_floor_ms": 10}, "mqtt.tag_floor_ms"),
        ({"commands": True}, "mqtt.commands"),
        ({"unprotected": "yes please"}, "mqtt.unprotected"),
        ({"password_env": "lower"}, "mqtt.password_env"),
        ({"tls": {"verify": False}}, "mqtt.tls.verify"),
        ({**NAMED, "password_file": "p"}, "mqtt.password_file: stands beside password_env"),
        ({"password_file": "p"}, "mqtt.password_file: is a password without a user"),
        ({"tls": {"key_file": "k"}}, "mqtt.tls: has a certificate without its key, or a key alone"),
        ({**AWAY, **NAMED}, "mqtt.host: is another machine, and the password would go in clear"),
        ({**AWAY}, "mqtt.host: is another machine, and nobody says who publishes"),
        ({**AWAY, **TLS}, "mqtt.host: is another machine, and nobody says who publishes"),
        ({"host": "0.0.0.0", **NAMED}, "would go in clear"),
        ({"host": "127.0.0.1.example", **NAMED}, "would go in clear"),
    ],
)
def test_what_is_refused_names_its_key_and_place(station, change, said):
    folder = station({"mqtt": {**MQTT, **change}})
    told = refused(folder)
    assert said in told
    assert "services.yaml:" in told.replace(str(folder), "")


def test_the_way_out_of_a_refusal_is_accepted(station):
    assert f'write unprotected: "{OURS}"' in refused(station({"mqtt": {**MQTT, **AWAY, **NAMED}}))
    for way_out in ({**NAMED, "unprotected": OURS}, {"unprotected": OURS}, {**NAMED, **TLS},
                    {"tls": {"certificate_file": "c", "key_file": "k"}}):  # fmt: skip
        assert load_services(station({"mqtt": {**MQTT, **AWAY, **way_out}})).mqtt.publish


def test_on_this_machine_a_password_needs_no_encryption(station):
    for host in ("127.0.0.1", "::1", "localhost", "127.8.8.8"):
        assert load_services(station({"mqtt": {**MQTT, **NAMED, "host": host}})).mqtt.is_here


def test_all_problems_come_at_once(station):
    told = refused(
        station(
            {"mqtt": {**MQTT, "port": -1, "site": ""}, "metrics": {"port": 80}, "journal": {"keep_days": 0}}
        )
    )
    assert all(key in told for key in ("mqtt.port", "mqtt.site", "metrics.port", "journal.keep_days"))


def test_a_mistake_in_one_group_hides_none_in_another(station):
    told = refused(station({"mqtt": {**MQTT, "port": -1}, "registers": {"host": "0.0.0.0"}}))
    assert "mqtt.port: is -1" in told
    assert "registers.host: can be reached by other machines" in told
    assert len(told.splitlines()) == 2


def test_figures_are_served_to_this_machine_alone_so_there_is_no_host_to_set(station):
    assert "metrics.host" in refused(station({"metrics": {"serve": True, "host": "0.0.0.0"}}))


@pytest.mark.parametrize("host", ["", "0.0.0.0", "::", "127.1.example", "localhost.example", "8.8.8.8"])
def test_what_is_not_this_machine(host):
    assert not is_loopback(host)


def test_the_schema_refuses_a_password_in_the_file():
    schema = json.loads(texts()["services.schema.json"])
    jsonschema.validate({"mqtt": MQTT}, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"mqtt": {**MQTT, "password": "x"}}, schema)


def test_the_file_of_the_example_is_short_enough_to_read():
    assert len(Path(EXAMPLE / "services.yaml").read_text(encoding="utf-8").splitlines()) < 70
