"""
Health check inside a container: does the rig, or the plant, answer at its panel socket?

Called as `healthy.py STATION rig|plant`. Exit code 0: it answered; 1: it did not, and why. It only asks where
the rig stands: nothing is changed by it, and a receiver in a fault is a healthy container.
"""

import sys
from pathlib import Path
from typing import get_args

from controller.panel.client import Client, Which
from controller.panel.messages import StatusAsked
from controller.panel.place import PanelError


def main(station: str, which: Which) -> int:
    """Asks once; says on one line what came."""
    try:
        with Client(Path(station), which) as client:
            status = client.ask(StatusAsked(ask="status")).status
    except PanelError as no:
        sys.stdout.write(f"{no}\n")
        return 1
    if status is None:
        sys.stdout.write(f"the {which} answered without saying where it stands\n")
        return 1
    sys.stdout.write(f"{status.station}: {status.io}, {status.at_ms} ms since it began\n")
    return 0


if __name__ == "__main__":
    if len(sys.argv) != 3 or sys.argv[2] not in get_args(Which):
        raise SystemExit(__doc__)
    raise SystemExit(main(sys.argv[1], sys.argv[2]))  # type: ignore[arg-type]
