"""Every notebook runs in a fresh kernel, its stored outputs compared, warnings as errors (nbval).

Each run has a learner's folder of its own, so that an earlier guess cannot change what a cell prints.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
OPTIONS = ["--nbval", "--nbval-current-env", "--nbval-cell-timeout=60", "-q", "-p", "no:cacheprovider"]


def nbval(path, home):
    env = dict(os.environ, WORKBOOK_HOME=str(home), WORKBOOK_PASSPORT="", PYTHONWARNINGS="error")
    env["PYTHONPATH"] = os.pathsep.join([str(ROOT), *filter(None, [env.get("PYTHONPATH")])])
    for name in [name for name in env if name.startswith("PYTEST_")]:
        del env[name]
    command = [sys.executable, "-m", "pytest", *OPTIONS, "--override-ini=addopts=", str(path)]
    return subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=300)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_runs_as_stored(path, tmp_path):
    run = nbval(path, tmp_path)
    assert run.returncode == 0, run.stdout[-6000:] + run.stderr[-2000:]


def test_a_changed_number_is_seen(tmp_path):
    """The comparison can fail: a stored output that differs by one digit does."""
    nbformat = pytest.importorskip("nbformat")
    sound = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("print(6 * 7)", execution_count=1)])
    for stored, code in (("42\n", 0), ("43\n", 1)):
        sound.cells[0].outputs = [nbformat.v4.new_output("stream", name="stdout", text=stored)]
        nbformat.write(sound, tmp_path / "sound.ipynb")
        assert nbval(tmp_path / "sound.ipynb", tmp_path).returncode == code
