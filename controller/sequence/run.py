"""Facts that remember the run: latch, order, power-up, halt, and time in the step."""

from controller.sequence.definition import DAY_MS, fact, memory
from controller.sequence.level import Level
from controller.sequence.steps import (
    AT_REST,
    FAULT,
    IDLE,
    NO_ORDER,
    REST,
    RUNNING,
    TO_CLEAN,
    TO_EMPTY,
    TO_RUN,
)


class Run(Level):
    """The run, and the clocks of the steps."""

    trip = fact[bool]()  # from the tables
    wait = fact[bool]()
    start_accepted = fact[bool]()  # guards
    clean_accepted = fact[bool]()
    empty_accepted = fact[bool]()
    warn_cancelled = fact[bool]()

    @memory(first=False)
    def run(s) -> bool:
        """The run latch: taken by an accepted start, lost by stop, halt, a cancelled warning, any trip."""
        return (s.was.run or s.start_accepted) and not (s.stop or s.halt or s.warn_cancelled or s.trip)

    @memory(first=NO_ORDER)
    def order(s) -> int:
        """What was asked for at rest and is being done."""
        return (
            NO_ORDER
            if s.step in (REST, FAULT)
            else TO_RUN
            if s.start_accepted
            else TO_CLEAN
            if s.clean_accepted
            else TO_EMPTY
            if s.empty_accepted
            else s.was.order
        )

    @memory(first=False)
    def powered(s) -> bool:
        """False in the first scan after power-up, and only there."""
        return True

    @memory(first=False, kept=True)
    def fault_stored(s) -> bool:
        """A fault outlives the power: only a reset ends it."""
        return s.step == FAULT

    @memory(first=False, kept=True)
    def rest_stored(s) -> bool:
        """The machine stood at rest, warning or not, when the power went."""
        return s.step in IDLE

    @memory(first=False)
    def halted(s) -> bool:
        """At rest because of a halt; the flap output stays as it was until an order is accepted."""
        return (
            s.step in IDLE and (s.was.halted or s.halt) and not (s.manual and s.manual_ms >= s.set.warning_ms)
        )

    @memory(first=False)
    def horn_silenced(s) -> bool:
        """The horn of this fault was acknowledged."""
        return s.step == FAULT and (s.was.horn_silenced or s.acknowledged)

    # ---- time ----------------------------------------------------------------------------------------
    in_step_ms = fact(lambda s: min(s.was.step_ms + s.dt_ms, DAY_MS))
    worked_ms = fact(lambda s: s.in_step_ms - s.was.waited_ms)

    @memory(first=0)
    def step_ms(s) -> int:
        """Time in the step, 0 in the scan that enters it."""
        return s.in_step_ms if s.step == s.was.step else 0

    @memory(first=0)
    def waited_ms(s) -> int:
        """Of the time in the step, what was spent waiting for air or for the motor."""
        return (
            s.was.waited_ms + (s.in_step_ms - s.was.step_ms if s.wait else 0) if s.step == s.was.step else 0
        )

    @memory(first=0)
    def flash_ms(s) -> int:
        """Runs round once a second, for the flashing lamp."""
        return s.was.flash_ms + s.dt_ms if s.was.flash_ms < 1_000 else 0

    # ---- the flap where nothing calls for it ---------------------------------------------------------
    @memory(first=False)
    def at_its_place(s) -> bool:
        """At rest the flap has reached the place that its output asks for."""
        return (
            s.step in AT_REST
            and s.was.step in AT_REST
            and s.driven
            and not s.manual
            and not s.flap_moving
            and (s.was.at_its_place or s.flap_at_place)
        )

    @memory(first=False)
    def flap_called(s) -> bool:
        """The closing coil may hold: from the first step of a run until a fault or manual mode."""
        return s.step != FAULT and not s.manual and (s.step in RUNNING or s.was.flap_called)
