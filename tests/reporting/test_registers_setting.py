"""services.yaml, `registers`: off and on this machine unless set, and what is refused with its place."""

import pytest
import yaml
from schemas import FOLDER

from controller.problems import StationError
from controller.reporting.services import load_services


def load(folder, **registers):
    (folder / "services.yaml").write_text(yaml.safe_dump({"registers": registers}), encoding="utf-8")
    return load_services(folder).registers


def refused(folder, **registers):
    with pytest.raises(StationError) as no:
        load(folder, **registers)
    return str(no.value)


def test_without_a_word_nothing_is_served_and_no_command_taken(tmp_path):
    for registers in (load_services(tmp_path).registers, load(tmp_path)):
        assert not registers.serve
        assert (registers.host, registers.commands, registers.allow) == ("127.0.0.1", "refused", [])


def test_no_station_that_comes_along_serves_it():
    stations = [path.parent for path in FOLDER.parent.glob("*/receiver.yaml")]
    assert len(stations) >= 3
    assert not any(load_services(folder).registers.serve for folder in stations)


def test_another_address_wants_the_clients_named(tmp_path):
    said = refused(tmp_path, serve=True, host="0.0.0.0")
    assert "services.yaml:2:" in said
    assert "registers.host" in said
    assert "list in allow who may connect" in said
    assert load(tmp_path, serve=True, host="0.0.0.0", allow=["192.168.10.5"]).serve


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("allow", ["plc.mill.example"], "registers.allow[0]: is 'plc.mill.example'"),
        ("commands", "yes", "registers.commands"),
        ("commands", True, "registers.commands"),
        ("port", 0, "registers.port"),
        ("unit", 256, "registers.unit"),
        ("connections_max", 9, "registers.connections_max"),
        ("alow", [], "allow"),
    ],
)
def test_what_is_wrong_is_refused_with_its_place(tmp_path, key, value, said):
    assert said in refused(tmp_path, **{key: value})


def test_a_port_that_the_figures_have_is_refused(tmp_path):
    text = {"registers": {"serve": True, "port": 9464}, "metrics": {"serve": True}}
    (tmp_path / "services.yaml").write_text(yaml.safe_dump(text), encoding="utf-8")
    with pytest.raises(StationError, match=r"registers.port: is 9464, which is taken by metrics.port"):
        load_services(tmp_path)


def test_it_is_said_where_it_is_served(tmp_path):
    assert "false" in load(tmp_path).said
    assert load(tmp_path, serve=True, host="::1").said.startswith(
        "served by `receiver run` at [::1]:1510, unit 1"
    )
