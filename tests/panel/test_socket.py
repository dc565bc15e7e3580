"""The panel socket: who may reach it, one for each station, and that nothing sent to it disturbs a scan."""

import asyncio
import json
import os
import socket
import stat
import tempfile
import time

import pytest
from panel.rigs import BenchRig, LonelyPlant, NotingRig

from controller.panel.messages import LINE_BYTES, UnreadableError, read
from controller.panel.place import PanelError, make_private, socket_path
from controller.panel.server import Limits, Panel

PATIENCE_S = 20
STATUS = b'{"ask": "status"}\n'
START = b'{"ask": "command", "command": "start"}\n'
HOLD = b'{"ask": "hold", "output": "flap_open_cmd"}\n'

BAD = {
    "no JSON": b"start\n",
    "an empty line": b"\n",
    "a list": b'["ask", "command"]\n',
    "a bare number": b"7\n",
    "no ask": b'{"command": "start"}\n',
    "an unknown ask": b'{"ask": "open"}\n',
    "an unknown key": b'{"ask": "status", "why": 1}\n',
    "an unknown command": b'{"ask": "command", "command": "strt"}\n',
    "a number for a word": b'{"ask": "command", "command": 5}\n',
    "a word for a number": b'{"ask": "fail", "mode": "line_blocked", "amount": "1"}\n',
    "an amount over 1": b'{"ask": "fail", "mode": "line_blocked", "amount": 1.01}\n',
    "not a number": b'{"ask": "fail", "mode": "line_blocked", "amount": NaN}\n',
    "a huge whole number": b'{"ask": "force", "point": "level_free", "area_clear_by": "me too", "value": 1' + b"0" * 5_000 + b"}\n",
    "a time below nothing": b'{"ask": "fail", "mode": "line_blocked", "amount": 1.0, "for_ms": -5}\n',
    "a force without a person": b'{"ask": "force", "point": "level_free", "value": 0}\n',
    "bytes that are no text": b"\xff\xfe\x00{}\n",
    "a half pair of UTF-16": b'{"ask": "command", "command": "\\ud800"}\n',
    "a deep nest": b"[" * 60_000 + b"\n",
    "a deep nest of objects": b'{"ask":' * 8_000 + b"1\n",
    "many keys": b"{" + b",".join(b'"k%d":1' % k for k in range(6_000)) + b"}\n",
    "many keys twice": b"{" + b",".join([b'"ask":"status"'] * 4_000) + b',"x":1}\n',
    "a long word": b'{"ask": "command", "command": "' + b"s" * 60_000 + b'"}\n',
}  # fmt: skip


@pytest.fixture
def mill(tmp_path, monkeypatch):
    """The folder of a station named "mill"; the sockets lie in a folder of this test's own, of a short path."""
    folder = tmp_path / "mill"
    folder.mkdir()
    with tempfile.TemporaryDirectory(prefix="rx") as runtime:
        monkeypatch.setenv("XDG_RUNTIME_DIR", runtime)
        yield folder


class Caller:
    """The other end of the socket."""

    def __init__(self, reader, writer):
        self.reader, self.writer = reader, writer

    @classmethod
    async def to(cls, panel):
        return cls(*await asyncio.open_unix_connection(str(panel.path), limit=2**20))

    async def ask(self, line):
        self.writer.write(line)
        return await self.answer()

    async def answer(self):
        async with asyncio.timeout(PATIENCE_S):
            return json.loads(await self.reader.readline())

    async def is_closed(self):
        async with asyncio.timeout(PATIENCE_S):
            try:
                return await self.reader.read() == b""
            except ConnectionResetError:
                return True

    def close(self):
        self.writer.close()


async def until(seen):
    async with asyncio.timeout(PATIENCE_S):
        while not seen():  # noqa: ASYNC110
            await asyncio.sleep(0)


# ---- where it lies ----


async def test_only_its_user_reaches_the_socket(mill):
    async with Panel(mill, NotingRig()) as panel:
        assert stat.S_IMODE(panel.path.stat().st_mode) == 0o600
        assert stat.S_IMODE(panel.path.parent.stat().st_mode) == 0o700
        assert panel.path.parent.stat().st_uid == os.getuid()


async def test_without_a_runtime_folder_it_lies_in_one_named_by_the_user(mill, monkeypatch, tmp_path):
    monkeypatch.delenv("XDG_RUNTIME_DIR")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "mill"))
    assert socket_path(mill).parent == tmp_path / "mill" / f"vacuum-receiver-{os.getuid()}"


def test_each_station_name_has_a_socket_and_a_plant_one_beside_it(mill, tmp_path):
    strange = tmp_path / "halle 3 über"
    assert socket_path(mill) != socket_path(mill, plant=True)
    assert socket_path(strange) != socket_path(tmp_path / "halle_3__ber")
    assert socket_path(mill / ".." / "mill") == socket_path(mill)


def test_a_path_too_long_for_a_socket_is_told_before_it_is_tried(mill, tmp_path, monkeypatch):
    deep = tmp_path / ("d" * 90)
    deep.mkdir()
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(deep))
    with pytest.raises(PanelError, match="longer than 100 bytes"):
        socket_path(mill)


@pytest.mark.parametrize("mode", [0o755, 0o770, 0o701])
def test_a_folder_that_others_may_enter_is_refused(tmp_path, mode):
    folder = tmp_path / "open"
    folder.mkdir()
    folder.chmod(mode)
    with pytest.raises(PanelError, match=f"run chmod 700 {folder}"):
        make_private(folder)


def test_a_link_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "real").mkdir(mode=0o700)
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(PanelError, match="not a folder of this user's own"):
        make_private(tmp_path / "link")


async def test_a_second_rig_of_the_station_is_refused_and_the_first_goes_on(mill):
    async with Panel(mill, NotingRig()) as first:
        with pytest.raises(PanelError, match="belongs to one that runs already"):
            await Panel(mill, NotingRig()).__aenter__()
        caller = await Caller.to(first)
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()


async def test_a_socket_that_still_answers_is_never_taken_over(mill):
    """Somebody answers there who holds no lock: another version, or one in a copied folder."""
    path = socket_path(mill)
    make_private(path.parent)
    with socket.socket(socket.AF_UNIX) as other:
        other.bind(str(path))
        other.listen(1)
        with pytest.raises(PanelError, match="is answered by one that runs already"):
            await Panel(mill, NotingRig()).__aenter__()
        assert path.exists()


async def test_the_socket_of_a_killed_rig_is_replaced(mill):
    path = socket_path(mill)
    make_private(path.parent)
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(path))
    async with Panel(mill, NotingRig()) as panel:
        caller = await Caller.to(panel)
        assert (await caller.ask(STATUS))["status"]["station"] == "R-101"
        caller.close()
    assert not path.exists()


async def test_a_file_or_link_in_place_of_the_socket_is_left_alone(mill, tmp_path):
    path = socket_path(mill)
    make_private(path.parent)
    path.write_text("a note")
    with pytest.raises(PanelError, match="is no socket"):
        await Panel(mill, NotingRig()).__aenter__()
    assert path.read_text() == "a note"
    path.unlink()
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(PanelError, match="is no socket"):
        await Panel(mill, NotingRig()).__aenter__()


# ---- what is said ----


async def test_a_command_reaches_the_rig_and_every_answer_says_where_it_stands(mill):
    rig = NotingRig(failures={"line_blocked": 0.5}, forced={"level_free": 0})
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        answer = await caller.ask(START)
        caller.close()
    assert rig.asked == ["start"]
    assert answer["answer"] == "accepted"
    assert answer["status"]["failures"] == {"line_blocked": 0.5}
    assert answer["status"]["forced"] == {"level_free": 0}


async def test_a_refusal_has_the_words_of_the_sequence(mill):
    rig = BenchRig()
    rig.bench.force(safety_chain_healthy=False)
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        rig.forcing.put({"safety_chain_healthy": 0})
        answer = await caller.ask(START)
        caller.close()
    assert answer["answer"] == "refused"
    assert answer["reasons"] == ["the safety chain is open"]


async def test_failures_are_refused_on_real_io(mill):
    rig = NotingRig(real=True)
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        answer = await caller.ask(b'{"ask": "fail", "mode": "line_blocked", "amount": 1.0}\n')
        caller.close()
    assert answer["answer"] == "refused"
    assert "real I/O" in answer["reasons"][0]
    assert rig.asked == []


async def test_a_plant_alone_takes_failures_and_nothing_else(mill):
    plant = LonelyPlant()
    async with Panel(mill, plant, plant=True) as panel:
        caller = await Caller.to(panel)
        for line in (START, HOLD, b'{"ask": "points"}\n'):
            assert (await caller.ask(line))["answer"] == "refused"
        answer = await caller.ask(b'{"ask": "fail", "mode": "line_blocked", "amount": 0.5, "for_ms": 5000}\n')
        assert answer["status"]["failures"] == {"line_blocked": 0.5}
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()


@pytest.mark.parametrize("bad", BAD.values(), ids=BAD)
async def test_a_line_that_is_no_request_is_answered_and_the_next_is_served(mill, bad):
    rig = NotingRig()
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        answer = await caller.ask(bad)
        assert answer["answer"] == "error"
        assert 5 < len(answer["reasons"][0]) < 1_000
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()
    assert rig.asked == []


@pytest.mark.parametrize("bad", BAD.values(), ids=BAD)
def test_the_worst_line_costs_the_loop_little(bad):
    """CPU time of this process; a scan of 10 ms has to live beside it. Generous: machines are busy."""
    begun_s = time.process_time()
    for _ in range(10):
        with pytest.raises(UnreadableError):
            read(bad)
    assert (time.process_time() - begun_s) / 10 < 0.010


async def test_a_line_without_an_end_is_told_and_cut_off(mill):
    async with Panel(mill, NotingRig()) as panel:
        caller = await Caller.to(panel)
        caller.writer.write(b"x" * (LINE_BYTES * 3))
        answer = await caller.answer()
        assert answer["reasons"] == [f"a line is longer than {LINE_BYTES} bytes"]
        assert await caller.is_closed()
        caller.close()


async def test_one_too_many_is_told_so_and_a_place_that_is_free_again_is_given(mill):
    async with Panel(mill, NotingRig(), limits=Limits(clients=3)) as panel:
        callers = [await Caller.to(panel) for _ in range(3)]
        for caller in callers:
            assert (await caller.ask(STATUS))["answer"] == "accepted"
        late = await Caller.to(panel)
        assert "3 others are connected" in (await late.answer())["reasons"][0]
        assert await late.is_closed()
        callers[0].close()
        await until(lambda: len(panel._clients) == 2)
        again = await Caller.to(panel)
        assert (await again.ask(STATUS))["answer"] == "accepted"
        for caller in (*callers[1:], late, again):
            caller.close()


async def test_who_says_nothing_is_disconnected(mill):
    async with Panel(mill, NotingRig(), limits=Limits(idle_s=0.05)) as panel:
        silent, drip = await Caller.to(panel), await Caller.to(panel)
        drip.writer.write(b'{"ask": ')
        assert await silent.is_closed()
        assert await drip.is_closed()
        silent.close()
        drip.close()


async def test_who_takes_no_answers_is_disconnected(mill):
    async with Panel(mill, NotingRig(), limits=Limits(answer_s=0.05, pause_s=0)) as panel:
        deaf = socket.socket(socket.AF_UNIX)
        deaf.setblocking(False)
        deaf.connect(str(panel.path))
        async with asyncio.timeout(PATIENCE_S):
            while True:
                try:
                    deaf.send(b'{"ask": "points"}\n' * 50)
                except BlockingIOError:
                    pass
                except (BrokenPipeError, ConnectionResetError):
                    break
                await asyncio.sleep(0)
        await until(lambda: not panel._clients)
        deaf.close()


async def test_a_scan_that_never_comes_is_told(mill):
    class Hung(NotingRig):
        async def request(self, command):
            await asyncio.Event().wait()

    async with Panel(mill, Hung(), limits=Limits(answer_s=0.05)) as panel:
        caller = await Caller.to(panel)
        answer = await caller.ask(START)
        assert answer["answer"] == "error"
        assert "no scan took it" in answer["reasons"][0]
        caller.close()


async def test_a_mistake_in_the_rig_ends_neither_the_connection_nor_the_panel(mill):
    class Wrong(NotingRig):
        async def request(self, command):
            return 1 // 0

    async with Panel(mill, Wrong()) as panel:
        caller = await Caller.to(panel)
        assert (await caller.ask(START))["reasons"] == [
            "not done: ZeroDivisionError: integer division or modulo by zero"
        ]
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()


# ---- what is held ends with the connection ----


async def test_what_is_held_ends_with_its_connection(mill):
    rig = NotingRig(manual=True, manual_ms=5_000, warning_ms=3_000, jog_renew_ms=500)
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        assert (await caller.ask(HOLD))["answer"] == "accepted"
        assert rig.asked == ["jog flap_open_cmd"]
        caller.close()
        await until(lambda: rig.asked[-1] == "jog ")


async def test_who_holds_and_falls_silent_is_disconnected_sooner_than_others(mill):
    """A process that was stopped keeps its connection: the force must not stay with it."""
    rig = NotingRig(manual=True)
    force = b'{"ask": "force", "point": "level_free", "value": 0, "area_clear_by": "A. Miller"}\n'
    async with Panel(mill, rig, limits=Limits(held_idle_s=0.05)) as panel:
        caller = await Caller.to(panel)
        assert (await caller.ask(force))["answer"] == "accepted"
        assert await caller.is_closed()
        await until(lambda: rig.asked == ["force {'level_free': 0}", "force {}"])
        caller.close()


# ---- it never disturbs a scan ----


class Turns:
    """Counts the turns of the event loop, and the most lines that were answered within one of them."""

    def __init__(self):
        self.lines = self.most = self.count = 0
        self._loop = asyncio.get_running_loop()
        self._next = self._loop.call_soon(self._turn)

    def _turn(self):
        self.most, self.lines = max(self.most, self.lines), 0
        self.count += 1
        self._next = self._loop.call_soon(self._turn)

    def end(self):
        self._next.cancel()


async def test_a_flood_from_many_clients_leaves_the_loop_a_turn_after_each_line_of_each(mill, monkeypatch):
    """A scan is a turn of the loop: between two of them no client gets more than one line answered."""
    clients, lines = 8, 400
    turns, answered = Turns(), []

    def counted(line):
        turns.lines += 1
        answered.append(line)
        return read(line)

    monkeypatch.setattr("controller.panel.server.read", counted)
    async with Panel(mill, NotingRig(), limits=Limits(pause_s=0)) as panel:
        flood = [socket.socket(socket.AF_UNIX) for _ in range(clients)]
        for one in flood:
            one.setblocking(False)
            one.connect(str(panel.path))
            one.send(b"?\n" * lines)
        await until(lambda: len(answered) == clients * lines)
        for one in flood:
            one.close()
    turns.end()
    assert 1 <= turns.most <= clients
    assert turns.count >= lines


async def test_a_pause_after_each_answer_bounds_what_a_flood_can_ask_of_the_loop(mill, monkeypatch):
    """Each client gets at most one line answered in each pause: 8 clients, 25 ms, 320 lines a second."""
    answered, pauses = [], []
    real = asyncio.sleep

    async def noted(delay):
        pauses.append((len(answered), delay))
        await real(0)

    monkeypatch.setattr("controller.panel.server.read", lambda line: (answered.append(line), read(line))[1])
    monkeypatch.setattr("controller.panel.server.asyncio.sleep", noted)
    async with Panel(mill, NotingRig()) as panel:
        caller = await Caller.to(panel)
        caller.writer.write(STATUS * 20)
        for _ in range(20):
            await caller.answer()
        await until(lambda: len(pauses) >= 20)
        caller.close()
    panel_pauses = [(lines, delay) for lines, delay in pauses if delay]
    assert panel_pauses[:20] == [(n, Limits().pause_s) for n in range(1, 21)]


async def test_a_storm_of_connections_is_answered_and_leaves_nothing_behind(mill):
    async with Panel(mill, NotingRig(), limits=Limits(clients=2)) as panel:
        for _ in range(100):
            callers = [await Caller.to(panel) for _ in range(4)]
            for caller in callers:
                caller.close()
        await until(lambda: not panel._clients)
        caller = await Caller.to(panel)
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()
