"""
What the containers need before their first start: folders, passwords, and as whom they run.

    python3 configs/containers/prepare.py

Needs Python alone, no broker and no engine. Run it as the person who will read the journal, and again at any
time: it makes what is missing and changes no password. What it makes lies in runs/containers and in .env, and
git takes neither:

    runs/containers/secrets   one password for each user of the file `acl`; for the broker their hashes, and
                              that file as it is now: a later broker takes none that others may read
    runs/containers/broker    what the broker keeps
    runs/containers/state     what the sequence keeps through a loss of power, and in `journal` the run folder
                              of all starts
    .env                      RECEIVER_UID and RECEIVER_GID: the containers run as you, so that they can read
                              what only you may read; as 10001, where you are root

A password that was seen is replaced so: remove its file, run this again, and restart the containers.
"""

import base64
import hashlib
import os
import secrets
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
NOBODY = 10_001
"""In place of root, who would be root on the machine too."""

ITERATIONS = 1_000
"""The passwords have 256 bits of chance: no number of iterations makes guessing them any harder."""


def users(acl: str) -> list[str]:
    """
    Who stands in an access control list of the broker.

    >>> users("# user nobody" + chr(10) + "user viewer" + chr(10) + "topic read a/#")
    ['viewer']
    """
    return [line.split(maxsplit=1)[1].strip() for line in acl.splitlines() if line.startswith("user ")]


def hashed(password: str, salt: bytes, iterations: int = ITERATIONS) -> str:
    """A password as Mosquitto's password file holds it: $7$, PBKDF2 with SHA-512 (mosquitto_passwd(1))."""
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, iterations)
    return f"$7${iterations}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}"


def prepare(root: Path, acl: str, uid: int, gid: int) -> list[str]:
    """Makes what is missing under `root`, for that user and group; says what it made."""
    made: list[str] = []
    top = root / "runs" / "containers"
    folders = [top / name for name in ("secrets", "broker", "state")]
    for folder in folders:
        if not folder.is_dir():
            folder.mkdir(parents=True)
            made.append(f"{folder.relative_to(root)}/")
        _own(folder, 0o700, uid, gid)
    passwords = {user: folders[0] / f"{user}_password" for user in users(acl)}
    for path in passwords.values():
        if not path.exists():
            _write(path, secrets.token_urlsafe(32) + "\n")
            made.append(str(path.relative_to(root)))
        _own(path, 0o600, uid, gid)
    lines = [f"{user}:{hashed(path.read_text().strip(), secrets.token_bytes(12))}\n"
             for user, path in passwords.items()]  # fmt: skip
    for name, text in (("broker_passwords", "".join(lines)), ("broker_acl", acl)):
        _write(folders[0] / name, text)
        _own(folders[0] / name, 0o600, uid, gid)
    _name_user(root / ".env", {"RECEIVER_UID": uid, "RECEIVER_GID": gid})
    return made


def _write(path: Path, text: str) -> None:
    """Whole or not at all, and never open to others in between."""
    fresh = path.with_name(path.name + ".new")
    fresh.unlink(missing_ok=True)
    with open(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        file.write(text)
    fresh.replace(path)


def _own(path: Path, mode: int, uid: int, gid: int) -> None:
    path.chmod(mode)
    if os.getuid() == 0:
        os.chown(path, uid, gid)


def _name_user(path: Path, values: dict[str, int]) -> None:
    """Sets our lines of .env; others stay."""
    there = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    others = [line for line in there if line.split("=")[0].strip() not in values]
    path.write_text("\n".join([*others, *(f"{name}={value}" for name, value in values.items())]) + "\n")


def main() -> None:
    """Prepares the checkout that this file lies in."""
    uid, gid = os.getuid() or NOBODY, os.getgid() or NOBODY
    made = prepare(HERE.parents[1], (HERE / "acl").read_text(encoding="utf-8"), uid, gid)
    sys.stdout.write("\n".join(f"made {path}" for path in made) + "\n" if made else "nothing was missing\n")
    sys.stdout.write(f"the containers run as user {uid}, group {gid}\n")


if __name__ == "__main__":
    main()
