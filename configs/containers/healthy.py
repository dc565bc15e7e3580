"""
Health check inside a container: does the rig, or the plant, answer at its panel socket?

Called as `healthy.py STATION rig|plant`. Exit code 0: it answered; 1: it did not, and why. It only asks where
the rig stands: nothing is changed by it, and a receiver in a fault is a healthy container. In plain JSON, as
the panel's own client would take half a second of a processor each time.
"""

import json
import socket
import sys
from pathlib import Path

from controller.panel.place import PanelError, socket_path

PATIENCE_S = 5.0
KINDS = ("rig", "plant")


def main(station: str, which: str) -> int:
    """Asks once; says on one line what came."""
    try:
        path = socket_path(Path(station), plant=which == "plant")
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as panel:
            panel.settimeout(PATIENCE_S)
            panel.connect(str(path))
            panel.sendall(b'{"ask":"status"}\n')
            status = json.loads(panel.makefile("rb").readline())["status"]
            sys.stdout.write(f"{status['station']}: {status['io']}, {status['at_ms']} ms since it began\n")
    except (PanelError, OSError) as no:
        sys.stdout.write(f"no {which} of {station} answers: {no}\n")
        return 1
    except (ValueError, LookupError, TypeError):
        sys.stdout.write(f"the {which} answered without saying where it stands\n")
        return 1
    return 0


if __name__ == "__main__":
    if len(sys.argv) != 3 or sys.argv[2] not in KINDS:
        raise SystemExit(__doc__)
    raise SystemExit(main(sys.argv[1], sys.argv[2]))
