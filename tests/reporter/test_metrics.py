"""The figures over HTTP: read back by the parser of prometheus-client, on this machine alone."""

import asyncio

import pytest
from prometheus_client.parser import text_string_to_metric_families
from reporter.rig_end import opening

from controller.clock import SteppedClock
from controller.image import Inputs, Outputs
from controller.reporter import metrics
from controller.reporter.metrics import serve
from controller.reporter.station import StationTold


@pytest.fixture
def station(tmp_path):
    clock = SteppedClock()
    station = StationTold(opening(tmp_path), clock)
    inputs, outputs = [int(v) for v in Inputs()], [int(v) for v in Outputs()]
    station.take("points", [500, clock.date().isoformat(), inputs, outputs, {}])
    station.take("now", [{"state": "IDLE", "step": "REST", "acting": ["FLAP_DISAGREES"], "standing": ["FLAP_DISAGREES"]}])  # fmt: skip
    figures = {"up_ms": 60_000, "scans": 6_000, "deadlines_missed": 2, "latest_us": 1_500}
    station.take("figures", [{**figures, "cycles": {"complete": 3}, "delivered_kg": 24.5, "alarms": {}}])
    return station


async def asked(port, request):
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(request)
    answer = await asyncio.wait_for(reader.read(), 10)
    writer.close()
    await writer.wait_closed()
    head, _, body = answer.partition(b"\r\n\r\n")
    return head.decode().split("\r\n"), body.decode()


async def test_a_collector_reads_the_figures_of_the_station(station, tmp_path):
    async with serve(0, opening(tmp_path), station, lambda: None) as port:
        head, body = await asked(port, b"GET /metrics HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert head[0] == "HTTP/1.1 200 OK"
    assert "Content-Type: text/plain; version=0.0.4; charset=utf-8" in head
    found = {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(body)
        for sample in family.samples
    }
    station_label = ("station", "R-101")
    assert found["receiver_up_seconds", station_label] == 60
    assert found["receiver_cycles_total", ("result", "complete"), station_label] == 3
    assert found["receiver_alarms_standing", station_label] == 1
    assert found["receiver_broker_connected", station_label] == 0
    assert found["receiver_delivered_kilograms_total", station_label] == 24.5


async def test_of_a_rig_that_says_nothing_it_is_said_and_no_point_has_a_figure(station, tmp_path):
    """Frozen, or hung in a scan: a graph must show a gap."""
    async with serve(0, opening(tmp_path), station, lambda: None) as port:
        _, well = await asked(port, b"GET /metrics HTTP/1.1\r\n\r\n")
        station.silent()
        _, silent = await asked(port, b"GET /metrics HTTP/1.1\r\n\r\n")
    assert 'receiver_controller_heard{station="R-101"} 1' in well
    assert 'receiver_controller_heard{station="R-101"} 0' in silent
    assert "receiver_point_on{" in well
    assert "receiver_point_on{" not in silent


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"GET / HTTP/1.1\r\n\r\n", "404 Not Found"),
        (b"POST /metrics HTTP/1.1\r\n\r\n", "405 Method Not Allowed"),
        (b"GET /metrics?x=1 HTTP/1.0\r\n\r\n", "200 OK"),
        (b"\xff\xfe\r\n\r\n", "404 Not Found"),
    ],
)
async def test_what_else_is_asked_for_is_answered_so(request_, status, station, tmp_path):
    async with serve(0, opening(tmp_path), station, lambda: None) as port:
        head, _ = await asked(port, request_)
    assert head[0] == f"HTTP/1.1 {status}"


async def test_who_asks_for_the_head_alone_gets_no_body(station, tmp_path):
    async with serve(0, opening(tmp_path), station, lambda: None) as port:
        head, body = await asked(port, b"HEAD /metrics HTTP/1.1\r\n\r\n")
    assert int(dict(row.split(": ") for row in head[1:])["Content-Length"]) > 1_000
    assert body == ""


async def test_a_request_that_never_ends_or_is_too_long_is_given_up(station, tmp_path, monkeypatch):
    monkeypatch.setattr(metrics, "PATIENCE_S", 0.01)
    async with serve(0, opening(tmp_path), station, lambda: None) as port:
        assert await asked(port, b"GET /metrics HTTP/1.1\r\n") == ([""], "")
        monkeypatch.setattr(metrics, "PATIENCE_S", 10)
        assert await asked(port, b"x" * (metrics.MOST_BYTES + 100)) == ([""], "")


async def test_nothing_is_told_before_the_rig_has_said_anything(tmp_path):
    station = StationTold(opening(tmp_path), SteppedClock())
    async with serve(0, opening(tmp_path), station, lambda: None) as port:
        head, body = await asked(port, b"GET /metrics HTTP/1.1\r\n\r\n")
    assert (head[0], body) == ("HTTP/1.1 200 OK", "")


async def test_it_listens_on_this_machine_alone(station, tmp_path):
    async with serve(0, opening(tmp_path), station, lambda: None) as port:
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection("127.0.0.2", port)
