"""The figures, read back by the parser of the prometheus-client package."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from prometheus_client.parser import text_string_to_metric_families
from reporting.told import LINK, told_run

from controller.points import ANALOGS
from controller.reporting.views.prometheus import PASCALS, Family, Figures, Sample, exposition, families

FIGURES = Figures(
    900_500, 90_050, 2, 1_250, {"complete": 31, "trip FLAP_NOT_CLOSED": 1}, 210.5, {"NO_VACUUM": 2}
)


def figures(**link):
    run = told_run()
    return families(
        "R-101", run.nows[-1][1], run.readings[-1], LINK._replace(**link), FIGURES, simulated=True
    )


def parsed(text):
    return {family.name: family for family in text_string_to_metric_families(text)}


def test_a_parser_of_others_reads_every_figure_back():
    found, written = parsed(exposition(figures())), figures()
    for family in written:
        if not family.samples:
            continue
        read = found[family.name.removesuffix("_total") if family.kind == "counter" else family.name]
        assert (read.type, read.documentation) == (family.kind, family.help)
        assert [(s.name, s.labels, s.value) for s in read.samples] == [
            (family.name, dict(sample.labels), float(sample.value)) for sample in family.samples
        ]


def test_figures_are_what_the_run_is():
    found = parsed(exposition(figures()))
    states = {s.labels["state"]: s.value for s in found["receiver_state"].samples}
    assert sum(states.values()) == 1
    assert states[told_run().nows[-1][1].state] == 1
    supply = next(s for s in found["receiver_pressure_pascals"].samples if s.labels["reference"] == "gauge")
    assert 500_000 < supply.value < 700_000  # supply air of the example station: around 6 bar gauge
    assert found["receiver_up_seconds"].samples[0].value == 900.5
    assert found["receiver_simulated"].samples[0].value == 1
    assert all(s.labels["station"] == "R-101" for family in found.values() for s in family.samples)


def test_every_unit_of_the_points_has_its_pascals():
    assert {unit for unit, _ in ANALOGS.values()} == set(PASCALS)


def test_counters_end_in_total_and_gauges_do_not():
    """Naming of Prometheus: totals end in _total, base units in the plural."""
    for family in figures():
        assert (family.kind == "counter") == family.name.endswith("_total")
        assert not family.name.endswith(("_ms", "_kpa", "_kg", "_us"))


def test_what_cannot_be_trusted_has_no_sample():
    run = told_run()
    readings = [
        r._replace(signal="failed", value=None) if r.name == "vacuum_ua" else r for r in run.readings[-1]
    ]
    text = exposition(families("R-101", run.nows[-1][1], readings, LINK, FIGURES, simulated=False))
    points = {s.labels["point"] for s in parsed(text)["receiver_pressure_pascals"].samples}
    assert points == {"supply_air_ua"}
    health = {s.labels["point"]: s.value for s in parsed(text)["receiver_point_status"].samples}
    assert health["vacuum_ua"] == 1
    nothing = families(
        "R-101", run.nows[-1][1], [], LINK, FIGURES._replace(delivered_kg=math.nan), simulated=True
    )
    assert not {"receiver_delivered_kilograms", "receiver_pressure_pascals"} & set(
        parsed(exposition(nothing))
    )


def test_of_an_old_image_only_the_health_is_told():
    """Its values are still there, and are no longer those of the machine."""
    run = told_run()
    old = [r._replace(signal="old") for r in run.readings[-1]]
    found = parsed(exposition(families("R-101", run.nows[-1][1], old, LINK, FIGURES, simulated=False)))
    assert not {"receiver_pressure_pascals", "receiver_point_on"} & set(found)
    assert {s.value for s in found["receiver_point_status"].samples} == {1}


@given(
    labels=st.dictionaries(st.from_regex(r"\A[a-zA-Z][a-zA-Z0-9_]{0,8}\Z"), st.text(max_size=20), max_size=3),
       told=st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp", "Zs"]), min_size=1, max_size=20),
       value=st.floats(allow_nan=False, allow_infinity=False))  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_any_label_and_any_number_comes_back_as_it_was(labels, told, value):
    labels = {name: "".join(c for c in text if c == "\n" or c.isprintable()) for name, text in labels.items()}
    read = parsed(exposition([Family("a_figure", "gauge", told, [Sample(value, labels)])]))["a_figure"]
    assert read.samples[0].labels == labels
    assert read.samples[0].value == value


def test_a_wrong_name_a_wrong_label_and_a_name_twice_are_refused():
    one = Family("a", "gauge", "a", [Sample(1.0)])
    for bad in ([one, one], [one._replace(name="9a")], [one._replace(samples=[Sample(1.0, {"__a": "b"})])]):
        with pytest.raises(ValueError, match="is no name"):
            exposition(bad)
