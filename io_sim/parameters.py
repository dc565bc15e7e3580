"""
Parameters: every physical quantity of the simulated plant, with default, limits and where it comes from.

The defaults are the medium station (14 l useful volume, 50 mm line) with buckwheat flour. They are
engineering estimates to be replaced at commissioning; nothing here is a measurement of a real machine.
SI units, in the names: absolute Pa unless `_pa_g` (gauge) or `_pa_v` (vacuum); velocities in `_m_s`,
flow conductances after ISO 6358 in `_m3_s_pa` (1e-8 is 1 dm3/(s bar)). The first word of a name is the part.
"""

from typing import Annotated as P
from typing import NamedTuple, get_args, get_type_hints


class Limits(NamedTuple):
    """The range of a parameter, and what it is or where it comes from."""

    low: float
    high: float
    why: str
    choices: tuple[str, ...] = ()  # what the numbers low..high are called in a plant file


L = Limits  # a parameter reads: name: P[float, L(low, high, why)] = default


# fmt: off
class PlantParameters(NamedTuple):
    """What is simulated. Floats only, in the order of the flat array of the kernel."""

    # site
    site_altitude_m: P[float, L(0, 4_000, "air pressure by the standard atmosphere")] = 0.0
    site_temperature_k: P[float, L(253.15, 323.15, "one temperature for all gas (isothermal model)")] = 293.15
    # body
    body_gas_volume_m3: P[float, L(0.003, 0.5, "empty body with filter space; estimate")] = 0.040
    body_useful_volume_m3: P[float, L(0.001, 0.2, "common practice: 2 to 56 l")] = 0.014
    body_probe_share: P[float, L(0.2, 1.3, "receiver-full probe, as a share of the useful volume")] = 1.0
    body_probe_splash: P[float, L(0, 0.5, "splashes so much higher while product arrives; estimate")] = 0.03
    body_leak_m2: P[float, L(0, 1e-3, "seals and joints as an ideal hole; 3 mm2, estimate")] = 3e-6
    # line: one horizontal run with one riser
    line_bore_m: P[float, L(0.02, 0.2, "inside")] = 0.050
    line_length_m: P[float, L(1, 150, "horizontal and vertical together")] = 15.0
    line_lift_m: P[float, L(0, 40, "riser, part of the length")] = 4.0
    line_bends: P[float, L(0, 20, "long-radius bends")] = 3.0
    line_roughness_m: P[float, L(0, 1e-3, "drawn tube 2e-6, welded tube 5e-5, ribbed hose more")] = 5e-5
    line_inlet_loss: P[float, L(0, 10, "loss factor K of the pick-up, on the line bore; estimate")] = 1.5
    line_bend_loss: P[float, L(0, 2, "loss factor K of a bend, air only; from memory")] = 0.35
    line_bend_acceleration: P[float, L(0, 1, "velocity to regain after each bend; 0.2-0.5")] = 0.25
    line_solids_friction: P[float, L(0.002, 0.02, "lambda_s: published methods differ 20-fold")] = 0.006
    line_loading_max: P[float, L(1, 30, "solids/air the pick-up lets in; dilute 1-20")] = 20.0
    line_plug_wall: P[float, L(0, 10, "k of the break-away law of a plug; a guess")] = 2.0
    line_fall_back_m_s: P[float, L(0.5, 10, "falling column in a stopped riser, 2-4 m/s; estimate")] = 3.0
    line_hose_off_loss: P[float, L(1, 5, "loss factor K of the open inlet with the hose off")] = 1.5
    # vacuum source: suction flow against vacuum as nine points
    source_kind: P[float, L(0, 2, "what draws; with its own curve", ("ejector", "blower", "vane_pump"))] = 0.0
    source_free_flow_kg_s: P[float, L(1e-3, 1, "223 m3/h ANR at nominal supply; estimate")] = 0.0734
    source_vacuum_max_pa_v: P[float, L(1e4, 1e5, "dead end at nominal supply; estimate")] = 80e3
    source_motive_m3_s_pa: P[float, L(0, 1e-6, "nozzle, 1130 l/min ANR at 6 bar g; motor 0")] = 2.686e-8
    source_supply_nominal_pa_g: P[float, L(2e5, 8e5, "supply for the two figures above")] = 6e5
    source_supply_none_pa: P[float, L(0, 3e5, "absolute supply without suction; motor 0")] = 1.5e5
    source_valve_s: P[float, L(0.01, 5, "first-order lag of the ejector or bypass valve")] = 0.08
    source_spin_up_s: P[float, L(0.05, 30, "motor to full speed, 1-8 s; common practice")] = 2.0
    source_run_down_s: P[float, L(0.05, 120, "motor to standstill, 5-30 s; common practice")] = 10.0
    source_bypass: P[float, L(0, 1, "spring-open valve: the motor draws room air", ("none", "fitted"))] = 0.0
    source_bypass_m2: P[float, L(1e-5, 1e-2, "effective area Cd A of the open bypass; estimate")] = 5e-4
    source_relief_pa_v: P[float, L(0, 1e5, "relief valve at a blower's inlet, 20-50 kPa; 0 is none")] = 0.0
    source_motor_kw: P[float, L(0, 75, "rated power; only for the starts an hour that it stands")] = 5.5
    source_motor_poles: P[float, L(2, 6, "2, 4 or 6")] = 2.0
    source_back_flow_m2: P[float, L(0, 1e-2, "open area through the stopped source; estimate")] = 4e-5
    source_check_valve: P[float, L(0, 1, "against flow into the body", ("none", "fitted"))] = 1.0
    source_vacuum_share_0: P[float, L(0, 0, "of the dead-end vacuum; first point is free flow")] = 0.0
    source_vacuum_share_1: P[float, L(0, 1, "rising")] = 0.12
    source_vacuum_share_2: P[float, L(0, 1, "rising")] = 0.24
    source_vacuum_share_3: P[float, L(0, 1, "rising")] = 0.36
    source_vacuum_share_4: P[float, L(0, 1, "rising")] = 0.48
    source_vacuum_share_5: P[float, L(0, 1, "rising")] = 0.60
    source_vacuum_share_6: P[float, L(0, 1, "rising")] = 0.75
    source_vacuum_share_7: P[float, L(0, 1, "rising")] = 0.90
    source_vacuum_share_8: P[float, L(1, 1, "last point is dead end")] = 1.0
    source_flow_share_0: P[float, L(1, 1, "of the free flow")] = 1.0
    source_flow_share_1: P[float, L(0, 1, "falling; shape of a multistage ejector, estimate")] = 0.66
    source_flow_share_2: P[float, L(0, 1, "falling")] = 0.47
    source_flow_share_3: P[float, L(0, 1, "falling")] = 0.34
    source_flow_share_4: P[float, L(0, 1, "falling")] = 0.24
    source_flow_share_5: P[float, L(0, 1, "falling")] = 0.16
    source_flow_share_6: P[float, L(0, 1, "falling")] = 0.085
    source_flow_share_7: P[float, L(0, 1, "falling")] = 0.028
    source_flow_share_8: P[float, L(0, 0, "no flow at dead end")] = 0.0
    # filter: all elements together
    filter_area_m2: P[float, L(0.05, 10, "cloth of all elements")] = 0.65
    filter_clean_drag_pa_s_m: P[float, L(1e3, 2e5, "S_R, conditioned 10-60 kPa s/m; memory")] = 20e3
    filter_cake_resistance_1_s: P[float, L(1e3, 1e6, "K2; handbook table by dust 6e3-2.5e5 1/s")] = 1e5
    filter_fines_share: P[float, L(0, 0.2, "of the arriving product goes to the cloth; estimate")] = 0.015
    filter_cleaning_max: P[float, L(0, 1, "cake share removed by one strong pulse; estimate")] = 0.85
    filter_cleaning_offset_pa_g: P[float, L(0, 3e5, "tank pressure with no effect; estimate")] = 1e5
    filter_cleaning_scale_pa: P[float, L(1e4, 5e5, "tank pressure for 63 % of it; estimate")] = 1.5e5
    filter_under_suction: P[float, L(0, 1, "a pulse's effect while vacuum is on; estimate")] = 0.2
    filter_pulse_useful_s: P[float, L(0.02, 0.5, "80-120 ms (Atmosphere 2023, 14(7), 1173)")] = 0.1
    filter_dust_settling_s: P[float, L(0.1, 10, "cloud after a pulse, 1-2 s; estimate")] = 1.5
    # pulse tanks: one for each element, lumped in one group
    tank_elements: P[float, L(1, 7, "common practice: 1, 3 or 7")] = 3.0
    tank_volume_m3: P[float, L(5e-5, 2e-2, "of one tank")] = 0.0005
    tank_valve_m3_s_pa: P[float, L(1e-9, 1e-6, "pulse valve of one tank; estimate")] = 2e-8
    tank_fill_m3_s_pa: P[float, L(1e-10, 1e-6, "fill line of one tank; thin hose a quarter")] = 5.5e-9
    tank_groups: P[float, L(1, 3, "pulsed one after another; elements shared out, the first most")] = 1.0
    tank_critical_ratio: P[float, L(0.1, 0.528, "b after ISO 6358, valve and fill line")] = 0.3
    # supply air
    supply_network_pa_g: P[float, L(0, 1e6, "network upstream of the header")] = 7e5
    supply_network_m3_s_pa: P[float, L(1e-9, 1e-5, "pipe and service unit between network and header")] = 1e-7
    supply_network_critical_ratio: P[float, L(0.1, 0.528, "b after ISO 6358")] = 0.3
    supply_network_ramp_pa_s: P[float, L(1e4, 1e7, "failing and returning network; estimate")] = 1e5
    supply_header_volume_m3: P[float, L(1e-4, 1, "header at the station")] = 0.025
    # flap: driven (opened by a cylinder, closed by a spring or, with two coils, by its other side) or hanging
    flap_kind: P[float, L(0, 2, "what moves it", ("driven", "counterweight", "vacuum_held"))] = 0.0
    flap_valve: P[float, L(0, 1, "two coils: keeps its last place", ("spring", "two_coils"))] = 0.0
    flap_counterweight_n: P[float, L(0.2, 500, "hanging flap: closing force at its middle; estimate")] = 2.0
    flap_ajar: P[float, L(0.01, 0.2, "vacuum-held: rests so far open; switch at 0.05; estimate")] = 0.03
    flap_bore_m: P[float, L(0.05, 0.5, "seat, and outlet of the body")] = 0.150
    flap_travel_s: P[float, L(0.05, 5, "full stroke, 0.2-0.6 s; estimate")] = 0.35
    flap_cylinder_bore_m: P[float, L(0.01, 0.2, "piston")] = 0.032
    flap_cylinder_stroke_m: P[float, L(0.01, 0.5, "for the air used")] = 0.080
    flap_cylinder_lag_s: P[float, L(0.01, 1, "pressure in the cylinder: dead time of 50-100 ms")] = 0.05
    flap_lever: P[float, L(0.05, 5, "force at the middle of the flap / force of the piston; estimate")] = 0.6
    flap_spring_n: P[float, L(10, 5e3, "closing force at the middle of the flap; estimate")] = 120.0
    flap_discharge_coefficient: P[float, L(0.3, 1, "Cd of the open flap for air")] = 0.6
    # vent and purge
    vent_fitted: P[float, L(0, 1, "without: the body fills through line and leaks", ("none", "fitted"))] = 1.0
    vent_bore_m: P[float, L(0.003, 0.1, "spring-open vent valve")] = 0.015
    vent_discharge_coefficient: P[float, L(0.3, 1, "Cd")] = 0.62
    vent_valve_s: P[float, L(0.005, 1, "first-order lag of vent and purge valve")] = 0.05
    purge_fitted: P[float, L(0, 1, "false-air valve at the feed point", ("none", "fitted"))] = 1.0
    purge_loss: P[float, L(0.1, 50, "K of the open false-air valve, on the line bore")] = 1.5
    # vessel below
    vessel_bore_m: P[float, L(0.1, 5, "upright cylinder")] = 0.60
    vessel_capacity_m3: P[float, L(0.005, 20, "up to the flap; product above it stands in the flap")] = 0.120
    vessel_probe_height_m: P[float, L(0.05, 10, "high-level probe above the floor")] = 0.25
    vessel_probe_radius_m: P[float, L(0, 2.5, "from the axis; the wall sees the heap last")] = 0.25
    vessel_probe_delay_s: P[float, L(0, 10, "of the probes themselves, both edges")] = 0.0
    vessel_low_probe_height_m: P[float, L(0.02, 10, "low-level probe above the floor")] = 0.05
    vessel_low_probe_radius_m: P[float, L(0, 2.5, "from the axis")] = 0.10
    vessel_pressure_pa_g: P[float, L(-5e3, 2e4, "under the flap: steam, a blower, an extraction")] = 0.0
    vessel_inflow_kg_h: P[float, L(0, 2e4, "other product into it: second receiver, sacks")] = 0.0
    vessel_curtain_kg_s: P[float, L(0.01, 1e3, "curtain over the probe; 1000 = never")] = 0.3
    vessel_demand_kg_h: P[float, L(0, 2e4, "what the consumer takes")] = 850.0
    vessel_start_kg: P[float, L(0, 5e3, "in the vessel at power-up")] = 0.0
    # feed
    feed_limit_kg_s: P[float, L(0.005, 10, "what the feed point can give while permitted")] = 0.50
    feed_variation: P[float, L(0, 0.5, "standard deviation of the feed, as a share")] = 0.03
    feed_variation_s: P[float, L(0.05, 60, "correlation time of that variation")] = 1.0
    # material
    material_bulk_density_kg_m3: P[float, L(50, 3_000, "buckwheat flour 500-600; from memory")] = 550.0
    material_particle_density_kg_m3: P[float, L(200, 8_000, "flour 1,400; from memory")] = 1400.0
    material_particle_size_m: P[float, L(1e-6, 1e-2, "mean; flour 0.1 mm")] = 1.2e-4
    material_velocity_ratio: P[float, L(0.2, 1, "solids/air; Hinkle 0.84, bends slow it")] = 0.73
    material_pick_up_m_s: P[float, L(3, 40, "fine powders 10.2-12.2 m/s and 20 % (Mills 2010)")] = 14.0
    material_flow_factor: P[float, L(0, 1, "of the Beverloo rate; fine powder 0.1-0.3, bridging 0")] = 0.4
    material_fluidised_factor: P[float, L(0, 1, "the same while fluidising air is on; estimate")] = 0.9
    material_beverloo_c: P[float, L(0.4, 0.7, "C, 0.55-0.65 (Beverloo, Leniger, van de Velde 1961)")] = 0.58
    material_beverloo_k: P[float, L(1, 3, "k, 1.4; particle shape up to 3")] = 1.4
    material_repose_rad: P[float, L(0.2, 1.2, "angle of repose; 0.7 is 40 degrees")] = 0.7
    material_tail_kg: P[float, L(0, 5, "last of a batch trickles; estimate")] = 0.3
    material_hold_pa_v: P[float, L(10, 1e4, "holds the product in the open flap; estimate")] = 400.0
    # transmitters, 4-20 mA
    transmitter_vacuum_range_pa_v: P[float, L(1e3, 1e5, "vacuum at 20 mA")] = 100e3
    transmitter_vacuum_side: P[float, L(0, 1, "clean side reads the filter too", ("dirty", "clean"))] = 0.0
    transmitter_vacuum_zero: P[float, L(0, 1, "absolute: 101.325 kPa less", ("room", "standard"))] = 0.0
    transmitter_vacuum_lag_s: P[float, L(0.001, 60, "clean impulse line 50 ms, caked 10-30 s")] = 0.05
    transmitter_supply_range_pa_g: P[float, L(1e5, 2e6, "gauge pressure at 20 mA")] = 10e5
    transmitter_supply_lag_s: P[float, L(0.001, 60, "")] = 0.05
    transmitter_dp_range_pa: P[float, L(1e3, 5e4, "pressure drop of the filter at 20 mA")] = 20e3
    transmitter_dp_lag_s: P[float, L(0.001, 60, "")] = 0.05
    transmitter_noise_ua: P[float, L(0, 200, "standard deviation; 8 uA is 0.05 % of span")] = 8.0
    # pressure switches
    switch_vacuum_pa_v: P[float, L(500, 9e4, "closes here; on the side of the transmitter")] = 1_200.0
    switch_vacuum_band_pa: P[float, L(10, 1e4, "opens so much lower; 0.5-1 kPa, estimate")] = 500.0
    switch_supply_pa_g: P[float, L(1e5, 1e6, "closes here")] = 480e3
    switch_supply_band_pa: P[float, L(1e3, 1e5, "opens so much lower; 0.3 bar, estimate")] = 30e3
    switch_filter_s: P[float, L(0, 1, "of the switch, both edges; 50-200 ms, estimate")] = 0.1
# fmt: on


def limits() -> dict[str, Limits]:
    """Each parameter's limits, in the order of `PlantParameters`."""
    hints = get_type_hints(PlantParameters, include_extras=True)
    return {name: get_args(hint)[1] for name, hint in hints.items()}


CURVE_POINTS = 9


def problems(parameters: PlantParameters) -> list[str]:
    """What is wrong with these parameters, all at once: outside a limit, or at odds with each other."""
    values = parameters._asdict()
    found = [
        f"{name} = {values[name]:g} is outside {limit.low:g} .. {limit.high:g} ({limit.why})"
        for name, limit in limits().items()
        if not limit.low <= values[name] <= limit.high
    ]
    for i in range(1, CURVE_POINTS):
        if values[f"source_vacuum_share_{i}"] <= values[f"source_vacuum_share_{i - 1}"]:
            found.append(f"source_vacuum_share_{i} must be over source_vacuum_share_{i - 1}")
        if values[f"source_flow_share_{i}"] > values[f"source_flow_share_{i - 1}"]:
            found.append(f"source_flow_share_{i} must not be over source_flow_share_{i - 1}")
    if parameters.source_kind > 0.0 and parameters.source_motive_m3_s_pa > 0.0:
        found.append("source_motive_m3_s_pa must be 0: blower and vane pump (source_kind) take no supply air")
    if parameters.source_kind == 0.0 and parameters.source_bypass > 0.0:
        found.append("source_bypass belongs to a motor: an ejector is switched by its valve (source_kind)")
    if parameters.tank_groups > parameters.tank_elements:
        found.append("tank_groups cannot be over tank_elements: a group has one element at least")
    if parameters.line_lift_m > parameters.line_length_m:
        found.append("line_lift_m is part of line_length_m and cannot be over it")
    if parameters.body_useful_volume_m3 >= parameters.body_gas_volume_m3:
        found.append("body_useful_volume_m3 must be under body_gas_volume_m3 (filters above the batch)")
    for name in ("vessel_probe", "vessel_low_probe"):
        if 2 * values[f"{name}_radius_m"] > parameters.vessel_bore_m:
            found.append(f"{name}_radius_m puts the probe outside the vessel (vessel_bore_m)")
    if parameters.vessel_low_probe_height_m >= parameters.vessel_probe_height_m:
        found.append("vessel_low_probe_height_m must be under vessel_probe_height_m")
    return found
