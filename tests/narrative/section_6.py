"""Sections 6 and 7: records, and the plain limits; and what the proofs need for themselves."""

from narrative.rules import R

RECORDS = (
    R("Cycle record: number, start in UTC and in milliseconds, milliseconds of each step, and why each step ended.",
      "code controller/records.py::CycleRecord", "code controller/records.py::StepTaken",
      shown=("simulate::the_journal_has_each_cycle_with_its_steps_adding_up_and_the_trip_with_its_grounds",)),
    R("Cycle record: peak and mean vacuum, air-only vacuum, what ended the fill, flap travel both ways, pulses.", "code controller/records.py::CycleRecord",
      shown=("simulate::a_record_holds_what_the_cycle_showed", "cycle_book::a_stop_ends_the_fill_and_completes_the_cycle",
             "cycle_book::an_empty_hopper_ends_the_batch_early")),
    R("Cycle record: filter dp before and after cleaning.", "code controller/simulate/cycle_measures.py::Gauges",
      shown=("cycle_measures::the_filter_is_looked_at_after_the_mask_and_in_the_last_second_before_its_cleaning",)),
    R("Cycle record: lowest and resting supply pressure, delivered mass (true where simulated), air used.", "code controller/records.py::CycleRecord",
      shown=("simulate::a_record_holds_what_the_cycle_showed", "simulate::the_air_of_a_batch_is_what_the_nozzle_blows_at_supply_pressure",
             "cycle_book::product_is_booked_to_the_cycle_that_dropped_it")),
    R("Cycle record: retries, resumes, on board and line loaded at the start, alarms, recipe and software version, whether simulated.",
      "code controller/records.py::CycleRecord",
      shown=("cycle_book::a_reopening_is_counted_and_the_batch_goes_on", "cycle_book::a_batch_that_waited_for_air_is_one_cycle_with_a_resume",
             "cycle_measures::the_settings_name_the_recipe_and_other_settings_another")),
    R("Nothing recorded is lost when the process is killed.", "code controller/reporting/journal.py::Journal",
      shown=("journal::a_killed_writer_loses_no_finished_cycle_and_its_journal_opens_again", "journal::a_fault_is_on_the_disk_at_once")),
    R("Trends over cycles: rate, air per tonne, and warnings of drift.", missing="Not named here yet: the drift of the records is being built."),
    R("Counters with a limit and a journaled reset: strokes, shots, starts, hours, kg, air.", missing="Not named here yet: counters are being built."),
    R("Event journal: every state change, alarm move, command with where from and why refused.", "event STEP_CHANGED", "event COMMAND_ACCEPTED",
      "event COMMAND_REFUSED", "code controller/reporting/journal.py::Journal",
      shown=("simulate::the_journal_has_each_cycle_with_its_steps_adding_up_and_the_trip_with_its_grounds",
             "simulate::resets_that_were_refused_are_counted_with_the_newest_reason")),
    R("Event journal: changes of settings.", missing="Settings are fixed for a run; run.json holds them."),
    R("Trace: inputs and outputs, change-coded, so that a run can be replayed and must give the same outputs.", missing="Not built yet."),
)

LIMITS = (
    R("Ordinary software: no performance level, no SIL; emergency stop, guards and dust-explosion protection are outside it. README, page and reports say so.",
      "code controller/sheets/page.py::CAUTION", "code controller/station_check/report.py::CAUTIONS",
      shown=("simulate::the_head_says_that_it_is_simulated_and_no_safety_function",
             "cause_effect::the_page_has_the_picture_the_sheet_and_the_cautions_and_fetches_nothing")),
    R("Off-line pulses, stored air during FAULT and a spring-closed flap on loss of power are hazards the guards must cover.",
      missing="To be said in the README."),
)

PROOFS = (
    R("Every state has a way back to a delivering receiver.", "code controller/engines/dead_ends.py::DeadEnds",
      shown=("dead_ends::every_state_has_a_way_back_to_a_delivering_receiver", "dead_ends::a_planted_dead_end_is_found")),
    R("Every row fires and is blocked, every line of every table is seen both ways.", "code controller/sequence/rows.py::ROWS",
      shown=("every_line::every_line_was_seen_at_work_and_seen_held_back", "random_runs::every_row_fires_and_is_blocked",
             "random_runs::every_line_of_the_other_tables_and_every_condition_is_seen_both_ways")),
    R("All executors agree in every scan.", "code controller/engines/as_written.py::AsWritten", "code controller/engines/generated.py::source",
      shown=("random_runs::the_executors_agree_in_every_scan",)),
    R("Each claim is proved, was seen red on a planted mistake, and is reached in runs.", "code controller/engines/claims.py::CLAIMS",
      shown=("claims::each_claim_is_proved_for_all_inputs_presets_and_histories", "claims::each_claim_was_seen_red",
             "random_runs::each_claim_is_reached_from_power_up_and_holds")),
    R("Memory stays within bounds, so that it fits in 32 bits for ever; the proofs build on it.", "code controller/engines/claims.py::BOUNDS",
      shown=("the step is a known one", "the order is a known one", "what is on board is known, or known to be unknown",
             "clocks count up from nothing and stop at a day", "the time to open is part of the time in the step", "counts are bounded",
             "pressures are bounded", "what only watches counts from nothing")),
    R("Whatever is not at rest was ordered.", "fact order",
      shown=("whatever is not at rest was ordered", "a run that is warned of has its latch")),
)
