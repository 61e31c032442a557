"""A real JupyterLab and a real browser, each started once, with folders of their own."""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # harness.py stands beside this file

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def lab_folder(tmp_path_factory):
    """What the server serves: a copy of the lessons, so that a run leaves the real ones alone."""
    folder = tmp_path_factory.mktemp("served")
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        shutil.copy(path, folder)
    return folder


@pytest.fixture(scope="session")
def lab(lab_folder, tmp_path_factory):
    """Address and token of a JupyterLab that serves `lab_folder`."""
    from workbook import launch

    home = tmp_path_factory.mktemp("lab")
    folders = {
        "JUPYTERLAB_SETTINGS_DIR": "settings",
        "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
        "JUPYTER_CONFIG_DIR": "config",
        "JUPYTER_DATA_DIR": "data",
        "JUPYTER_RUNTIME_DIR": "runtime",
        "IPYTHONDIR": "ipython",
        "MPLCONFIGDIR": "matplotlib",
        "WORKBOOK_HOME": "learner",
    }
    environment = {name: str(home / folder) for name, folder in folders.items()}
    for folder in environment.values():
        Path(folder).mkdir()
    environment["PYTHONPATH"] = os.pathsep.join([str(ROOT / "tests"), str(ROOT)])
    environment["PYTHONWARNINGS"] = "error"
    environment["WORKBOOK_PASSPORT"] = ""
    flags = ["--LabApp.expose_app_in_browser=True"]
    with launch.serving(lab_folder, port=9100, flags=flags, environment=environment) as (url, token, _):
        yield url, token


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    """The installed Chromium, with a profile of its own."""
    import harness

    missing = ""
    if importlib.util.find_spec("playwright") is None:
        missing = "playwright is not installed (extra: browser)"
    elif not Path(harness.CHROMIUM).exists():
        missing = f"no Chromium at {harness.CHROMIUM} (set CHROMIUM)"
    if missing and os.environ.get("WORKBOOK_BROWSER_REQUIRED"):
        pytest.fail(f"{missing}, and this run must not do without it")
    if missing:
        pytest.skip(missing)
    from playwright import sync_api

    with sync_api.sync_playwright() as driver:
        context = driver.chromium.launch_persistent_context(
            tmp_path_factory.mktemp("profile"),
            executable_path=harness.CHROMIUM,
            headless=True,
            args=harness.FLAGS,
            viewport=harness.VIEWPORT,
        )
        yield context
        context.close()


@pytest.fixture
def page(browser):
    """A tab that is closed even after a failure: an open one changes the next one's workspace."""
    page = browser.new_page()
    yield page
    page.close()


@pytest.fixture(scope="session")
def shots(tmp_path_factory):
    """Where screenshots go: WORKBOOK_SHOTS, else a temporary folder."""
    chosen = os.environ.get("WORKBOOK_SHOTS")
    folder = Path(chosen) if chosen else tmp_path_factory.mktemp("shots")
    folder.mkdir(parents=True, exist_ok=True)
    return folder
