"""What Binder and a JupyterHub build from: pins that satisfy the package, and a recipe that can be shown."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet

ROOT = Path(__file__).resolve().parents[1]
BINDER = ROOT / "binder"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NEEDED = [Requirement(line) for line in PROJECT["dependencies"]]


def lines():
    text = (BINDER / "requirements.txt").read_text(encoding="utf-8")
    return [line for line in map(str.strip, text.splitlines()) if line and not line.startswith("#")]


def pins():
    found = {}
    for line in lines()[:-1]:
        requirement = Requirement(line)
        assert re.fullmatch(r"==[0-9][0-9a-z.]*", str(requirement.specifier)), (
            f"{line} is not one exact version"
        )
        found[requirement.name.lower()] = str(requirement.specifier)[2:]
    return found


@pytest.mark.parametrize("needed", NEEDED, ids=lambda needed: needed.name)
def test_a_pin_satisfies_the_range_of_the_package(needed):
    assert pins()[needed.name.lower()] in needed.specifier


def test_nothing_else_is_pinned_and_the_workbook_comes_last():
    assert set(pins()) == {needed.name.lower() for needed in NEEDED}
    assert lines()[-1] == "-e ."


def test_the_pins_are_what_these_tests_run_on():
    """Skipped where another version is installed, as on the oldest and newest Python of the CI."""
    here = {name: version(name) for name in pins()}
    if here != pins():
        pytest.skip(f"other versions here: {sorted(set(here.items()) - set(pins().items()))}")
    assert here == pins()


def test_the_python_is_one_that_the_package_supports():
    python = re.fullmatch(r"python-(3\.\d+)\n", (BINDER / "runtime.txt").read_text(encoding="utf-8"))
    assert python[1] in SpecifierSet(PROJECT["requires-python"])


def test_post_build_can_be_executed_and_runs():
    path = BINDER / "postBuild"
    assert os.access(path, os.X_OK)
    assert path.read_bytes().startswith(b"#!/bin/bash\n")
    env = dict(
        os.environ,
        PYTHONPATH=str(ROOT),
        PATH=os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]]),
    )
    subprocess.run(["bash", str(path)], env=env, check=True, timeout=60)


def test_the_recipe_of_the_image_can_be_shown(tmp_path):
    """repo2docker reads binder/ and writes its recipe; the image itself is not built."""
    if find_spec("repo2docker") is None:
        pytest.skip("jupyter-repo2docker is not installed")
    clone = tmp_path / "clone"
    shutil.copytree(BINDER, clone / "binder")
    shutil.copy(ROOT / "pyproject.toml", clone)
    command = [sys.executable, "-m", "repo2docker", "--no-build", "--debug", str(clone)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    recipe = done.stdout + done.stderr
    assert done.returncode == 0, recipe
    assert "-r ${REPO_DIR}/binder/requirements.txt" in recipe or '-r "binder/requirements.txt"' in recipe
    assert "postBuild" in recipe
    assert re.search(r"python.?3\.11|3\.11", recipe)
