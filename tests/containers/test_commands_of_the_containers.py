"""What the containers run: our own commands take it, the station that is laid out for them is a good one."""

import asyncio
import importlib.util
import ipaddress
import subprocess
import sys
import tempfile

import pytest
import typer
import yaml
from aiomqtt import Topic
from containers.composed import HERE, ROOT, address, composed, laid_out, services
from panel.rigs import LonelyPlant, NotingRig

from controller.cli import app
from controller.clock import SteppedClock
from controller.live import run_ask
from controller.modbus.health import LinkError
from controller.modbus.map_file import map_model
from controller.modbus.point_map import load_point_map
from controller.modbus.wire import make_wire
from controller.panel.server import Panel
from controller.points import load_points
from controller.reporting.messages import Topics
from controller.reporting.services import OURS, load_services
from controller.simulate import plant_command
from controller.station_file import load


def parsed(words):
    """What our command line makes of words, without running it."""
    group = typer.main.get_command(app)
    return group.commands[words[0]].make_context(words[0], list(words[1:])).params


def plant_words():
    return services()["plant"]["command"]


def run_words():
    """Behind the entry point of the recipe, which is our command line."""
    assert "entrypoint" not in services()["controller"]
    return services()["controller"]["command"]


@pytest.fixture
def healthy():
    spec = importlib.util.spec_from_file_location("healthy", HERE / "healthy.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.main


@pytest.fixture
def runtime(monkeypatch):
    """A short path for the panel socket."""
    with tempfile.TemporaryDirectory(prefix="rx") as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        yield


def test_our_command_line_takes_the_commands_of_both_containers():
    assert parsed(plant_words())["station"] == "/station/buckwheat_mill"
    run = parsed(run_words())
    assert run["station"] == "/station/buckwheat_mill"
    assert str(run["state"]) == "/state"
    assert run["out"] is None, "what a broker did not take before a start would lie in a folder that nobody reads again"


def test_the_commands_that_the_head_shows_are_taken_too():
    head = (ROOT / "docker-compose.yml").read_text(encoding="utf-8").split("\nname:")[0]
    shown = [line.split("#")[1] for line in head.splitlines() if "docker compose exec" in line]
    assert len(shown) == 2
    for line in shown:
        _docker, _compose, _exec, service, receiver, *words = line.split()
        assert service in services()
        assert receiver == "receiver"
        assert parsed(words)["station"] == "/station/buckwheat_mill", "that of another folder would not be reached"


def test_an_option_that_does_not_exist_would_be_found():
    with pytest.raises(Exception, match="No such option"):
        parsed([*plant_words(), "--lisen", "0.0.0.0:1502"])


def test_the_controller_runs_the_station_that_is_laid_out_for_it(tmp_path):
    folder = laid_out("controller", tmp_path)
    run = parsed(run_words())
    ask = run_ask.read_ask(
        folder, lasts=run["lasts"], out=run["out"], state=tmp_path / "state", io=run["io"],
        connect=run["connect"], rate=run["rate"], fifo=run["fifo"], start=run["start"],
    )  # fmt: skip
    assert ask.map.link.host == str(address("plant"))


def test_the_plant_listens_at_its_own_address_for_the_controller_alone(tmp_path):
    """Listening where others could reach it needs, in words, a list of who may connect."""
    words = parsed(plant_words())
    ask = plant_command.read_ask(
        laid_out("plant", tmp_path), address=words["listen"], rate=words["rate"], for_ms=words["lasts"],
        start=words["start"], fifo=words["fifo"],
    )  # fmt: skip
    assert ask.map.link.host == str(address("plant"))
    assert ask.map.link.allow == (str(address("controller")),)
    make_wire(ask.map, "device", SteppedClock())


def test_with_the_map_of_the_station_itself_the_plant_would_not_listen_there():
    folder = ROOT / "configs" / "buckwheat_mill"
    own = load_point_map(folder, load_points(folder))
    with pytest.raises(LinkError, match=r"list in server\.allow"):
        make_wire(own, "device", SteppedClock(), host=str(address("plant")))


def test_the_map_of_the_containers_differs_from_the_stations_in_address_and_list_alone():
    def read(folder):
        return load(folder / "modbus.yaml", map_model()).value.model_dump()

    ours, own = read(HERE), read(ROOT / "configs" / "buckwheat_mill")
    assert own["link"].pop("host") != ours["link"].pop("host")
    assert own["server"].pop("allow") != ours["server"].pop("allow")
    assert ours == own


def test_the_addresses_lie_in_the_network_and_are_not_those_of_its_bridge():
    [config] = composed()["networks"]["wire"]["ipam"]["config"]
    network = ipaddress.IPv4Network(config["subnet"])
    assert network.is_private
    _bridge, *others = network.hosts()  # an engine gives the first one to its bridge
    assert {address("plant"), address("controller")} <= set(others)


def test_the_receiver_publishes_to_the_broker_of_the_file_with_the_password_it_is_given(tmp_path):
    mqtt = load_services(laid_out("controller", tmp_path)).publishing
    broker, controller = services()[mqtt.host], services()["controller"]
    assert set(broker["networks"]) & set(controller["networks"])
    assert f"listener {mqtt.port}\n" in (HERE / "mosquitto.conf").read_text(encoding="utf-8")
    assert broker["ports"] == [f"127.0.0.1:{mqtt.port}:{mqtt.port}"]
    [secret] = controller["secrets"]
    assert mqtt.password_file == f"/run/secrets/{secret['target']}"
    assert secret["source"] == f"{mqtt.user}_password"
    assert mqtt.unprotected == OURS
    assert mqtt.commands == "refused"


def test_what_is_laid_over_the_stations_services_says_who_it_is_in_the_same_words():
    ours, own = (yaml.safe_load((folder / "services.yaml").read_text(encoding="utf-8"))["mqtt"]
                 for folder in (HERE, ROOT / "configs" / "buckwheat_mill"))  # fmt: skip
    for key in ("site", "unit", "client_id", "protocol", "commands"):
        assert ours[key] == own[key]


def access(user):
    """What an access list allows a user: topics by kind. The broker itself is asked in tests/peers."""
    found, who = {}, None
    for line in (HERE / "acl").read_text(encoding="utf-8").splitlines():
        match line.split():
            case ["user", name]:
                who = name
            case ["topic", kind, topic] if who == user:
                found.setdefault(kind, []).append(topic)
    return found


def test_the_access_list_knows_every_topic_that_the_receiver_tells_and_no_command():
    mqtt = load_services(HERE).publishing
    topics, allowed = Topics(mqtt.site, mqtt.unit), access(mqtt.user)
    may = [*allowed["write"], *allowed["readwrite"]]
    told = [*(topics.of(kind) for kind in ("status", "state", "event", "cycle", "answer")),
            topics.of("tags", "PT-101"), topics.of("alarm", "IO_LOST")]  # fmt: skip
    for topic in told:
        assert any(Topic(topic).matches(one) for one in may), topic
    assert not any(Topic(topics.of("command")).matches(one) for one in may)
    assert topics.of("command") in allowed["read"]


async def test_the_health_check_is_good_while_somebody_answers(healthy, runtime, tmp_path, capsys):
    assert await asyncio.to_thread(healthy, str(tmp_path), "rig") == 1
    assert f"no rig of {tmp_path} answers" in capsys.readouterr().out
    rig = NotingRig()
    async with Panel(tmp_path, rig):
        assert await asyncio.to_thread(healthy, str(tmp_path), "rig") == 0
        assert await asyncio.to_thread(healthy, str(tmp_path), "plant") == 1
    assert rig.asked == [], "it only asks where the rig stands"
    async with Panel(tmp_path, LonelyPlant(), plant=True):
        assert await asyncio.to_thread(healthy, str(tmp_path), "plant") == 0


def test_the_health_check_costs_little_beside_a_scan_each_10_ms():
    """Every 10 s in two containers: no module of the panel's checks is read for it."""
    loads = f"import runpy, sys; runpy.run_path({str(HERE / 'healthy.py')!r}); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", loads], capture_output=True, text=True, check=True)
    assert "controller.panel.place" in done.stdout.split()
    assert not {"pydantic", "numpy", "asyncio"} & set(done.stdout.split())


@pytest.mark.parametrize(("name", "which"), [("plant", "plant"), ("controller", "rig")])
def test_the_health_checks_ask_whom_they_check(name, which):
    assert services()[name]["healthcheck"]["test"] == [
        "CMD", "python", "/opt/receiver/healthy.py", "/station/buckwheat_mill", which,
    ]  # fmt: skip
