"""Forced inputs: laid over the image between the wire and the sequence."""

from collections.abc import Mapping

from controller.image import Inputs

NEVER_ON_REAL_IO = (
    "stop_healthy", "safety_chain_healthy", "start_pb", "reset_pb", "acknowledge_pb", "remote_selected",
)  # fmt: skip
"""A force must neither hide a stop nor press a button of a real machine (common practice, no source)."""


class Forcing:
    """
    What is forced. Real I/O: in manual mode only; with the end of the mode it is gone, and stays gone.

    `over` is called once a scan, between `read` and the scan.
    """

    def __init__(self, *, real: bool) -> None:
        self._real = real
        self.forced: dict[str, int] = {}
        self.wire: dict[str, int] = {}  # what the forced points carry themselves, as of the last scan

    def put(self, forced: Mapping[str, int]) -> None:
        """These and no others."""
        self.forced = dict(forced)
        self.wire = {}

    def over(self, inputs: Inputs, *, manual: bool) -> Inputs:
        """The inputs that the sequence sees; `manual`: the mode stood before this scan."""
        if self._real and (
            not manual or inputs.automatic_request or self.forced.keys() & {*NEVER_ON_REAL_IO}
        ):
            self.put({})
        if not self.forced:
            return inputs
        self.wire = {name: int(getattr(inputs, name)) for name in self.forced}
        kinds = {name: type(Inputs._field_defaults[name]) for name in self.forced}
        return inputs._replace(**{name: kinds[name](value) for name, value in self.forced.items()})
