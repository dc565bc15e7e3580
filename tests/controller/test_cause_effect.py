"""The sheet of cause and effect says what the machine does: held against scans of the machine itself."""

import csv
import io
import re
from html.parser import HTMLParser

import pytest
from typer.testing import CliRunner

from controller.cli import app, station_folder
from controller.engines.as_written import AsWritten, on_rows
from controller.image import Inputs
from controller.sequence.expressions import written
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import CONVEY, DRAW, Step
from controller.settings import load_station
from controller.sheets.cause_effect import MARKS, as_csv, cause_effect, outputs_by_step, wired_outputs
from controller.sheets.conditions import Sentences
from controller.sheets.io_list import fixed_here, station_values
from controller.sheets.page import page

LOGIC = Logic(RECEIVER)
STATION = load_station(station_folder("buckwheat_mill"))


def station_with(**presets):
    receiver = STATION.receiver._replace(presets=STATION.receiver.presets._replace(**presets))
    return STATION._replace(receiver=receiver)


@pytest.fixture(scope="module")
def lines():
    return cause_effect(LOGIC, STATION)


def test_the_sheet_has_every_line_in_the_order_of_first_out(lines):
    assert [line.interlock for line in lines] == [i.name for i in RECEIVER.interlocks]
    for line, i in zip(lines, RECEIVER.interlocks, strict=True):
        assert set(line.steps) <= {Step(k).name for k in i.steps}
        assert set(line.steps.values()) <= {MARKS[line.effect]}


def test_a_delay_is_said_with_the_value_of_the_station(lines):
    lost = next(line for line in lines if line.interlock == "FLAP_LOST_CLOSED")
    assert lost.delay == "100 ms (flap_lost_ms)"
    other = cause_effect(LOGIC, station_with(flap_lost_ms=60))
    assert (
        next(line for line in other if line.interlock == "FLAP_LOST_CLOSED").delay == "60 ms (flap_lost_ms)"
    )


def test_the_effect_is_the_one_that_the_station_chose():
    def of(chosen):
        found = cause_effect(LOGIC, station_with(supply_low_effect=chosen))
        low = [x for x in found if x.interlock == "SUPPLY_AIR_LOW" and "CONVEY" in x.steps]
        return {x.effect for x in low if x.acts}

    assert of(0) == {"trip"}
    assert "wait" in of(1)


def test_a_line_that_never_acts_has_no_marks(lines):
    assert not all(line.acts for line in lines)
    assert all(not line.steps and not line.outputs for line in lines if not line.acts)
    assert all(line.steps for line in lines if line.acts)


def test_lines_that_a_choice_rules_out_never_act():
    """Low air that trips at once leaves nothing to hunt; low air that may wait does."""
    low = [k for k, i in enumerate(RECEIVER.interlocks) if i.cause.name == "hunting"]
    assert low
    assert not any(cause_effect(LOGIC, STATION)[k].acts for k in low)
    waits = cause_effect(LOGIC, station_with(supply_low_effect=1))
    assert all(waits[k].acts for k in low)


@pytest.mark.parametrize(
    ("name", "step", "inputs"),
    [
        ("SAFETY_CHAIN_OPEN", Step.CONVEY, {"safety_chain_healthy": False}),
        ("SAFETY_CHAIN_OPEN", Step.DRAIN, {"safety_chain_healthy": False}),
        ("IO_LOST", Step.PULSE, {"image_age_ms": 3_000}),
    ],
)
def test_what_a_trip_takes_off_is_what_one_scan_takes_off(lines, name, step, inputs):
    """From each step, one scan with the cause: the outputs that the sheet calls on and off are so."""
    line = next(x for x in lines if x.interlock == name and step.name in x.steps)
    assert line.steps[step.name] == "T"
    engine = AsWritten(LOGIC, on_rows)
    memory = LOGIC.power_up()._replace(step=int(step), powered=True)
    outputs = engine.scan(memory, Inputs()._replace(**inputs), STATION.receiver.presets, 20).outputs._asdict()
    for output, said in line.outputs.items():
        if said != "may be on":
            assert outputs[output] == (said == "on"), output
    assert line.outputs["source_cmd"] == "off"
    assert line.outputs["fault_lamp"] == "on"


def test_an_alarm_changes_no_output_and_the_end_of_a_batch_stops_the_feed_and_clears_the_line(lines):
    assert all(not line.outputs for line in lines if line.effect == "warn")
    ends = next(x for x in lines if x.interlock == "VACUUM_TOO_HIGH" and x.effect == "end_batch")
    assert ends.outputs["feed_cmd"] == "off"
    assert ends.outputs["purge_cmd"] == "on"
    assert "source_cmd" not in ends.outputs


def test_a_pause_for_air_goes_to_the_hold_and_a_wait_for_the_motor_goes_nowhere():
    waits = cause_effect(LOGIC, station_with(supply_low_effect=1, source_kind=1))
    air = next(
        x for x in cause_effect(LOGIC, station_with(supply_low_effect=1)) if x.cause == "low_by_choice"
    )
    assert air.outputs["source_cmd"] == air.outputs["vent_close_cmd"] == air.outputs["feed_cmd"] == "off"
    motor = next(x for x in waits if x.interlock == "SOURCE_NOT_READY")
    assert motor.acts
    assert motor.steps == {"SEAL": "W"}
    assert motor.outputs == {}


def test_outputs_by_step_are_those_of_the_lines():
    found = outputs_by_step(LOGIC, STATION)
    assert list(found) == list(wired_outputs(STATION))
    assert found["feed_cmd"].keys() == {"CONVEY"}
    assert "FAULT" not in found["source_cmd"]
    assert "FAULT" in found["fault_lamp"]


class Cells(HTMLParser):
    """The tables of a page: rows of cell texts; and the balance of its tags."""

    def __init__(self, text):
        super().__init__()
        self.rows, self.open = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] in ("td", "th"):
            self.rows[-1][-1] += data


def test_the_page_has_the_picture_the_sheet_and_the_cautions_and_fetches_nothing(lines):
    text = page(LOGIC, STATION)
    cells = Cells(text)
    assert cells.open == []
    told = [row for row in cells.rows if row[0] in LOGIC.interlock_names]
    assert [row[0] for row in told] == [line.interlock for line in lines]
    assert [row[4] == "never here" for row in told] == [not line.acts for line in lines]
    assert text.count('<tr class="never">') == sum(not line.acts for line in lines)
    assert "<svg" in text
    assert "no performance level" in text
    assert not re.search(r"<script|<link|<img|src=|@import|url\((?!#)", text)
    assert text == page(LOGIC, STATION)


def last_word(station):
    """The rows of the last table of the page."""
    rows = Cells(page(LOGIC, station)).rows
    head = ["output", "in", "when", "never while"]
    return rows[rows.index(head) + 1 :]


@pytest.mark.parametrize("name", ["buckwheat_mill", "sugar_kitchen", "milk_powder_hall"])
def test_the_last_word_is_a_sentence_with_the_values_of_the_station(name):
    station = load_station(station_folder(name))
    rows = last_word(station)
    pulses = next(row for row in rows if row[:2] == ["pulse_1_cmd", "PULSE"])
    presets = station.receiver.presets
    assert f"the smaller of {presets.pulse_ms} ms (pulse_ms) and 500 ms" in pulses[3]
    assert "the source is drawing" in pulses[3]
    for row in rows:
        told = re.sub(r"\([a-z_]+\)|\b[A-Z_]+\b", "", " ".join(row[2:]))
        assert not re.search(r"_|[<>=]|\bs\.", told), row


def test_a_condition_and_its_contrary_say_the_opposite():
    def sentence(rule):
        tree = LOGIC.expression(written(rule))
        return of_station.condition(tree), of_station.condition(tree, on=False)

    of_station = Sentences(
        LOGIC, station_values(STATION), STATION.receiver.presets._asdict(), fixed_here(LOGIC, STATION)
    )
    assert sentence(lambda s: s.flap_proven and s.vacuum_pa >= s.set.release_pa) == (
        "the flap is proven closed and vacuum is at least 1 kPa (release_kpa)",
        "the flap is not proven closed or vacuum is under 1 kPa (release_kpa)",
    )
    assert sentence(lambda s: s.was.step in (CONVEY, DRAW) or (s.run and not s.stop)) == (
        "in DRAW, CONVEY or (the run is on and no stop is asked for)",
        "not in DRAW, CONVEY and (the run is off or a stop is asked for)",
    )
    assert sentence(lambda s: s.motor or s.run) == ("the run is on", "the run is off")
    assert sentence(lambda s: s.motor) == ("never", "always")


def test_words_of_a_station_are_escaped():
    receiver = STATION.receiver._replace(description="feeds <b> & co")
    assert "feeds &lt;b&gt; &amp; co" in page(LOGIC, STATION._replace(receiver=receiver))


def test_the_file_is_chosen_by_its_ending(tmp_path, lines):
    def written(name):
        done = CliRunner().invoke(app, ["diagram", "buckwheat_mill", "--out", str(tmp_path / name)])
        assert done.exit_code == 0, done.output
        return (tmp_path / name).read_text()

    rows = list(csv.DictReader(io.StringIO(written("x.csv"))))
    assert [row["fact"] for row in rows] == [line.cause for line in lines]
    assert not [row["cause"] for row in rows if "_" in row["cause"]]
    assert [row["acts here"] == "never" for row in rows] == [not line.acts for line in lines]
    assert all(row["CONVEY"] == line.steps.get("CONVEY", "") for row, line in zip(rows, lines, strict=True))
    assert written("x.html").startswith("<!DOCTYPE html>")
    assert "<svg" in written("x.svg")


def test_another_ending_is_refused_with_those_there_are(tmp_path):
    done = CliRunner().invoke(app, ["diagram", "buckwheat_mill", "--out", str(tmp_path / "x.pdf")])
    assert done.exit_code == 2
    assert list(tmp_path.iterdir()) == []
    assert ".svg, .html, .csv" in done.output


def test_the_sheet_says_the_limits_of_a_measured_cause():
    sheet = list(csv.DictReader(io.StringIO(as_csv(LOGIC, cause_effect(LOGIC, STATION), ()))))
    limits = {row["fact"]: row["limits"] for row in sheet}
    assert limits["vacuum_high"] == "vacuum is at least 35 kPa (vacuum_high_kpa)"
    assert limits["safety_chain_open"] == ""
    assert "vacuum is at least 35 kPa (vacuum_high_kpa)" in page(LOGIC, STATION)
