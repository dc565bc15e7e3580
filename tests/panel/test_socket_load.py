"""The panel socket under callers who send too much, say nothing or take nothing: no scan is disturbed."""

import asyncio
import socket

from panel.callers import PATIENCE_S, STATUS, Caller, until
from panel.rigs import NotingRig

from controller.panel.messages import LINE_BYTES, read
from controller.panel.server import Limits, Panel


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
