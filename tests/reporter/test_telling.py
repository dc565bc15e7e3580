"""Whom a reporter tells, heard by a listener of its own: when it begins, goes on after a kill, and its rig is silent."""

from types import SimpleNamespace

import pytest
from reporter.rig_end import BOOT, MILL, opening, reporting
from reporting.mqtt.brokered import free_port, listening, until
from test_journal import event

from controller.events import ALARM_IDS, EVENTS, FITTED
from controller.reporter import process, told
from controller.reporting.journal import read_marks
from controller.reporting.mqtt.embedded import broker


@pytest.fixture
def port():
    return free_port()


def station(folder, port, more=""):
    """One that publishes to that port."""
    made = folder / "mill"
    made.mkdir(exist_ok=True)
    for name in ("receiver.yaml", "points.yaml"):
        (made / name).write_text((MILL / name).read_text())
    settings = f"publish: true, port: {port}, site: mill, unit: R-101, client_id: R101, tag_floor_ms: 50{more}"
    (made / "services.yaml").write_text(f"mqtt: {{{settings}}}\n")
    return made


def statuses(heard):
    return [(got.told["online"], got.told["said"].partition(";")[0]) for got in heard.of("status")]


def qualities(heard):
    """Of each tag the newest."""
    return {*{got.topic: got.told["q"] for got in heard.of("tags")}.values()}


async def test_a_rig_that_is_silent_is_told_as_offline_with_stale_points_until_it_speaks_again(
    tmp_path, port, monkeypatch
):
    """Frozen, or hung in a scan: its end of the channel is open, and nothing comes."""
    monkeypatch.setattr(process, "BEAT_S", 0.05)
    monkeypatch.setattr(told, "SILENT_BEATS", 10)
    async with broker(port), listening(port) as heard, reporting(opening(tmp_path / "run", station(tmp_path, port))) as rig:
        rig.stand()
        await until(lambda: statuses(heard) == [(True, "connected")] and "simulated" in qualities(heard))
        assert "stale" not in qualities(heard)
        await until(lambda: statuses(heard)[1:] == [(False, "the controller is silent")])
        await until(lambda: qualities(heard) == {"stale"})
        await until(lambda: heard.of("state")[-1].told["device_status"]["name"] != "normal")
        async with listening(port, "receiver/v1/mill/R-101/status") as late:
            await until(lambda: late.got)
        assert late.got[0].told["online"] is False
        rig.stand(at_ms=9_000)
        await until(lambda: statuses(heard)[-1] == (True, "connected"))
        await until(lambda: "stale" not in qualities(heard))
    assert len(statuses(heard)) <= 5  # and the farewell: it does not quarrel with itself


async def test_a_reporter_after_a_kill_uses_no_number_and_no_time_of_the_one_before_again(tmp_path, port):
    """The rig says to each where it stands at this moment; what is told before that would begin anew."""
    async with broker(port), listening(port) as heard:
        for at_ms in (100_000, 101_000):
            async with reporting(opening(tmp_path / "run", station(tmp_path, port))) as rig:
                await rig.hear("ready")
                rig.put(at_ms // 100_000, event("POWER_UP"))
                rig.stand(at_ms)
                await until(lambda: statuses(heard) and statuses(heard)[-1][0] and heard.of("tags") and heard.of("state"))
            await until(lambda: not statuses(heard)[-1][0])
            for got in (*heard.of("status"), *heard.of("state"), *heard.of("tags")):
                assert got.told["mono_ms"] >= 100_000
    for kind in ("status", "state"):
        numbers = [got.told["seq"] for got in heard.of(kind)]
        assert numbers == sorted(numbers)
        assert len(set(numbers)) == len(numbers) > 1
    assert {got.told["boot"] for got in heard.got} == {BOOT}


async def test_what_a_reporter_may_do_is_what_the_rig_read_at_its_start(tmp_path, port):
    """A file that is half edited when a reporter is started again must neither end it nor let commands in."""
    given = opening(tmp_path / "run", station(tmp_path, port))
    (tmp_path / "mill" / "services.yaml").write_text("mqtt: {publish: tr")
    async with broker(port), listening(port) as heard, reporting(given) as rig:
        await rig.hear("ready")
        rig.stand()
        await until(lambda: heard.of("status"))
    assert heard.of("status")[0].told["commands"] == "refused"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "mqtt: 2 events and cycles wait in {run}"),
        ({"kept": False}, "mqtt: 2 events and cycles are told by no later start"),
    ],
)
async def test_at_the_end_it_is_said_what_waits_and_for_whom(tmp_path, port, given, said, monkeypatch):
    monkeypatch.setattr(process, "LEAVE_S", 0.1)
    run = tmp_path / "run"
    async with reporting(opening(run, station(tmp_path, port), **given)) as rig:
        rig.put(1, event())
        rig.put(2, event())
        await rig.hear("taken", 2)
        rig.stand()
        await rig.hear("say")
        rig.say("end", "the time is over")
        await rig.hear("say", said.format(run=run))


async def test_a_broker_of_its_own_leaves_alone_what_waits_for_the_one_of_the_plant(tmp_path, port):
    run, mill = tmp_path / "run", station(tmp_path, port)
    async with reporting(opening(run, mill)) as rig:
        rig.put(1, event())
        await rig.hear("taken", 1)
    async with reporting(opening(run, mill, boot="0" + BOOT[1:], broker=True)) as rig:
        await rig.hear("ready")
        async with listening(port) as heard:
            rig.put(1, event())
            rig.stand()
            await until(lambda: heard.numbers() == [2])
    assert read_marks(run)["told", "mqtt"] == 0
    async with broker(port), listening(port) as heard, reporting(opening(run, mill)) as rig:
        rig.stand()
        await until(lambda: heard.numbers() == [1, 2])


async def test_an_alarm_is_told_in_the_words_of_a_station_with_these_parts(tmp_path, port):
    fitted = ["driven flap", "spring", "closed switch", "motor"]
    given = opening(tmp_path / "run", station(tmp_path, port), fitted=fitted)
    async with broker(port), listening(port) as heard, reporting(given) as rig:
        rig.put(1, event("POWER_UP"))
        rig.stand()
        await until(lambda: len(heard.of("alarm")) == len(ALARM_IDS))
    told_as = {got.told["id"]: (got.told["cause"], got.told["action"]) for got in heard.of("alarm")}
    assert told_as == {name: EVENTS[name].at(fitted)[3:5] for name in ALARM_IDS}
    assert any(EVENTS[name].at(fitted) != EVENTS[name].at(FITTED) for name in ALARM_IDS)


async def test_the_screen_is_told_where_it_tells_to_and_why_nobody_is_reached(tmp_path, port, monkeypatch):
    monkeypatch.setattr(process, "BEAT_S", 0.01)
    monkeypatch.setattr(told, "SILENT_BEATS", 10_000)
    async with reporting(opening(tmp_path / "run", station(tmp_path, port))) as rig:
        (where,) = await rig.hear("say")
        assert where.startswith(f"telling mqtt://127.0.0.1:{port} as R101; watch with: receiver watch ")
        rig.put(1, event())
        await rig.hear("taken", 1)
        rig.stand()
        await rig.hear("say", f"mqtt: 127.0.0.1:{port}: nobody listens there; 1 events and cycles wait")
        for _ in range(50):
            await rig.hear("taken")
    said = [values for kind, values in rig.heard if kind == "say"]
    assert len(said) == 2, "once, however often it is tried"


def test_each_change_of_the_connection_is_said_once():
    class Publishing:
        link = SimpleNamespace(said="", waiting=0, commands_unheard=0)

    telling, publisher = told.Told(), Publishing()
    assert telling.news() == ""
    telling._publisher = publisher
    said = []
    for word in ("", "refused", "refused", "connected", "lost", "lost", "refused"):
        publisher.link.said = word
        said.append(telling.news())
    assert [line for line in said if line] == [
        "mqtt: refused", "mqtt: connected", "mqtt: lost", "mqtt: refused",
    ]  # fmt: skip


def test_commands_without_an_answer_are_said_and_a_flood_of_them_a_few_times():
    telling = told.Told()
    link = SimpleNamespace(said="", waiting=0, commands_unheard=0)
    telling._publisher = SimpleNamespace(link=link)
    said = []
    for count in range(100):
        link.commands_unheard = count
        said += filter(None, [telling.news()])
    assert [int(line.split(";")[0].split()[-1]) for line in said] == [1, 3, 7, 15, 31, 63]


async def test_a_command_that_is_refused_before_the_rig_is_said_on_its_screen(tmp_path, port):
    folder = station(tmp_path, port, ", commands: allowed")
    run, topic = opening(tmp_path / "run", folder), "receiver/v1/mill/R-101/command"
    async with broker(port), listening(port) as heard, reporting(run) as rig:
        rig.stand()
        await until(lambda: heard.of("status"))
        await heard.client.publish(topic, b'{"id": "desk-00001"}', qos=1)
        await rig.hear("say", "mqtt: desk-00001: no command by nobody refused: schema: is missing")
        await heard.client.publish(topic, b"stop", qos=1)
        await rig.hear("say", "mqtt: commands without an answer: 1; no id, too large, too many or not taken: see watch")
