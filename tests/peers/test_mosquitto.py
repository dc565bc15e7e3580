"""
Publishing to a real Mosquitto, heard by mosquitto_sub: code that shares nothing with ours.

Who gets in, what a lost, frozen or killed broker costs (nothing but tags), and what it tells when the receiver
is gone. `BROKER_KILLS` and `BROKER_FROZEN_S` say how often and how long: 3 and 5 s, in a soak 20 and 60 s.
"""

import asyncio
import json
import os
import random
import signal
import subprocess
import sys
import time
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from live.test_kills import killed_again_and_again, nothing_is_lost
from peers.mosquitto_program import MISSING, NEEDS, certificates, gate, mosquitto, mosquitto_sub, run
from reporting.mqtt.brokered import BASE, BOOT, OLDER, REST, event, mqtt, reading, site, until

from controller.reporting.mqtt import connection as connections
from controller.reporting.mqtt import conversation

pytestmark = pytest.mark.skipif(bool(MISSING), reason=NEEDS)
KILLS = int(os.environ.get("BROKER_KILLS", "3"))
FROZEN_S = float(os.environ.get("BROKER_FROZEN_S", "5"))
TESTS = Path(__file__).parents[1]
V5 = ("-V", "5")


def by_number(*subs):
    """Payloads of events by their number, in the order the numbers came first; the same number is the same message."""
    found: dict[int, dict] = {}
    for sub in subs:
        for got in sub.of("event"):
            assert found.setdefault(got.told["seq"], got.told) == got.told
    return found


def onlines(sub):
    return [got.told["online"] for got in sub.of("status")]


# ---- who gets in ---------------------------------------------------------------------------------------
@pytest.fixture
def guarded(tmp_path):
    """Lines of a configuration with a user, an access list and TLS."""
    certificates(tmp_path)
    for option, user in (("-c", "r101"), ("", "viewer")):
        words = ["mosquitto_passwd", *filter(None, [option]), "-b", str(tmp_path / "pw"), user]
        words.append("milk-and-flour")
        subprocess.run(words, check=True, capture_output=True)
    (tmp_path / "acl").write_text(
        f"user r101\ntopic readwrite {BASE}/#\nuser viewer\ntopic read receiver/#\n"
    )
    (tmp_path / "password").write_text("milk-and-flour\n")
    (tmp_path / "password").chmod(0o600)
    tls = [f"cafile {tmp_path}/ca.pem", f"certfile {tmp_path}/broker.pem", f"keyfile {tmp_path}/broker.key"]
    return [*tls, "allow_anonymous false", f"password_file {tmp_path}/pw", f"acl_file {tmp_path}/acl"]


def encrypted(port, **more):
    usual = {"host": "localhost", "user": "r101", "password_file": "password", "tls": {"ca_file": "ca.pem"}}
    return mqtt(port, **{key: value for key, value in {**usual, **more}.items() if value is not None})


@pytest.mark.parametrize("protocol", ["3.1.1", "5.0"])
async def test_with_password_and_encryption_it_is_told_to_who_may_read(tmp_path, guarded, protocol):
    viewer = ("-u", "viewer", "-P", "milk-and-flour", "--cafile", str(tmp_path / "ca.pem"), "--insecure", *V5)
    async with (
        mosquitto(tmp_path, *guarded) as broker,
        mosquitto_sub(broker.port, *viewer) as sub,
        site(tmp_path, encrypted(broker.port, protocol=protocol)) as here,
    ):
        here.publisher.now(REST, [reading(1.0)])
        here.write(*(event(number) for number in range(1, 50)))
        await until(lambda: here.waiting() == 0 and len(by_number(sub)) == 49 and sub.of("tags"))
        assert here.publisher.link.said == "connected"
    assert {got.qos for got in sub.of("tags")} == {0}
    assert {got.qos for got in sub.got if got.kind != "tags"} == {1}
    described = {got.kind: properties for got, properties in zip(sub.got, sub.properties, strict=True)}
    if protocol == "5.0":
        assert described["event"] == "application/json  1 "  # no expiry: it is of use later too
        assert described["tags"].split()[:2] in (["application/json", "60"], ["application/json", "59"])


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"
)  # a handshake that failed in paho
@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"password_file": "wrong"}, "the broker refuses user or password"),
        ({"user": "", "password_file": ""}, "the broker refuses user or password"),
        ({"tls": {"ca_file": "other.pem"}}, "the broker's certificate is not trusted"),
        ({"host": "127.0.0.1"}, "certificate is not valid for '127.0.0.1'"),
        ({"tls": None}, "lost"),
        (
            {"tls": {"ca_file": "ca.pem", "certificate_file": "r101.pem", "key_file": "open.key"}},
            "run chmod 600",
        ),
    ],
)
async def test_who_does_not_get_in_is_told_why(tmp_path, guarded, settings, said):
    (tmp_path / "wrong").write_text("sugar\n")
    (tmp_path / "wrong").chmod(0o600)
    (tmp_path / "open.key").write_bytes((tmp_path / "r101.key").read_bytes())
    (tmp_path / "open.key").chmod(0o644)
    async with (
        mosquitto(tmp_path, *guarded) as broker,
        site(tmp_path, encrypted(broker.port, **settings)) as here,
    ):
        here.write(event(1))
        expected = ("refuses user", "does not allow") if "refuses" in said else (said,)
        await until(lambda: any(words in here.publisher.link.said for words in expected))
        assert here.waiting() == 1
        assert "milk-and-flour" not in here.publisher.link.said


async def test_a_certificate_of_its_own_lets_it_in_where_the_broker_asks_for_one(tmp_path, guarded):
    asks = [line for line in guarded if "file" in line and "acl" not in line and "password" not in line]
    lines = [*asks, "require_certificate true", "use_identity_as_username true"]
    own = {"ca_file": "ca.pem", "certificate_file": "r101.pem", "key_file": "r101.key"}
    async with mosquitto(tmp_path, *lines) as broker:
        trusts = mqtt(broker.port, host="localhost", tls={"ca_file": "ca.pem"})
        async with site(tmp_path, trusts) as without:
            without.write(event(1))
            await until(
                lambda: "lost" in without.publisher.link.said or "required" in without.publisher.link.said
            )
            assert without.waiting() == 1
        async with site(tmp_path, mqtt(broker.port, host="localhost", tls=own)) as here:
            here.write(event(1))
            await until(lambda: here.waiting() == 0)


async def test_a_line_that_the_access_list_forbids_waits_and_is_said_and_goes_when_it_is_allowed(
    tmp_path, monkeypatch
):
    """Under 5.0; a broker of 3.1.1 acknowledges what it throws away, and nobody can know."""
    monkeypatch.setattr(conversation, "REFUSED_AGAIN_S", 0.2)
    (tmp_path / "acl").write_text(
        f"topic read {BASE}/#\ntopic write {BASE}/status\ntopic write {BASE}/alarm/+\n"
    )
    lines = ("allow_anonymous true", f"acl_file {tmp_path}/acl")
    async with (
        mosquitto(tmp_path, *lines) as broker,
        site(tmp_path, mqtt(broker.port, protocol="5.0")) as here,
    ):
        here.write(event(1), event(2))
        await until(lambda: "does not allow this user to do that" in here.publisher.link.said)
        assert here.waiting() == 2
        await until(lambda: here.publisher.link.online)  # all else is told, though this broker hangs up on it
        (tmp_path / "acl").write_text(f"topic readwrite {BASE}/#\n")
        broker.send(signal.SIGHUP)
        async with mosquitto_sub(broker.port) as sub:
            await until(lambda: here.waiting() == 0 and list(by_number(sub)) == [1, 2])
            assert "wait" not in here.publisher.link.said


# ---- what a broker costs that is away, frozen or killed -----------------------------------------------------
@pytest.mark.parametrize("protocol", ["3.1.1", "5.0"])
async def test_no_line_is_lost_or_out_of_order_when_the_broker_is_killed_again_and_again(tmp_path, protocol):
    """A listener is there before the receiver comes back: what nobody hears would prove nothing."""
    chance, subs = random.Random(7), []
    async with (
        mosquitto(tmp_path) as broker,
        gate(broker.port) as way,
        site(tmp_path, mqtt(way.port, protocol=protocol)) as here,
    ):
        for kill in range(KILLS + 1):
            async with mosquitto_sub(broker.port) as sub:
                subs.append(sub)
                way.is_open = True
                first = here.journal.told_up_to("mqtt")
                here.write(*(event(number) for number in range(300)))
                if kill < KILLS:
                    enough = first + chance.randrange(1, 250)
                    await until(lambda enough=enough: here.journal.told_up_to("mqtt") >= enough)
                    way.is_open = False
                    broker.kill()
                    acknowledged = here.journal.told_up_to("mqtt")
                else:
                    await until(lambda: here.waiting() == 0)
                    acknowledged = (KILLS + 1) * 300
                await until(lambda acknowledged=acknowledged: acknowledged in by_number(*subs))
            if kill < KILLS:
                await broker.start()
    assert list(by_number(*subs)) == list(range(1, (KILLS + 1) * 300 + 1))


@pytest.mark.parametrize("answer_s", [5.0, 0.3])
async def test_a_frozen_broker_delays_nothing_here_and_gets_all_of_it_when_it_thaws(
    tmp_path, monkeypatch, answer_s
):
    """0.3 s: the receiver gives up and tries again while it is frozen, and leaves no twin of itself behind."""
    monkeypatch.setattr(connections, "ANSWER_S", answer_s)
    async with (
        mosquitto(tmp_path) as broker,
        mosquitto_sub(broker.port) as sub,
        site(tmp_path, mqtt(broker.port)) as here,
    ):
        await until(lambda: onlines(sub) == [True])
        broker.send(signal.SIGSTOP)
        began_s, took_s, number = time.monotonic(), [], 0
        while time.monotonic() < began_s + FROZEN_S:
            number += 1
            here.journal.add([event(number)])
            here.journal.commit()
            at_s = time.monotonic()
            here.publisher.now(REST, [reading(float(number))])
            here.publisher.wrote()
            took_s.append(time.monotonic() - at_s)
            await asyncio.sleep(0.01)
        assert here.waiting() == number
        assert max(took_s) < 0.1  # each of them only leaves word: a wait of ANSWER_S would be seen
        assert here.publisher.link.tags_dropped > 0 or answer_s > FROZEN_S
        broker.send(signal.SIGCONT)
        await until(lambda: here.waiting() == 0 and len(by_number(sub)) == number, 60.0)
        await until(lambda: onlines(sub)[-1] and here.publisher.link.online)
    assert list(by_number(sub)) == list(range(1, number + 1))


async def test_ten_kills_of_each_process_lose_nothing_that_mosquitto_was_told(tmp_path):
    """`receiver run` itself, heard by mosquitto_sub."""
    async with mosquitto(tmp_path) as broker, mosquitto_sub(broker.port) as sub:
        await killed_again_and_again(tmp_path, broker.port, sub)
    nothing_is_lost(tmp_path, sub.got)


# ---- what the broker tells when the receiver is gone ------------------------------------------------------
@asynccontextmanager
async def child(port, folder, boot=BOOT, client_id="R101", keepalive_s=15, protocol="3.1.1"):
    environment = {**os.environ, "PYTHONPATH": f"{TESTS}:{TESTS.parent}"}
    words = [str(port), str(folder), boot, client_id, str(keepalive_s), protocol]
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        str(TESTS / "peers" / "publishing_child.py"),
        *words,
        env=environment,
        stdout=subprocess.PIPE,
    )
    try:
        assert await asyncio.wait_for(process.stdout.readline(), 30) == b"online\n"
        yield process
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


@pytest.mark.parametrize("protocol", ["3.1.1", "5.0"])
async def test_a_receiver_that_is_killed_is_offline_at_once_for_all_and_for_who_comes_later(
    tmp_path, protocol
):
    async with mosquitto(tmp_path) as broker, mosquitto_sub(broker.port) as sub:
        async with child(broker.port, tmp_path, protocol=protocol) as receiver:
            await until(lambda: onlines(sub) == [True])
            receiver.kill()
            await until(lambda: onlines(sub) == [True, False])
        assert sub.of("status")[-1].told["said"] == "the connection was lost"
        async with mosquitto_sub(broker.port, topic=f"{BASE}/status") as late:
            await until(lambda: late.got)
        assert late.got[0].retained
        assert late.got[0].told == sub.of("status")[-1].told


@pytest.mark.parametrize("protocol", ["3.1.1", "5.0"])
async def test_a_receiver_that_leaves_says_why_and_the_broker_adds_no_will(tmp_path, protocol):
    async with mosquitto(tmp_path) as broker, mosquitto_sub(broker.port) as sub:
        async with site(tmp_path, mqtt(broker.port, protocol=protocol)) as here:
            await until(lambda: onlines(sub) == [True])
            await here.publisher.leave("the controller ended", 5.0)
        await run(
            "mosquitto_pub", "-p", str(broker.port), "-q", "1", "-t", f"{BASE}/event", "-m", '{"seq": 0}'
        )
        await until(lambda: sub.of("event"))
    assert [got.told["said"] for got in sub.of("status")] == ["connected", "the controller ended"]


@pytest.mark.parametrize("client_id", ["R101", "R101old"])
async def test_a_frozen_twin_that_the_broker_declares_dead_does_not_take_the_living_one_with_it(
    tmp_path, client_id
):
    """Frozen for longer than its keep-alive; the broker then tells the will of a start that was before."""
    async with (
        mosquitto(tmp_path) as broker,
        mosquitto_sub(broker.port) as sub,
        child(broker.port, tmp_path / "old", OLDER, client_id, 2) as twin,
    ):
        twin.send_signal(signal.SIGSTOP)
        async with site(tmp_path, mqtt(broker.port)) as here:
            await until(
                lambda: (OLDER, False) in [(got.told["boot"], got.told["online"]) for got in sub.of("status")]
            )
            await until(lambda: sub.of("status")[-1].told["boot"] == BOOT)
            async with mosquitto_sub(broker.port, topic=f"{BASE}/status") as late:
                await until(lambda: late.got)
            assert late.got[0].told["online"]
            assert late.got[0].told["boot"] == BOOT
            assert here.publisher.link.online
        twin.send_signal(signal.SIGCONT)


# ---- commands ---------------------------------------------------------------------------------------------
def command(id):
    def stamp(after_s):
        date = datetime.now(UTC) + timedelta(seconds=after_s)
        return date.isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"

    asked = {
        "schema": "receiver.command/1", "id": id, "command": "stop", "operator": "A. Miller",
        "issued_at": stamp(0), "expires_at": stamp(5),
    }  # fmt: skip
    return json.dumps(asked)


async def test_an_answer_goes_to_the_topic_that_was_asked_for_with_its_correlation(tmp_path):
    """MQTT 5.0, section 4.10; mosquitto_rr waits for the response to its own request."""
    settings = {"protocol": "5.0", "commands": "allowed", "answer_prefix": "desk/"}
    async with mosquitto(tmp_path) as broker, site(tmp_path, mqtt(broker.port, **settings)) as here:
        await until(lambda: here.publisher.link.online)
        where = ("-p", str(broker.port), *V5, "-q", "1", "-t", f"{BASE}/command", "-W", "15")
        correlated = ("-D", "publish", "correlation-data", "order 7", "-F", "%D|%C|%p")
        async with mosquitto_sub(broker.port) as sub:
            printed = await run(
                "mosquitto_rr", *where, *correlated, "-e", "desk/7", "-m", command("cmd-00001")
            )
            correlation, content, payload = printed.strip().split("|", 2)
            assert (correlation, content) == ("order 7", "application/json")
            assert json.loads(payload)["accepted"] is True
            await until(lambda: sub.of("answer"))
            assert sub.of("answer")[0].told == json.loads(payload)  # and on its own topic, for who looks on
            to_status = ("-W", "1", "-e", f"{BASE}/status", "-F", "%p")
            forged = await run("mosquitto_rr", *where, *to_status, "-m", command("cmd-00002"))
            await until(lambda: len(sub.of("answer")) == 2)
    assert "accepted" not in forged  # nobody makes it publish under its own status
    assert [asked.id for asked in here.asked] == ["cmd-00001", "cmd-00002"]


@pytest.mark.parametrize("protocol", ["3.1.1", "5.0"])
async def test_a_command_as_the_documentation_sends_it_from_a_shell_is_taken(tmp_path, protocol):
    page = (TESTS.parent / "docs" / "rig.md").read_text()
    (block,) = [part for part in page.split("```") if "mosquitto_pub" in part]
    lines = (
        block.partition("$ .venv/")[0].removeprefix("console\n").replace("$ ", "", 1).replace("\n$ ", "\n")
    )
    settings = {"protocol": protocol, "commands": "allowed"}
    async with mosquitto(tmp_path) as broker, site(tmp_path, mqtt(broker.port, **settings)) as here:
        await until(lambda: here.publisher.link.online)
        printed = await run("bash", "-c", lines.replace("mosquitto_pub", f"mosquitto_pub -p {broker.port}"))
        await until(lambda: here.asked)
    assert printed == ""
    assert [(asked.command, asked.operator) for asked in here.asked] == [("stop", "Ada Berg")]


@pytest.mark.parametrize(("protocol", "done"), [("3.1.1", True), ("5.0", False)])
async def test_a_command_that_is_sent_to_be_retained_while_the_receiver_listens(tmp_path, protocol, done):
    """MQTT 3.1.1, section 3.3.1.3: the broker clears the flag for who is there; 5.0, section 3.8.3.1, keeps it."""
    settings = {"protocol": protocol, "commands": "allowed"}
    async with (
        mosquitto(tmp_path) as broker,
        mosquitto_sub(broker.port) as sub,
        site(tmp_path, mqtt(broker.port, **settings)) as here,
    ):
        await until(lambda: here.publisher.link.online)
        to = ("mosquitto_pub", "-p", str(broker.port), "-q", "1", "-r", "-t", f"{BASE}/command")
        await run(*to, "-m", command("cmd-00001"))
        await until(lambda: sub.of("answer"))
    assert sub.of("answer")[0].told["accepted"] is done
    assert [asked.id for asked in here.asked] == ["cmd-00001"] * done


@pytest.mark.parametrize("protocol", ["3.1.1", "5.0"])
async def test_a_command_of_a_megabyte_changes_nothing(tmp_path, protocol):
    (tmp_path / "large").write_bytes(b"x" * 1_000_000)
    settings = {"protocol": protocol, "commands": "allowed"}
    async with mosquitto(tmp_path) as broker, site(tmp_path, mqtt(broker.port, **settings)) as here:
        await until(lambda: here.publisher.link.online)
        to = ("mosquitto_pub", "-p", str(broker.port), "-q", "1", "-t", f"{BASE}/command")
        await run(*to, "-f", str(tmp_path / "large"))
        await run(*to, "-m", command("cmd-00001"))
        await until(lambda: [asked.id for asked in here.asked] == ["cmd-00001"])
        assert here.publisher.link.online
