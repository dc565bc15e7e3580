"""Dockerfile, without an engine: what it copies is there and enough, what it starts exists, and as whom."""

import json
import re
import tomllib
from pathlib import PurePosixPath

import pytest
from containers.composed import ROOT, services

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
KNOWN = {"FROM", "WORKDIR", "COPY", "RUN", "ENV", "USER", "ENTRYPOINT", "CMD"}


def instructions():
    """Each as its word and the rest, lines that go on joined."""
    text = (ROOT / "Dockerfile").read_text(encoding="utf-8")
    joined = re.sub(r"\\\n", " ", "".join(line for line in text.splitlines(keepends=True) if line[0] != "#"))
    return [tuple(line.split(maxsplit=1)) for line in joined.splitlines() if line.strip()]


def of(word):
    return [rest for found, rest in instructions() if found == word]


def copied():
    """What comes from the build context."""
    return [source for rest in of("COPY") if not rest.startswith("--from") for source in rest.split()[:-1]]


def let_in():
    """The top of the build context after .dockerignore: everything is out but these."""
    first, *others = [
        line for line in (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines() if line[0] != "#"
    ]
    assert first == "*"
    return {line[1:] for line in others if line.startswith("!")}


def test_it_knows_no_instruction_that_these_tests_do_not():
    assert {word for word, _rest in instructions()} == KNOWN


@pytest.mark.parametrize("name", ["plant", "controller"])
def test_the_compose_file_builds_this_recipe_here(name):
    build = services()[name]["build"]
    assert (ROOT / build["context"] / build["dockerfile"]).is_file()
    assert services()[name]["image"].endswith(f":{PROJECT['project']['version']}")


def test_both_stages_stand_on_the_oldest_python_that_is_promised():
    images = [rest.split()[0] for rest in of("FROM")]
    promised = PROJECT["project"]["requires-python"].removeprefix(">=")
    assert len(images) == 2
    assert set(images) == {f"python:{promised}-slim-bookworm"}


def test_what_is_copied_is_in_the_tree_and_let_in():
    for source in copied():
        assert (ROOT / source).exists(), source
        assert PurePosixPath(source).parts[0] in let_in(), f"{source} is kept out by .dockerignore"


def test_nothing_else_is_let_in_and_no_secret_is():
    assert let_in() == {PurePosixPath(source).parts[0] for source in copied()}
    assert not {".env", "runs", ".git"} & let_in()


def test_all_that_the_package_is_built_of_is_copied():
    project, wheel = PROJECT["project"], PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]
    needed = {*wheel["packages"], *wheel["force-include"], project["readme"], *project["license-files"]}
    assert needed | {"pyproject.toml", "constraints.txt"} <= set(copied())


def test_the_package_is_installed_with_the_versions_that_the_tests_ran_with():
    [run] = of("RUN")
    assert "-c constraints.txt ." in run


def test_it_is_not_root_and_starts_what_the_package_installs():
    [user] = of("USER")
    uid, gid = user.split(":")
    assert int(uid) > 0
    assert int(gid) > 0
    [entry] = [json.loads(rest) for rest in of("ENTRYPOINT")]
    assert set(entry) <= set(PROJECT["project"]["scripts"])


def test_the_health_check_of_the_compose_file_is_in_the_image():
    targets = [rest.split()[-1] for rest in of("COPY")]
    for name in ("plant", "controller"):
        assert services()[name]["healthcheck"]["test"][2] in targets
