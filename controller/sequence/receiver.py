"""The receiver, whole: what every engine runs, proves, draws and lists."""

from controller.image import JOG, Inputs, Outputs
from controller.sequence.definition import Definition
from controller.sequence.interlocks import INTERLOCKS
from controller.sequence.last_word import Facts
from controller.sequence.outputs import OUTPUTS
from controller.sequence.presets import Presets, limits
from controller.sequence.refusals import REFUSALS
from controller.sequence.rows import ROWS
from controller.sequence.steps import DAY_MS, FAULT, STATES, Step

RECEIVER = Definition(
    step=Step,
    states=STATES,
    fault=FAULT,
    inputs=Inputs,
    outputs=Outputs,
    presets=Presets,
    limits={name: (x.low, x.high) for name, x in limits().items()},
    facts=Facts,
    interlocks=INTERLOCKS,
    rows=ROWS,
    output_lines=OUTPUTS,
    refusals=REFUSALS,
    ranges={
        "vacuum_ua": (0, 24_000),
        "supply_air_ua": (0, 24_000),
        "filter_dp_ua": (0, 24_000),
        "image_age_ms": (0, DAY_MS),
        "jog": (0, len(JOG) - 1),
        "io_life": (0, 65_535),
        "scans_late": (0, 1_000_000),
    },
)
