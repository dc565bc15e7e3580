"""One connection to the panel socket of a rig, for the commands of the command line."""

import socket
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Literal, Self

from pydantic import ValidationError

from controller.panel.messages import Answer, Asked, line_of
from controller.panel.place import PanelError, make_private, socket_path

Which = Literal["rig", "plant"]
PATIENCE_S = 5.0
HOW_TO_START = {
    "rig": "receiver run {0} (--io simulated: with a plant in it, without a machine)",
    "plant": "receiver plant {0}",
}


class NotRunningError(PanelError):
    """Nothing listens at the socket of the station."""


class Client:
    """
    A connection; one answer for each `ask`, in order. Closing it lets go of what it holds.

    Raises:
        NotRunningError: no rig, or no plant, of this station runs.
        PanelError: the socket cannot be reached for another reason.
    """

    def __init__(self, station: Path, which: Which = "rig") -> None:
        path = socket_path(station, plant=which == "plant")
        named = station.name or station
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.settimeout(PATIENCE_S)
        try:
            if path.parent.exists():
                make_private(path.parent)  # never talk to what somebody else put there
            self._socket.connect(str(path))
        except (FileNotFoundError, ConnectionRefusedError):
            self._socket.close()
            how = HOW_TO_START[which].format(named)
            ending = ".plant.sock" if which == "plant" else ".sock"
            alike = f"{path.name.removesuffix(ending)[:-8]}{'[0-9a-f]' * 8}{ending}"
            others = any(other != path for other in path.parent.glob(alike))
            beside = f"; one of another folder named {named} may: name its folder" if others else ""
            msg = f"no {which} of {named} runs (looked for {path}){beside}; start one: {how}"
            raise NotRunningError(msg) from None
        except OSError as error:
            self._socket.close()
            msg = f"{path}: does not answer: {error.strerror or error}"
            raise PanelError(msg) from None
        except PanelError:
            self._socket.close()
            raise
        self._lines = self._socket.makefile("rb")
        self._path = path

    def ask(self, asked: Asked, within_s: float = PATIENCE_S) -> Answer:
        """
        The answer to a request.

        Raises:
            PanelError: the connection broke, or what came is no answer.
        """
        self._socket.settimeout(within_s)
        try:
            with suppress(BrokenPipeError):  # ended by the other side, which may have said why
                self._socket.sendall(line_of(asked))
            line = self._lines.readline()
        except TimeoutError:
            msg = f"{self._path}: no answer within {within_s:g} s; the rig may hang: use the emergency stop"
            raise PanelError(msg) from None
        except OSError as error:
            line, said = b"", f": {error.strerror}"
        else:
            said = ""
        if not line:
            msg = f"{self._path}: the connection was ended{said}"
            raise PanelError(msg)
        try:
            return Answer.model_validate_json(line)
        except ValidationError as error:
            msg = f"{self._path}: answers in another form ({error.error_count()} problems); another version?"
            raise PanelError(msg) from None

    def close(self) -> None:
        """Ends the connection; may be called twice."""
        self._lines.close()
        self._socket.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
