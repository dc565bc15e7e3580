"""Facts about people: commands as edges, the place they come from, and the manual mode."""

from controller.image import Inputs
from controller.sequence.definition import DAY_MS, Scan, fact, memory
from controller.sequence.presets import Presets
from controller.sequence.steps import FAULT


class Commands(Scan[Inputs, Presets]):
    """What was asked for, from where, and whether that place may."""

    step = fact[int]()  # from ROWS
    manual_refused = fact[bool]()  # from REFUSALS
    recipe_refused = fact[bool]()
    relearn_refused = fact[bool]()
    safety_chain_open_acts = fact[bool]()  # from INTERLOCKS
    flap_not_closed_acts = fact[bool]()
    flap_lost_closed_acts = fact[bool]()
    flap_not_open_acts = fact[bool]()
    flap_lost_open_acts = fact[bool]()
    flap_disagrees_acts = fact[bool]()
    flap_moved_acts = fact[bool]()
    supply_lost = fact[bool]()  # transmitters
    overload = fact[bool]()  # contacts
    inputs_old = fact[bool]()

    # ---- commands ------------------------------------------------------------------------------------
    start_at_machine = fact[bool](
        lambda s: s.now.start_pb or (s.now.start_request and not s.now.request_remote)
    )
    start_from_remote = fact(lambda s: s.now.start_request and s.now.request_remote)
    start_wanted = fact[bool](lambda s: s.start_at_machine or s.start_from_remote)
    reset_at_machine = fact[bool](
        lambda s: s.now.reset_pb or (s.now.reset_request and not s.now.request_remote)
    )
    reset_from_remote = fact(lambda s: s.now.reset_request and s.now.request_remote)
    reset_wanted = fact[bool](lambda s: s.reset_at_machine or s.reset_from_remote)
    start_was_held = fact(lambda s: s.was.start_held)
    start_edge = fact(lambda s: s.start_wanted and not s.was.start_held)
    reset_edge = fact(lambda s: s.reset_wanted and not s.was.reset_held)
    stop = fact(lambda s: not s.now.stop_healthy or s.now.stop_request)
    stop_asked = fact(lambda s: s.now.stop_request)
    halt = fact(lambda s: s.now.halt_request)
    acknowledged = fact(lambda s: s.now.acknowledge_pb or s.now.acknowledge_request)
    clean_asked = fact(lambda s: s.now.clean_request)
    recipe_accepted = fact(lambda s: s.now.recipe_request and not s.recipe_refused)
    relearn_accepted = fact(lambda s: s.now.relearn_request and not s.relearn_refused)
    safety_chain_open = fact(lambda s: not s.now.safety_chain_healthy)
    stop_contact_open = fact(lambda s: not s.now.stop_healthy)

    @memory(first=True)
    def start_held(s) -> bool:
        """Start as last seen. True at power-up: a button held through it starts nothing."""
        return s.start_wanted

    @memory(first=True)
    def reset_held(s) -> bool:
        """Reset as last seen."""
        return s.reset_wanted

    # ---- one place has control; stop, halt and acknowledge are heard from everywhere -----------------
    remote_in_control = fact(
        lambda s: s.now.remote_selected if s.set.selector_fitted else s.now.remote_control
    )
    remote_may = fact(lambda s: s.remote_in_control and s.set.remote_start_allowed)
    start_out_of_place = fact(
        lambda s: (
            s.start_wanted
            and not (s.start_at_machine and not s.remote_in_control)
            and not (s.start_from_remote and s.remote_may)
        )
    )
    request_out_of_place = fact(lambda s: not s.remote_may if s.now.request_remote else s.remote_in_control)
    reset_out_of_place = fact(
        lambda s: (
            s.reset_wanted
            and not (s.reset_at_machine and (s.was.fault_at_machine or not s.remote_in_control))
            and not (s.reset_from_remote and s.remote_may and not s.was.fault_at_machine)
        )
    )

    @memory(first=False, kept=True)
    def fault_at_machine(s) -> bool:
        """This fault may be reset only where the machine is seen: safety circuit or flap."""
        return s.step == FAULT and (
            s.was.fault_at_machine
            or s.safety_chain_open_acts
            or s.flap_not_closed_acts
            or s.flap_lost_closed_acts
            or s.flap_not_open_acts
            or s.flap_lost_open_acts
            or s.flap_disagrees_acts
            or s.flap_moved_acts
        )

    # ---- manual mode: one output at a time, held -----------------------------------------------------
    manual_accepted = fact(lambda s: s.now.manual_request and not s.manual_refused)
    manual_remote = fact(lambda s: s.now.request_remote or s.remote_in_control)
    manual_idle_over = fact(lambda s: s.was.jog_age_ms >= s.set.manual_idle_ms)

    @memory(first=False)
    def manual(s) -> bool:
        """Manual mode; it ends when asked to, or when nothing was held for long."""
        return s.manual_accepted or (s.was.manual and not s.now.automatic_request and not s.manual_idle_over)

    @memory(first=0)
    def manual_ms(s) -> int:
        """Time in manual mode; the horn sounds for the first of it."""
        return min(s.was.manual_ms + s.dt_ms, DAY_MS) if s.manual and s.was.manual else 0

    @memory(first=0)
    def jog_age_ms(s) -> int:
        """Time since an output was last asked for in manual mode."""
        return (
            0
            if s.now.jog > 0 or not s.manual or s.manual_accepted
            else min(s.was.jog_age_ms + s.dt_ms, DAY_MS)
        )

    jog_heard = fact(lambda s: s.now.jog > 0 and not s.manual_remote)
    jog_let_go = fact(lambda s: s.now.jog == 0 and s.jog_age_ms >= s.set.jog_renew_ms)
    jog_dropped = fact(
        lambda s: s.stop or s.halt or s.safety_chain_open or s.supply_lost or s.inputs_old or s.overload
    )

    @memory(first=False)
    def jog_barred(s) -> bool:
        """What dropped a held output stays its end: it must be let go and asked for again."""
        return s.jog_dropped or s.manual_ms < s.set.warning_ms or (s.was.jog_barred and not s.jog_let_go)

    @memory(first=0)
    def jogged(s) -> int:
        """The output held in manual mode, as `JOG` counts."""
        return (
            0
            if not s.manual or s.jog_barred or s.manual_remote or s.jog_let_go
            else s.now.jog
            if s.jog_heard
            else s.was.jogged
        )
