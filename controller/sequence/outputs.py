"""What each step energises, and the last word on it."""

from controller.sequence.definition import Output
from controller.sequence.last_word import Facts
from controller.sequence.steps import (
    BUT_FAULT,
    CLEAR,
    CONVEY,
    DRAIN,
    DRAWING,
    EMPTYING,
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

BYPASSED = (SEAL, REOPEN, *EMPTYING, *FILTER_CLEAN, LEVEL_HOLD)  # a motor may run, and not act on the body
BY_HAND = (REST, FAULT)

OUTPUTS = (
    # name                     in                        when                     never while
    Output("source_cmd",       DRAWING,                  unless=Facts.source_barred, remembered=True),
    Output("source_cmd",       BYPASSED,                 Facts.runs_on_bypass,    Facts.source_barred),
    Output("source_cmd",       BY_HAND,                  Facts.jog_source,        Facts.source_barred),
    Output("bypass_close_cmd", DRAWING,                  Facts.bypassed,          Facts.flap_not_sure),
    Output("bypass_close_cmd", BY_HAND,                  Facts.jog_bypass,        Facts.flap_not_sure),
    Output("flap_open_cmd",    (REOPEN, OPEN, DRAIN),    Facts.driven,            Facts.flap_open_barred, remembered=True),
    Output("flap_open_cmd",    FILTER_CLEAN,             Facts.open_while_cleaned, Facts.flap_open_barred),
    Output("flap_open_cmd",    (REST, WARNING),          Facts.flap_frozen_open,  Facts.flap_open_barred),
    Output("flap_open_cmd",    BY_HAND,                  Facts.jog_flap_open,     Facts.flap_open_barred),
    Output("flap_close_cmd",   BUT_FAULT,                Facts.flap_close_called, remembered=True),
    Output("flap_close_cmd",   BY_HAND,                  Facts.jog_flap_close),
    Output("vent_close_cmd",   (SEAL, *DRAWING)),
    Output("vent_close_cmd",   BY_HAND,                  Facts.jog_vent),
    Output("pulse_1_cmd",      (PULSE,),                 Facts.first_called,      Facts.pulse_barred),
    Output("pulse_1_cmd",      (REOPEN,),                Facts.first_reopens,     Facts.pulse_barred),
    Output("pulse_1_cmd",      BY_HAND,                  Facts.jog_pulse_1,       Facts.pulse_barred),
    Output("pulse_2_cmd",      (PULSE,),                 Facts.second_called,     Facts.pulse_barred),
    Output("pulse_2_cmd",      (REOPEN,),                Facts.second_reopens,    Facts.pulse_barred),
    Output("pulse_2_cmd",      BY_HAND,                  Facts.jog_pulse_2,       Facts.pulse_barred),
    Output("pulse_3_cmd",      (PULSE,),                 Facts.third_called,      Facts.pulse_barred),
    Output("pulse_3_cmd",      (REOPEN,),                Facts.third_reopens,     Facts.pulse_barred),
    Output("pulse_3_cmd",      BY_HAND,                  Facts.jog_pulse_3,       Facts.pulse_barred),
    Output("fluidise_cmd",     (DRAIN,),                 Facts.fluid_called,      Facts.fluidise_barred),
    Output("fluidise_cmd",     BY_HAND,                  Facts.jog_fluidise,      Facts.fluidise_barred),
    Output("purge_cmd",        (PURGE, CLEAR)),
    Output("purge_cmd",        BY_HAND,                  Facts.jog_purge),
    Output("feed_cmd",         (CONVEY,)),
    Output("feed_cmd",         BY_HAND,                  Facts.jog_feed),
    Output("run_lamp",         (WARNING, *WORKING),      Facts.runs_steadily),
    Output("run_lamp",         (SEAL, OPEN, LEVEL_HOLD), Facts.waiting_armed),
    Output("fault_lamp",       (FAULT,)),
    Output("horn",             (WARNING,)),
    Output("horn",             (FAULT,),                 Facts.horn_wanted),
    Output("horn",             BY_HAND,                  Facts.manual_begins),
)  # fmt: skip
