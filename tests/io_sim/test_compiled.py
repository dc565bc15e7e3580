"""The compiled kernel and the interpreted one are the same plant."""

import math

import pytest
from plant_options import OPTIONS, random_run

from controller.image import Outputs
from io_sim import kernel
from io_sim.failures import CATALOGUE
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant

pytest.importorskip("numba")
from io_sim.compiled import compiled_advance, compiled_module, kernel_text

DRAW = Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True)
OPEN = Outputs(flap_open_cmd=True)
CYCLE = [
    (DRAW, 300),
    (DRAW._replace(feed_cmd=False, purge_cmd=True), 100),
    (Outputs(), 40),
    (OPEN, 200),
    (OPEN._replace(pulse_1_cmd=True), 12),
    (OPEN, 80),
    (Outputs(), 60),
]


@pytest.fixture(scope="module", autouse=True)
def cache(tmp_path_factory):
    """Compile into a folder of this test run, so that nothing old is found."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("VACUUM_RECEIVER_CACHE", str(tmp_path_factory.mktemp("kernel")))
        yield


def close(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)


def test_interpreted_and_compiled_agree_in_every_scan_of_a_run_with_all_failures():
    """Demanded: all inputs equal in the same scan, all floats within 1e-9."""
    parameters = PlantParameters(vessel_start_kg=30.0)
    plants = [Plant(parameters, seed=5), Plant(parameters, seed=5, compiled=True)]
    for mode in (None, *CATALOGUE):
        for plant in plants:
            if mode:
                plant.fail(mode.id, 0.7)
        fewer = 16 if mode and mode.part == "instruments" else 4  # these show in a few scans
        for outputs, scans in CYCLE:
            for _ in range(scans // fewer):
                first, second = (plant.advance(outputs, 10) for plant in plants)
                assert first == second
        for plant in plants:
            if mode:
                plant.heal(mode.id)
    pairs = zip(*(plant.state for plant in plants), strict=True)

    assert all(close(one, other) for one, other in pairs)
    assert plants[0].state.delivered_kg > 1.0


@pytest.mark.parametrize("option", OPTIONS)
def test_interpreted_and_compiled_agree_with_every_option(option):
    """Demanded: all inputs equal in each move, all floats within 1e-9."""
    plants = [
        Plant(OPTIONS[option], step_ms=10, seed=3),
        Plant(OPTIONS[option], step_ms=10, seed=3, compiled=True),
    ]
    for outputs, struck, scans in random_run(11):
        readings = []
        for plant in plants:
            for failure, amount in struck:
                plant.fail(failure, amount)
            readings.append(plant.advance(outputs, 10 * scans))
        assert readings[0] == readings[1]
    pairs = zip(*(plant.state for plant in plants), strict=True)

    assert all(close(one, other) for one, other in pairs)


def test_interpreted_and_compiled_agree_on_failures_that_creep():
    plants = [Plant(seed=7), Plant(seed=7, compiled=True)]
    for plant in plants:
        plant.fail("flap_slow", 1.0, over_s=8.0)
        plant.fail("vacuum_line_caked", 0.5, over_s=3.0)
        plant.fail("supply_pressure_noisy", 0.3, over_s=20.0)
    for outputs, scans in CYCLE:
        for _ in range(scans // 4):
            first, second = (plant.advance(outputs, 50) for plant in plants)
            assert first == second
    amounts = [[plant.amount(mode.id) for mode in CATALOGUE] for plant in plants]

    assert amounts[0] == amounts[1]
    assert plants[0].amount("flap_slow") == 1.0
    assert 0.1 < plants[0].amount("supply_pressure_noisy") <= 0.3
    assert all(close(one, other) for one, other in zip(*(plant.state for plant in plants), strict=True))


def test_kernel_is_callable_from_other_compiled_code():
    from numba import njit

    advance = compiled_advance()
    plant = Plant(compiled=True)

    @njit
    def ten_scans(state, par, failures, outputs, inputs):
        for _ in range(10):
            advance(state, par, failures, outputs, inputs, 2, 0.005)

    held = plant._ints([int(value) for value in DRAW])
    ten_scans(plant._state, plant._par, plant._failures, held, plant._inputs)
    other = Plant()
    for _ in range(10):
        other.advance(DRAW, 10)

    assert plant.state == pytest.approx(other.state, rel=1e-9)


def test_cached_text_is_found_again_and_a_changed_callee_makes_another(tmp_path, monkeypatch):
    """Numba itself does not see a change of a callee in another file."""
    name = compiled_module(tmp_path).__name__
    before = kernel_text()
    assert compiled_module(tmp_path).__name__ == name

    monkeypatch.setattr("io_sim.filters.NO_CLOUD_KG", 2e-6)

    assert kernel_text() != before
    assert compiled_module(tmp_path).__name__ != name


def test_kernel_is_plain_python_without_numba():
    assert "numba" not in kernel.__dict__
