"""The physics of the station check against published figures and laws."""

import math

import fluids
import pytest
from check_stations import ALL, MEDIUM, named

from controller.sequence.presets import Presets
from controller.station_check import air, conveying, cycle, findings_line, findings_room, pneumatics
from controller.station_check.prediction import NORMAL_KG_M3, predict
from controller.station_check.report import judge
from io_sim.formulas_air import orifice_kg_s
from io_sim.formulas_line import GRAVITY
from io_sim.formulas_solids import rhodes_vertical_pa

SAND_LINE = MEDIUM._replace(  # 1.2 kg/m3 in the room, as in the books
    site_temperature_k=101_325.0 / (287.05 * 1.2),
    line_bends=0.0, line_bore_m=0.078, line_length_m=10.0, line_lift_m=10.0,
    material_particle_size_m=1e-4, material_particle_density_kg_m3=2_500.0,
)  # fmt: skip


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
    plant = MEDIUM._replace(material_pick_up_m_s=1.2 * lowest)
    velocity = named(judge(plant, Presets(), ALL)[1], "feed-point velocity, full air")
    assert velocity.low == pytest.approx(1.2 * lowest)
    assert (velocity.verdict == "ok") == (velocity.figure >= 1.2 * lowest)
    slow = MEDIUM._replace(material_pick_up_m_s=velocity.figure * 1.3)
    assert named(judge(slow, Presets(), ALL)[1], "feed-point velocity, full air").verdict == "error"


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
        found = judge(plant, Presets(fill_ms=fill_ms), ALL)[1]
        assert named(found, "kg/h per litre useful").verdict == "ok"
        assert 30.0 < named(found, "kg/h per litre useful").figure < 300.0
    hasty = Presets(fill_ms=5_000, drain_ms=500, clear_ms=0, pulses=0, tank_charge_ms=0)
    strong = large._replace(body_useful_volume_m3=0.003)
    assert named(judge(strong, hasty, ALL)[1], "kg/h per litre useful").verdict == "error"


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
