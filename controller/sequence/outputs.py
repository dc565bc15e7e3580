"""What each step energises, and the last word on it."""

from controller.sequence.definition import Output
from controller.sequence.guards import Facts
from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAWING,
    FAULT,
    FILTER_CLEAN,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    PURGE,
    REOPEN,
    REST,
    SEAL,
    WARNING,
    WORKING,
)  # fmt: skip

OUTPUTS = (
    # name               in                                       when                    never while
    Output("source_cmd",     DRAWING,                              unless=Facts.flap_lost),
    Output("flap_open_cmd",  (REOPEN, OPEN, DRAIN, *FILTER_CLEAN), unless=Facts.flap_open_barred, remembered=True),
    Output("flap_open_cmd",  (REST, WARNING),                         Facts.flap_frozen_open,        Facts.flap_open_barred, remembered=True),
    Output("vent_close_cmd", (SEAL, *DRAWING)),
    Output("pulse_1_cmd",      (PULSE,),                             Facts.pulse_called,            Facts.pulse_barred,     remembered=True),
    Output("pulse_1_cmd",      (REOPEN,),                            Facts.reopen_pulse_called,     Facts.pulse_barred,     remembered=True),
    Output("bypass_close_cmd", DRAWING, Facts.nothing_yet),
    Output("flap_close_cmd", DRAWING, Facts.nothing_yet),
    Output("pulse_2_cmd", DRAWING, Facts.nothing_yet),
    Output("pulse_3_cmd", DRAWING, Facts.nothing_yet),
    Output("fluidise_cmd", DRAWING, Facts.nothing_yet),
    Output("purge_cmd",      (PURGE, CLEAR)),
    Output("feed_cmd",       (CONVEY,)),
    Output("run_lamp",       (WARNING, *WORKING)),
    Output("run_lamp",       (LEVEL_HOLD,),                              Facts.waiting_armed),
    Output("fault_lamp",     (FAULT,)),
    Output("horn",           (WARNING,)),
    Output("horn",           (FAULT,),                             Facts.horn_wanted),
)  # fmt: skip
