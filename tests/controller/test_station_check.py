"""The station check: its physics against published figures, each finding seen both ways, the command."""

import ast
import io
import json
import math
import re
from pathlib import Path
from typing import Any

import fluids
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from controller.sequence.presets import Presets
from controller.sequence.presets import limits as preset_limits
from controller.station_check import air, conveying, cycle, findings_line, findings_room, pneumatics
from controller.station_check.findings import Finding
from controller.station_check.prediction import NORMAL_KG_M3, predict
from controller.station_check.report import CAUTIONS, Report, as_json, check_station, judge
from controller.station_check.tables import show
from io_sim.formulas_air import orifice_kg_s
from io_sim.formulas_line import GRAVITY, MINIMUM_CONVEYING_M_S
from io_sim.formulas_solids import rhodes_vertical_pa
from io_sim.parameters import PlantParameters, problems
from io_sim.parameters import limits as plant_limits

MEDIUM = PlantParameters()
SAND_LINE = MEDIUM._replace(  # 1.2 kg/m3 in the room, as in the books
    site_temperature_k=101_325.0 / (287.05 * 1.2),
    line_bends=0.0, line_bore_m=0.078, line_length_m=10.0, line_lift_m=10.0,
    material_particle_size_m=1e-4, material_particle_density_kg_m3=2_500.0,
)  # fmt: skip


# ---- physics against figures from outside ---------------------------------------------------------------


def test_solids_terms_are_those_of_rhodes_example_8_1() -> None:
    """
    Rhodes, Introduction to Particle Technology, worked example 8.1 (from memory): 900 kg/h of sand, 78 mm.

    Its riser of 10 m takes 1148 Pa: air friction (Fanning 0.005), weight of the air, solids friction after
    Konno and Saito, weight of the solids. The last two are what the loading terms here must give, with the
    lambda_s that belongs to Konno and Saito, 0.114 sqrt(g D) / u; the acceleration is taken off.
    """
    u, flux, terminal, bore = 14.825, 52.32, 0.52, 0.078
    ratio = 1.0 - terminal / u
    line = SAND_LINE._replace(
        line_solids_friction=0.114 * math.sqrt(GRAVITY * bore) / u, material_velocity_ratio=ratio
    )
    area = math.pi / 4.0 * bore**2
    ours = conveying.solids_drop_pa_s_kg(line, 1.2 * u * area, 0.0) * flux * area - flux * ratio * u
    air_terms = 2.0 * 0.005 * 1.2 * u * u * 10.0 / bore + 1.2 * GRAVITY * 10.0
    assert ours == pytest.approx(1_148.0 - air_terms, rel=0.01)
    assert rhodes_vertical_pa(flux, u, 10.0, bore, terminal, 2_500.0, 1.2) == pytest.approx(
        1_148.0, rel=0.003
    )


def test_air_only_drop_is_that_of_the_isothermal_pipe_of_fluids() -> None:
    """`fluids` 1.3: friction after Colebrook, compressible pipe flow at one temperature."""
    line = MEDIUM._replace(line_bends=0.0, line_inlet_loss=1e-6, line_length_m=60.0)
    place, area, flow = air.site(line), math.pi / 4.0 * 0.05**2, 0.06
    drop = air.root(lambda v: v - air.air_drop_pa(line, flow, v, purge_open=False), 0.0, 60e3)
    friction = fluids.friction_factor(4.0 * flow / (math.pi * 0.05 * place.viscosity_pa_s), eD=1e-3)
    outlet = fluids.isothermal_gas(place.air_kg_m3, friction, P1=place.air_pa, L=60.0, D=0.05, m=flow)
    assert drop == pytest.approx(place.air_pa - outlet, rel=0.04)
    assert air.circle_m2(0.05) == pytest.approx(area)


def test_saltation_velocities_are_the_documented_ones_of_fluids() -> None:
    """Examples in the documentation of `fluids.saltation`: Rizk in Rhodes 8.1; Schade; Geldart and Ling."""
    rhodes = findings_line.saltation_m_s(SAND_LINE, 0.25)
    assert rhodes["Rizk"] == pytest.approx(9.8833, rel=1e-4)
    other = SAND_LINE._replace(
        line_bore_m=0.1, material_particle_size_m=1e-3, material_particle_density_kg_m3=1_000.0
    )
    example = findings_line.saltation_m_s(other, 1.0)
    assert example["Schade"] == pytest.approx(13.697416, rel=1e-4)
    assert example["Geldart-Ling"] == pytest.approx(7.467496, rel=0.05)  # there with 2e-5 Pa s
    assert max(example.values()) / min(example.values()) > 1.5, "they scatter, which the report says"


@pytest.mark.parametrize(("product", "lowest"), [("fine powder", 10.2), ("granular sugar", 16.3)])
def test_feed_point_velocity_is_held_against_mills_and_20_percent(product: str, lowest: float) -> None:
    """D. Mills, "Pickup velocity for pneumatic conveying", powderbulksolids.com, 13 January 2010."""
    assert MINIMUM_CONVEYING_M_S[product][0] == lowest
    plant = MEDIUM._replace(material_pick_up_m_s=1.2 * lowest)
    velocity = named(judge(plant, Presets())[1], "feed-point velocity, full air")
    assert velocity.low == pytest.approx(1.2 * lowest)
    assert (velocity.verdict == "ok") == (velocity.figure >= 1.2 * lowest)
    slow = MEDIUM._replace(material_pick_up_m_s=velocity.figure * 1.3)
    assert named(judge(slow, Presets())[1], "feed-point velocity, full air").verdict == "error"


def test_cone_of_the_heap_is_half_the_bore_times_the_slope() -> None:
    """Geometry: h = D/2 tan(alpha), volume A h / 3; 0.6 m at 30 and 40 degrees: 17-25 cm, 16-24 l."""
    for degrees, centimetres, litres in ((30.0, 17.3, 16.3), (40.0, 25.2, 23.7)):
        vessel = MEDIUM._replace(
            vessel_probe_radius_m=0.3, vessel_probe_height_m=0.25, material_repose_rad=math.radians(degrees)
        )
        area = math.pi / 4.0 * 0.6**2
        cone_m3 = findings_room.at_probe_m3(vessel) - area * 0.25  # probe at the wall: the cone stands above
        assert cone_m3 * 1e3 == pytest.approx(litres, rel=0.01)
        assert 3.0 * cone_m3 / area * 100.0 == pytest.approx(centimetres, rel=0.01)


def test_no_station_of_a_usual_size_passes_300_kg_h_a_litre() -> None:
    """Common practice, no source: 2 l to about 0.25 t/h, 30 l to about 8 t/h, 56 l to about 10 t/h."""
    small = MEDIUM._replace(
        body_gas_volume_m3=0.010, body_useful_volume_m3=0.003, line_bore_m=0.032, line_length_m=8.0,
        line_lift_m=2.5, line_bends=2.0, source_free_flow_kg_s=0.026, source_motive_m3_s_pa=0.95e-8,
        filter_area_m2=0.18, flap_bore_m=0.1, feed_limit_kg_s=0.14,
    )  # fmt: skip
    large = MEDIUM._replace(
        body_gas_volume_m3=0.110, body_useful_volume_m3=0.040, line_bore_m=0.076, line_length_m=20.0,
        line_lift_m=5.0, source_free_flow_kg_s=0.19, source_motive_m3_s_pa=6.9e-8, filter_area_m2=1.6,
        flap_bore_m=0.2, feed_limit_kg_s=1.3, supply_network_m3_s_pa=3e-7,
    )  # fmt: skip
    for plant, fill_ms in ((small, 12_000), (MEDIUM, 16_000), (large, 17_000)):
        found = judge(plant, Presets(fill_ms=fill_ms))[1]
        assert named(found, "kg/h per litre useful").verdict == "ok"
        assert 30.0 < named(found, "kg/h per litre useful").figure < 300.0
    hasty = Presets(fill_ms=5_000, drain_ms=500, clear_ms=0, pulses=0, tank_charge_ms=0)
    strong = large._replace(body_useful_volume_m3=0.003)
    assert named(judge(strong, hasty)[1], "kg/h per litre useful").verdict == "error"


def test_normal_density_is_that_of_din_1343() -> None:
    """DIN 1343: 0 degrees C, 101.325 kPa, dry: 1.293 kg/m3."""
    assert pytest.approx(1.293, rel=1e-3) == NORMAL_KG_M3


def test_release_time_is_the_integral_of_the_orifice() -> None:
    """From deep vacuum through choked and free flow, against small steps of the orifice law."""
    area, pressure, time_s = cycle.vent_area_m2(MEDIUM), air.site(MEDIUM).air_pa - 80e3, 0.0
    while air.site(MEDIUM).air_pa - pressure > 1_000.0:
        flow = orifice_kg_s(area, pressure, air.site(MEDIUM).air_pa, MEDIUM.site_temperature_k)
        pressure += flow * air.site(MEDIUM).gas_j_kg / MEDIUM.body_gas_volume_m3 * 1e-4
        time_s += 1e-4
    assert air.release_s(MEDIUM, area, 80e3, 1_000.0) == pytest.approx(time_s, rel=0.02)


def test_recovery_of_the_tanks_follows_the_published_charge() -> None:
    """Isothermal charge after ISO 6358, one litre behind 5 dm3/(s bar): 1 to 7 bar in 0.252 s."""
    assert pneumatics.charge_s(0.2006, 0.3, 1.0 / 7.0, 1.0) == pytest.approx(0.252, rel=0.005)


# ---- the findings ---------------------------------------------------------------------------------------

SOUND_PLANT = MEDIUM._replace(
    material_pick_up_m_s=12.0, line_loading_max=15.0, feed_limit_kg_s=0.45, vessel_demand_kg_h=700.0,
    material_particle_size_m=8e-5,
)  # fmt: skip
SOUND_PRESETS = Presets(
    supply_low_pa_g=520_000,
    drain_ms=5_000,
    recovery_ms=500,
    no_material_pa=6_800,
    fill_ms=17_000,
    proving_pa=1_500,
)


def named(found: tuple[Finding, ...], what: str) -> Finding:
    return next(finding for finding in found if finding.what == what)


def test_a_sound_station_has_nothing_against_it() -> None:
    found = judge(SOUND_PLANT, SOUND_PRESETS)[1]
    assert [(f.what, f.figure, f.low, f.high, f.computed) for f in found if f.verdict != "ok"] == []
    assert len(found) >= 38


MISTAKES: list[tuple[str, str, dict[str, Any], dict[str, Any]]] = [
    ("feed-point velocity, full air", "error", {"material_pick_up_m_s": 25.0}, {}),
    ("feed-point velocity, low air", "warning", {}, {"supply_low_pa_g": 390_000}),
    ("feed-point velocity, low air", "error", {"material_pick_up_m_s": 15.0}, {"supply_low_pa_g": 350_000}),
    ("against saltation, full air", "warning", {"line_bore_m": 0.07}, {}),
    ("against saltation, low air", "warning", {}, {"supply_low_pa_g": 350_000}),
    ("solids / air in the line", "warning", {"line_loading_max": 30.0, "feed_limit_kg_s": 2.0}, {}),
    ("kg/h per litre useful", "error", {"body_useful_volume_m3": 0.001}, {}),
    ("solids / air in the line", "warning", {"feed_limit_kg_s": 0.03}, {}),
    ("solids / air in the line", "error", {"material_pick_up_m_s": 39.0, "line_bore_m": 0.08}, {}),
    ("rate against demand", "warning", {"vessel_demand_kg_h": 1_500.0}, {}),
    ("rate against demand", "error", {"vessel_demand_kg_h": 3_000.0}, {}),
    ("rate against demand", "error", {"vessel_demand_kg_h": 0.0, "material_pick_up_m_s": 39.0, "line_bore_m": 0.08}, {}),
    ("proving, nearer margin", "warning", {}, {"proving_pa": 1_100}),
    ("proving, nearer margin", "warning", {}, {"proving_pa": 2_600}),
    ("plug after a stop, in bores", "warning", {"line_length_m": 40.0, "line_lift_m": 25.0}, {}),
    ("proving.proving_kpa", "error", {}, {"proving_pa": 3_500}),
    ("proving.proving_kpa", "error", {}, {"proving_pa": 400}),
    ("convey.no_material_kpa", "error", {}, {"no_material_pa": 5_000}),
    ("convey.no_material_kpa", "error", {}, {"no_material_pa": 12_000}),
    ("clear.line_empty_kpa", "error", {}, {"line_empty_pa": 3_000}),
    ("clear.line_empty_kpa", "error", {}, {"line_empty_pa": 8_000}),
    ("convey.vacuum_high_kpa", "error", {}, {"vacuum_high_pa": 16_000}),
    ("convey.vacuum_high_kpa", "error", {}, {"vacuum_high_pa": 70_000}),
    ("signals.vacuum_range_kpa", "error", {"transmitter_vacuum_range_pa_v": 60e3}, {}),
    ("signals.supply_range_kpa", "error", {"transmitter_supply_range_pa_g": 16e5}, {}),
    ("flap.flap_travel_ms", "error", {"flap_travel_s": 2.0}, {}),
    ("flap.flap_travel_ms", "error", {"flap_spring_n": 900.0}, {}),
    ("flap.flap_travel_ms", "warning", {"flap_travel_s": 0.1}, {}),
    ("flap.contact_debounce_ms", "error", {}, {"contact_debounce_ms": 60}),
    ("flap.flap_lost_ms", "warning", {}, {"flap_lost_ms": 20, "contact_debounce_ms": 5}),
    ("start.tank_charge_ms", "warning", {"tank_fill_m3_s_pa": 1e-9}, {}),
    ("proving.proving_s", "error", {"source_valve_s": 2.0}, {}),
    ("convey.fill_s", "warning", {}, {"fill_ms": 30_000}),
    ("clear.transit_ms", "error", {"line_length_m": 60.0}, {}),
    ("clear.clear_s", "error", {}, {"clear_ms": 2_000}),
    ("clear.clear_s", "warning", {}, {"clear_ms": 20_000}),
    ("convey.no_material_arm_s", "error", {}, {"no_material_arm_ms": 1_500}),
    ("vent.release_limit_s", "error", {"vent_bore_m": 0.006}, {}),
    ("drain.drain_s", "warning", {}, {"drain_ms": 3_500}),
    ("drain.drain_s", "error", {"material_flow_factor": 0.0}, {}),
    ("filter_clean.recovery_ms", "error", {"tank_fill_m3_s_pa": 1e-9}, {}),
    ("filter_clean.recovery_ms", "warning", {}, {"recovery_ms": 3_000}),
    ("filter_clean.pulses", "error", {}, {"pulses": 0, "pulses_last": 0}),
    ("filter_clean.pulses", "warning", {}, {"pulses": 0}),
    ("filter_clean.pulse_off_min_ms", "warning", {}, {"pulse_off_min_ms": 900}),
    ("filter drop before a clean", "warning", {}, {"clean_every": 20}),
    ("supply at rest", "error", {"supply_network_pa_g": 5.3e5}, {}),
    ("supply while drawing", "error", {"supply_network_m3_s_pa": 3.2e-8}, {}),
    ("supply while drawing, a pulse", "error", {"supply_header_volume_m3": 1e-3}, {}),
    ("supply_air.supply_low_kpa_g", "error", {}, {"supply_low_pa_g": 320_000}),
    ("supply_air.supply_lost_kpa_g", "error", {}, {"supply_lost_pa_g": 500_000}),
    ("supply_air.supply_lost_kpa_g", "warning", {"flap_spring_n": 250.0}, {}),
    ("largest batch in the body", "error", {"material_bulk_density_kg_m3": 400.0}, {}),
    ("largest batch above the probe", "error", {"vessel_probe_height_m": 0.40}, {}),
    ("peak of the heap after it", "error", {"vessel_probe_height_m": 0.33}, {}),
]  # fmt: skip


@pytest.mark.parametrize(("what", "verdict", "plant", "presets"), MISTAKES)
def test_each_finding_sees_its_mistake(
    what: str, verdict: str, plant: dict[str, Any], presets: dict[str, Any]
) -> None:
    mistaken = SOUND_PLANT._replace(**plant)
    assert problems(mistaken) == []
    finding = named(judge(mistaken, SOUND_PRESETS._replace(**presets))[1], what)
    assert finding.verdict == verdict, finding
    assert finding.change
    assert finding.source


def test_limits_that_cross_are_no_room_and_not_limits() -> None:
    """100 mm over 150 m: the ejector of 50 mm moves next to nothing."""
    plant = SOUND_PLANT._replace(line_bore_m=0.1, line_length_m=150.0)
    assert problems(plant) == []
    found = judge(plant, SOUND_PRESETS)[1]
    crossed = named(found, "convey.no_material_kpa")
    assert (crossed.verdict, crossed.has_room, crossed.low, crossed.high) == ("error", False, None, None)
    assert crossed.change.startswith("no room: it should be at least")
    assert "relative to air-only" in crossed.change
    assert all(f.low <= f.high for f in found if f.low is not None and f.high is not None)
    assert "supply_low" not in named(found, "feed-point velocity, full air").change
    assert "supply_low" in named(found, "feed-point velocity, low air").change
    assert named(found, "rate against demand").verdict == "error"
    assert named(found, "solids / air in the line").verdict != "ok"


def test_order_of_the_supply_limits_names_the_key_that_breaks_it() -> None:
    found = judge(SOUND_PLANT, SOUND_PRESETS._replace(supply_lost_pa_g=500_000))[1]
    for what in ("supply_air.supply_low_kpa_g", "supply_air.supply_lost_kpa_g"):
        change = named(found, what).change
        assert "supply_lost_kpa_g and its hysteresis reach" in change
        assert "lower the first to 490 kPa, or raise the second to 530 kPa" in change


def test_longer_rest_of_the_pulses_is_in_the_predicted_clean() -> None:
    short, long = (predict(SOUND_PLANT, SOUND_PRESETS._replace(pulse_off_min_ms=ms)) for ms in (400, 900))
    assert long.steps.clean_ms - short.steps.clean_ms == pytest.approx(400.0)
    warned = named(judge(SOUND_PLANT, SOUND_PRESETS._replace(pulse_off_min_ms=900))[1],
                   "filter_clean.pulse_off_min_ms")  # fmt: skip
    assert (warned.figure, warned.high) == (900.0, 500.0)
    assert "400 ms longer" in warned.source


def test_every_finding_has_a_mistake() -> None:
    found = judge(SOUND_PLANT, SOUND_PRESETS)[1]
    assert {finding.what for finding in found} == {what for what, *_ in MISTAKES}


def refused(constant: str) -> None:
    """Infinity and NaN are no JSON: RFC 8259, section 6."""
    raise AssertionError(constant)


def anywhere(ranges: dict[str, Any], whole: bool) -> st.SearchStrategy[dict[str, Any]]:
    """Some values, anywhere within their limits."""
    number = (lambda a, b: st.integers(int(a), int(b))) if whole else st.floats
    return st.fixed_dictionaries(
        {}, optional={name: number(r.low, r.high) for name, r in ranges.items() if "_share_" not in name}
    )


@settings(max_examples=60, deadline=None)
@given(plant=anywhere(plant_limits(), whole=False), presets=anywhere(preset_limits(), whole=True))
def test_whatever_is_allowed_in_the_files_gets_its_findings(
    plant: dict[str, Any], presets: dict[str, Any]
) -> None:
    parameters = MEDIUM._replace(**plant)
    if problems(parameters):
        return
    predicted, found = judge(parameters, Presets()._replace(**presets))
    report = Report("R-1", "", "", predicted, 0.0, found, CAUTIONS)
    assert json.loads(as_json(report), parse_constant=refused)["errors"] == report.count("error")
    printed = Console(file=io.StringIO(), width=200)
    show(report, printed)
    said = printed.file.getvalue() + as_json(report)  # type: ignore[attr-defined]
    assert re.search(r"\b(inf|nan|never s)\b", said) is None


def test_prediction_moves_the_way_the_machine_does() -> None:
    base = predict(MEDIUM, Presets())
    for changed, says in (
        ({"line_length_m": 25.0}, lambda p: p.conveying.body_pa_v > base.conveying.body_pa_v),
        ({"feed_limit_kg_s": 0.3}, lambda p: p.conveying.feed_point_m_s > base.conveying.feed_point_m_s),
        ({"filter_cake_resistance_1_s": 8e5}, lambda p: p.conveying.body_pa_v < base.conveying.body_pa_v),
        ({"supply_network_pa_g": 5e5}, lambda p: p.conveying.feed_point_m_s < base.conveying.feed_point_m_s),
        ({"body_leak_m2": 2e-4}, lambda p: p.conveying.body_pa_v < base.conveying.body_pa_v),
    ):
        assert says(predict(MEDIUM._replace(**changed), Presets())), changed


def test_the_check_knows_formulas_and_parameters_of_the_simulator_and_nothing_else() -> None:
    """So that a simulated hour is a check of the prediction and not its source."""
    allowed = ("io_sim.formulas_", "io_sim.parameters", "io_sim.settings")
    files = sorted(Path(air.__file__).parent.glob("*.py"))
    trees = [ast.parse(file.read_text()) for file in files]
    froms = [node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    modules = {f"{node.module}.{name.name}" for node in froms for name in node.names}
    seen = {module for module in modules if module.startswith("io_sim")}
    assert len(seen) > 10
    assert {module for module in seen if not module.startswith(allowed)} - {"io_sim.settings"} == set()


# ---- the command ----------------------------------------------------------------------------------------


def test_demo_station_has_no_error(demo: Path) -> None:
    report = check_station(demo)
    assert report.good, [finding for finding in report.findings if finding.verdict == "error"]


def test_command_exits_by_verdict_and_prints_json(demo: Path, tmp_path: Path, receiver: Any) -> None:
    good = receiver("check", str(demo), "--json")
    assert good.code == 0
    assert json.loads(good.out)["station"] == "R-101"
    bad = tmp_path / "bad"
    bad.mkdir()
    for file in demo.glob("*.yaml"):
        text = file.read_text().replace("proving_kpa: 1.2", "proving_kpa: 15")
        (bad / file.name).write_text(text)
    failed = receiver("check", str(bad))
    assert failed.code == 1
    assert "lower proving.proving_kpa" in failed.out or "proving.proving_kpa to about" in failed.out
    assert "No sizing guarantee" in failed.out
    (bad / "plant.yaml").write_text("line:\n  bore_mm: fat\n")
    wrong = receiver("check", str(bad))
    assert wrong.code == 2
    assert "plant.yaml:2:12: line.bore_mm" in wrong.err


class Ran:
    """What a command said."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err


@pytest.fixture
def demo() -> Path:
    return Path(__file__).parents[2] / "configs" / "buckwheat_mill"


@pytest.fixture
def receiver(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    """The command line, in this process."""
    from controller.cli import main

    def run(*words: str) -> Ran:
        monkeypatch.setattr("sys.argv", ["receiver", *words])
        with pytest.raises(SystemExit) as left:
            main()
        said = capsys.readouterr()
        return Ran(int(left.value.code or 0), " ".join(said.out.split()), said.err)

    return run
