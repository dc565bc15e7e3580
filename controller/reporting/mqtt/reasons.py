"""
Why a broker is not reached, or takes nothing: in words for whoever has to put it right.

The numbers are the reason codes of MQTT 5.0 (OASIS, table 2-6); the library turns those of 3.1.1 into them.
"""

import aiomqtt
from paho.mqtt.reasoncodes import ReasonCode

from controller.reporting.services import Mqtt

LOST = 0x80

WORDS = {
    LOST: "the connection was lost",
    0x81: "the broker found a message malformed",
    0x82: "the broker found a breach of the protocol",
    0x83: "the broker refuses, and does not say why",
    0x84: "the broker does not speak this protocol: set protocol to the other one",
    0x85: "the broker does not take the client_id: all take 1 to 23 letters and digits",
    0x86: "the broker refuses user or password",
    0x87: "the broker does not allow this user to do that: its access list must let it",
    0x88: "the broker is not available",
    0x89: "the broker is busy",
    0x8A: "the broker has banned this client",
    0x8B: "the broker shuts down",
    0x8D: "the broker heard nothing for too long, or was not heard",
    0x8E: "another client came with the same client_id, which must be this receiver's alone",
    0x90: "the broker does not take the topic",
    0x93: "the broker was sent more at a time than it takes",
    0x95: "the broker finds a message too large",
    0x96: "the broker finds the messages too many",
    0x97: "a quota of the broker is used up",
    0x98: "an administrator of the broker has closed the connection",
    0x99: "the broker finds that a payload is not of the kind it says",
    0x9A: "the broker retains nothing, and so cannot show the state to who comes later",
    0x9B: "the broker does not take QoS 1",
    0x9C: "the broker says to use another one",
    0x9D: "the broker has moved",
    0x9F: "the broker finds the connections too many",
}


class NotTakenError(Exception):
    """The broker acknowledged a message as not taken (5.0 only: 3.1.1 has no words for it)."""

    def __init__(self, code: ReasonCode) -> None:
        super().__init__(_words(code))


def why(error: BaseException, mqtt: Mqtt, answer_s: float) -> str:
    """What went wrong, and where it can be put right."""
    broker = f"{mqtt.host}:{mqtt.port}"
    if isinstance(error.__cause__, aiomqtt.MqttCodeError):
        error = error.__cause__
    if isinstance(error, aiomqtt.MqttCodeError) and isinstance(error.rc, ReasonCode):
        return f"{broker}: {_words(error.rc)}"
    said = str(error) or type(error).__name__
    if "CERTIFICATE_VERIFY_FAILED" in said:
        found = said.partition("certificate verify failed: ")[2].partition(" (_ssl")[0]
        return f"{broker}: the broker's certificate is not trusted: {found}: see ca_file and host"
    if "Connection refused" in said:
        return f"{broker}: nobody listens there"
    if "timed out" in said:
        hint = "; perhaps it speaks 3.1.1 only" if mqtt.protocol == "5.0" else ""
        return f"{broker}: the broker did not answer within {answer_s:g} s{hint}"
    if isinstance(error, aiomqtt.MqttError):
        return f"{broker}: {said if not isinstance(error, aiomqtt.MqttCodeError) else WORDS[LOST]}"
    return said


def _words(code: ReasonCode) -> str:
    return WORDS.get(code.value, f"reason code {code.value:#04x}, {str(code).lower()}")
