"""`receiver run`: the station in real time, until its time is over or somebody ends it."""

import asyncio
import sys
import traceback
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, ExitStack, nullcontext
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from controller.clock import WallClock
from controller.live.console import Console, marks_of
from controller.live.kept_memory import read_kept
from controller.live.kept_presets import changed
from controller.live.live_io import LiveIo
from controller.live.panel_rig import PanelRig
from controller.live.plant_registers import PlantRegisters
from controller.live.reporting import Reporting
from controller.live.rig import Ended, Rig
from controller.live.run_ask import SCAN_MS, Ask
from controller.live.run_records import RunRecords
from controller.modbus.health import LinkError
from controller.modbus.map_remarks import remarks
from controller.panel.place import only_rig_at
from controller.panel.server import Panel
from controller.records import CycleRecord, EventRecord
from controller.scan.agreement import AgreeingScan
from controller.scan.outbox import Outbox
from controller.scan.realtime import settle
from controller.scan.stop import Stop
from controller.scan.ticker import Ticker
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sheets.fitted import fitted
from controller.simulate.station_watch import Watcher
from controller.trace.header import header_of

SIMULATED = "simulated plant; ordinary software, not a safety function"
REAL = (
    "what answers there is taken for a real machine; ordinary software, not a safety function: "
    "emergency stop and guards are wired outside it"
)
ENDS = "outputs go to safe; once more ends at once, whatever they are"
SOON_S, READY_S, CONFIRM_S = 0.5, 4.5, 2.0
"""For the first image: until it is said why none comes, and from then on; for the last outputs."""
JOURNAL = "journal"
"""In the state folder: of all starts together, where no run folder is asked for."""
CLOCK_EVERY = 100
"""Scans between two looks whether the clock was set."""
SEED = 1
PRESSED_S, LET_GO_S = 1.0, 1.3


def run(ask: Ask, say: Callable[[str], None]) -> bool:
    """
    Runs it; `say` takes the lines for the screen, in another thread.

    Returns:
        Whether it ended because it was asked to, with its outputs known to be safe and all written down.

    Raises:
        ReporterError, TraceError: The run folder cannot be written, or a service not be had.
        KeptError: The kept memory cannot be read.
        LinkError: The I/O does not answer.
        PanelError: Another rig of this station runs.
    """
    screen = Outbox("screen")

    def shown(line: str) -> None:
        screen.put(lambda: say(line))

    with ExitStack() as stack:
        stack.callback(screen.close)
        return asyncio.run(_run(ask, records_folder(ask, stack), shown))


def records_folder(ask: Ask, stack: ExitStack) -> Path | None:
    """Where journal and audit log are written: of real I/O always, as whatever others are told."""
    if ask.out or not (ask.map or ask.tells):
        return ask.out
    if ask.state:
        return ask.state / JOURNAL
    return Path(stack.enter_context(TemporaryDirectory(prefix="receiver-", ignore_cleanup_errors=True)))


async def _run(ask: Ask, folder: Path | None, say: Callable[[str], None]) -> bool:
    clock, logic = WallClock(ask.rate), Logic(RECEIVER)
    presets, software = ask.station.receiver.presets, version("vacuum-receiver")
    kept = read_kept(ask.state, logic) if ask.state else {}
    io = _modbus(ask, clock, say) if ask.map else _simulated(ask, clock)
    header = header_of(
        logic, ask.station.receiver, ask.folder,
        software=software, scan_ms=SCAN_MS, seed=None if io.real else SEED,
    )  # fmt: skip
    reporting = Reporting(ask, folder, software, io.said, say) if folder else None
    document = _document(ask, io, clock, software)
    reporter = reporting.reporter if reporting else None
    records = RunRecords(logic, header, ask.out, ask.state, document, reporter, say)
    console = Console(say, lambda: marks_of(rig.desk.forcing.forced, rig.desk.failures), fitted(ask.station))

    def on_cycle(record: CycleRecord) -> None:
        records.cycle(record)
        console.cycle(record)
        plant.cycle(record)
        if reporting:
            reporting.cycle(record)

    def on_events(events: Sequence[EventRecord]) -> None:
        records.events(events)
        console.events(events)
        if reporting:
            reporting.happened()

    def after_scan(memory: Any, now_ms: int) -> None:
        records.keep(memory, now_ms)
        if rig.scans % CLOCK_EVERY == 0 and (by := clock.set_by()):
            rig.clock_set(by)
        if reporting:
            reporting.scanned()

    rig = Rig(
        AgreeingScan(logic, presets), presets, io, Watcher(on_cycle, on_events, records.segment),
        software=software, scan_ms=SCAN_MS, kept=kept, keep=after_scan, deed=records.deed,
    )  # fmt: skip
    plant = PlantRegisters(rig)
    if reporting:
        reporting.attach(rig)
    rig.warm_up()
    told = settle(ask.fifo)
    head = f"{ask.station.receiver.name} on {io.said}, scan {SCAN_MS} ms; {REAL if io.real else SIMULATED}"
    with Stop(say, ENDS) as stop, _only_rig(ask):
        async with Panel(ask.folder, PanelRig(rig, ask.station)), plant.served(ask.services.registers, say):
            try:
                await io.begin()
                await records.open()
                where = f"journal and audit log: {folder}" if folder and ask.state else None
                first = f"nothing kept in {ask.state} yet: starts as for the first time (line loaded)"
                for line in filter(None, (told, head, where, first if ask.state and not kept else None)):
                    say(line)
                if io.machine:
                    io.port.read()  # what passed since the plant was built is behind it
                rig.power_up(clock.date(), changed(ask.state, presets))
                records.presets_told(presets)
                ended = await _driven(rig, ask, stop, say)
            finally:
                safe = await io.shut()
    try:
        rig.finish(ended.said)
    except Exception as mistake:  # the records up to here tell more than what would complete them
        ended = _mistaken(mistake, say)
    lateness = rig.lateness.as_document()
    await records.close(
        rig.memory, {"ended": ended.said, "outputs_confirmed_safe": safe, "lateness": lateness}
    )
    say(rig.lateness.said())
    for problem in records.problems:
        say(f"records: {problem}")
    say(f"ended: {ended.said}; outputs {'safe, confirmed' if safe else 'NOT CONFIRMED SAFE by the I/O'}")
    return ended.good and safe and not records.problems


async def _driven(rig: Rig, ask: Ask, stop: Stop, say: Callable[[str], None]) -> Ended:
    """However it ends, there are records to be completed and closed."""
    if ask.start and rig.io.machine:
        loop, press = asyncio.get_running_loop(), rig.io.machine.press
        loop.call_later(PRESSED_S / ask.rate, press, "start_pb", 1)
        loop.call_later(LET_GO_S / ask.rate, press, "start_pb", 0)
    try:
        async with Ticker(SCAN_MS, rate=ask.rate) as ticker:
            return await rig.run(ticker, ask.for_ms, stop)
    except Exception as mistake:
        return _mistaken(mistake, say)


def _mistaken(mistake: Exception, say: Callable[[str], None]) -> Ended:
    say("".join(traceback.format_exception(mistake)).rstrip())
    return Ended(f"a mistake in this program: {type(mistake).__name__}: {mistake}", False)


def _simulated(ask: Ask, clock: WallClock) -> LiveIo:
    from controller.simulate.in_process import in_process

    machine = in_process(ask.folder, clock, scan_ms=SCAN_MS, seed=SEED)
    return LiveIo(machine, "simulated", machine)


def _modbus(ask: Ask, clock: WallClock, say: Callable[[str], None]) -> LiveIo:
    from controller.backends.modbus_port import ModbusPort
    from controller.modbus.wire import make_wire

    assert ask.map is not None
    link = ask.map.link
    for said in remarks(ask.map):
        if said.warns:
            say(f"warning: {said.what}: {said.follows}")
    wire = make_wire(ask.map, "controller", clock, host=ask.host, port=ask.port)
    port = ModbusPort(wire, clock, ask.map.watchdog_ms)

    address = _address(ask)
    begun = "connecting to" if link.role == "client" else "waiting for the I/O scanner at"
    say(f"{begun} {address} (unit {link.unit}) ...")

    async def begin() -> None:
        await wire.start()
        try:
            await wire.ready(SOON_S)
        except LinkError as no:
            say(f"{no}; trying for {READY_S:g} s more")
            await wire.ready(READY_S)

    async def end() -> bool:
        return await port.shut(CONFIRM_S)

    return LiveIo(port, f"modbus {address}", None, begin, end, lambda: port.health)


def _address(ask: Ask) -> str:
    assert ask.map is not None
    link = ask.map.link
    return f"{ask.host or link.host}:{link.port if ask.port is None else ask.port}"


def _only_rig(ask: Ask) -> AbstractContextManager[None]:
    """Of those that ask the same I/O module; at the port of a server there is one rig in any case."""
    if ask.map and ask.map.link.role == "client":
        return only_rig_at(_address(ask), ask.map.link.unit)
    return nullcontext()


def _document(ask: Ask, io: LiveIo, clock: WallClock, software: str) -> dict[str, Any]:
    """What run.json says from the start on."""
    receiver = ask.station.receiver
    return {
        "station": receiver.name,
        "folder": ask.folder.name,
        "product": receiver.product,
        "simulated": not io.real,
        "live": True,
        "io": io.said,
        "notice": REAL if io.real else SIMULATED,
        "version": software,
        "made_utc": clock.date().isoformat(timespec="seconds"),
        "command": ["receiver", *sys.argv[1:]],
        "scan_ms": SCAN_MS,
        "rate": ask.rate,
        "for_ms": ask.for_ms,
        "presets": receiver.presets._asdict(),
    }
