"""
`receiver run` with its reporter, as processes: a broker, figures, a command from elsewhere; one of them killed.
"""

import asyncio
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from contextlib import asynccontextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from live.rigs import MILL
from reporter.test_books import anchor
from reporting.mqtt.brokered import free_port, listening, until

from controller.audit.check import check
from controller.audit.line import read_line
from controller.clock import machine_ms
from controller.reporting.journal import each_line, read_events, read_marks

pytestmark = pytest.mark.realtime
PATIENCE_S = 60.0
BASE = "receiver/v1/mill/R-101"


@asynccontextmanager
async def run(folder, *arguments, services="metrics: {serve: false}\n"):
    """The rig's process; killed at the end if it still runs."""
    station = folder / "mill"
    if not station.exists():
        shutil.copytree(MILL, station)
        (station / "services.yaml").write_text(services)
    command = [
        sys.executable,
        "-c",
        "from controller.cli import main; main()",
        "run",
        str(station),
        "--io",
        "simulated",
    ]
    with tempfile.TemporaryDirectory(prefix="rig") as short:  # a socket's path must be short
        environ = {**os.environ, "XDG_RUNTIME_DIR": short, "XDG_STATE_HOME": str(folder / "state")}
        process = await asyncio.create_subprocess_exec(
            *command, *map(str, arguments), env=environ, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
        )
        try:
            yield process
        finally:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()


async def heard(process, word):
    """The first line of the screen with this word."""
    while True:
        line = (await asyncio.wait_for(process.stdout.readline(), PATIENCE_S)).decode()
        assert line, f"it ended before it said {word}"
        if word in line:
            return line


def reporter_of(pid):
    """The process that a rig started."""
    children = [path.read_text().split() for path in Path(f"/proc/{pid}/task").glob("*/children")]
    (found,) = {int(child) for each in children for child in each}
    return found


def runs(pid):
    with suppress(OSError):
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    return False


def intact(run_folder):
    """No number missing or twice, the audit chain whole; ids of the events, and who gave which commands."""
    assert [line.n for line in each_line(run_folder)] == list(
        range(1, read_marks(run_folder)["newest", ""] + 1)
    )
    assert check(run_folder, anchor(run_folder)).problem == ""
    return [event.id for event in read_events(run_folder)]


def command(word):
    now = datetime.now(UTC)
    dates = {"issued_at": now, "expires_at": now + timedelta(seconds=8)}
    return json.dumps({
        "schema": "receiver.command/1", "id": str(uuid4()), "command": word, "operator": "Ada Öz",
        **{key: date.isoformat(timespec="milliseconds").replace("+00:00", "Z") for key, date in dates.items()},
    })  # fmt: skip


async def figures(port):
    with suppress(OSError):
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"GET /metrics HTTP/1.1\r\n\r\n")
        answer = await reader.read()
        writer.close()
        return answer.decode().partition("\r\n\r\n")[2]
    return ""


async def test_a_station_is_told_of_takes_a_command_and_goes_on_when_its_reporter_is_killed(tmp_path):
    port, page = free_port(), free_port()
    services = f"""
metrics: {{serve: true, port: {page}}}
mqtt: {{publish: true, port: {port}, site: mill, unit: R-101, client_id: r101, commands: allowed, keepalive_s: 5}}
"""
    out = tmp_path / "run"
    async with run(tmp_path, "--broker", "embedded", "--out", out, services=services) as rig:
        await heard(rig, "power-up")
        async with listening(port) as listener:
            await until(lambda: any(got.told.get("online") for got in listener.of("status")), PATIENCE_S)
            await until(lambda: listener.of("state") and listener.of("tags"), PATIENCE_S)
            born_ms = machine_ms()  # what is asked in its first 2 s is refused
            await until(lambda: machine_ms() > born_ms + 2_500, PATIENCE_S)
            await listener.client.publish(f"{BASE}/command", command("acknowledge"), qos=1)
            await until(lambda: listener.of("answer"), PATIENCE_S)
            (answer,) = listener.of("answer")
        assert (answer.told["accepted"], answer.told["reasons"]) == (True, [])
        assert "receiver_up_seconds" in await figures(page)
        os.kill(reporter_of(rig.pid), signal.SIGKILL)
        assert "ended by signal 9" in await heard(rig, "reporter: ")
        async with listening(port) as listener:
            await until(lambda: listener.of("state"), PATIENCE_S)
            rig.send_signal(signal.SIGTERM)
            await until(lambda: any(not got.told["online"] for got in listener.of("status")), PATIENCE_S)
            last = listener.of("status")[-1].told
            await until(lambda: "CONTROLLER_ENDED" in {got.told["id"] for got in listener.of("event")})
        assert "SIGTERM" in last["said"]
        assert await asyncio.wait_for(rig.wait(), PATIENCE_S) == 0
    ids = intact(out)
    assert ids[-1] == "CONTROLLER_ENDED"
    assert ids.count("REPORTER_RESTARTED") == 1
    deeds = [read_line(raw).document for raw in (out / "audit.jsonl").read_bytes().splitlines()]
    by = [(deed["command"], deed["place"], deed["who"], deed["result"]) for deed in deeds]
    assert ("acknowledge", "remote", "Ada Öz", "accepted") in by
    assert by[-1][0] == "end"


async def test_without_a_folder_and_services_there_is_one_process_alone(tmp_path):
    async with run(tmp_path, "--for", "2s", services="metrics: {serve: false}\n") as rig:
        await heard(rig, "power-up")
        with pytest.raises(ValueError, match="not enough values"):
            reporter_of(rig.pid)
        assert await asyncio.wait_for(rig.wait(), PATIENCE_S) == 0


async def test_what_cannot_be_had_ends_the_start_in_words(tmp_path):
    port = free_port()
    taken = await asyncio.start_server(lambda reader, writer: writer.close(), "127.0.0.1", port)
    services = f"mqtt: {{publish: true, port: {port}, site: mill, unit: R-101, client_id: r101}}\n"
    async with taken, run(tmp_path, "--broker", "embedded", services=services) as rig:
        said = await heard(rig, "run: ")
        assert await asyncio.wait_for(rig.wait(), PATIENCE_S) == 2
    assert str(port) in said
