"""The launcher: which folder is opened, what becomes of a learner's work, a server that starts and ends."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import psutil
import pytest

from workbook import launch

ROOT = Path(__file__).resolve().parents[1]
OPEN = "import sys; sys.exit(launch.open_workbook(no_browser=True, port=int(sys.argv[1])))"


@pytest.fixture
def packed(tmp_path):
    """An installed package with three lesson files."""
    folder = tmp_path / "site" / "workbook" / "_notebooks"
    (folder / "pictures").mkdir(parents=True)
    (folder / "start-here.ipynb").write_text("start, first edition")
    (folder / "14-how-far.ipynb").write_text("how far, first edition")
    (folder / "pictures" / "map.png").write_bytes(b"map")
    (folder / ".ipynb_checkpoints").mkdir()
    (folder / ".ipynb_checkpoints" / "old.ipynb").write_text("not a lesson")
    return folder


@pytest.fixture
def home(tmp_path):
    folder = tmp_path / "home"
    folder.mkdir()
    return folder


def files(folder):
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}


LESSONS = {"start-here.ipynb", "14-how-far.ipynb", "pictures/map.png", launch.RECORD_NAME}


# Copies


def test_all_lessons_are_copied_to_an_empty_folder(packed, home):
    assert launch.copy_lessons(packed, home) == []
    assert files(home) == LESSONS
    assert (home / "start-here.ipynb").read_text() == "start, first edition"


def test_a_second_start_changes_nothing(packed, home):
    launch.copy_lessons(packed, home)
    before = {p: p.stat().st_mtime_ns for p in home.rglob("*.ipynb")}
    assert launch.copy_lessons(packed, home) == []
    assert {p: p.stat().st_mtime_ns for p in home.rglob("*.ipynb")} == before


def test_work_is_kept_while_the_lesson_stays_the_same(packed, home):
    launch.copy_lessons(packed, home)
    (home / "14-how-far.ipynb").write_text("my answers")
    assert launch.copy_lessons(packed, home) == []
    assert (home / "14-how-far.ipynb").read_text() == "my answers"
    assert files(home) == LESSONS


def test_a_newer_lesson_is_put_beside_work_once_and_said(packed, home):
    launch.copy_lessons(packed, home)
    (home / "14-how-far.ipynb").write_text("my answers")
    (packed / "14-how-far.ipynb").write_text("how far, second edition")
    (line,) = launch.copy_lessons(packed, home)
    assert (
        line == "Your 14-how-far.ipynb was kept as it is; the newer lesson is beside it: 14-how-far.new.ipynb"
    )
    assert (home / "14-how-far.ipynb").read_text() == "my answers"
    assert (home / "14-how-far.new.ipynb").read_text() == "how far, second edition"
    (home / "14-how-far.new.ipynb").write_text("more answers")
    assert launch.copy_lessons(packed, home) == []
    (packed / "14-how-far.ipynb").write_text("how far, third edition")
    launch.copy_lessons(packed, home)
    assert (home / "14-how-far.new.ipynb").read_text() == "more answers"
    assert (home / "14-how-far.new2.ipynb").read_text() == "how far, third edition"


def test_a_newer_lesson_replaces_one_that_was_not_touched(packed, home):
    launch.copy_lessons(packed, home)
    (packed / "start-here.ipynb").write_text("start, second edition")
    assert launch.copy_lessons(packed, home) == ["Newer lesson: start-here.ipynb"]
    assert (home / "start-here.ipynb").read_text() == "start, second edition"
    assert files(home) == LESSONS


def test_a_new_lesson_is_added_and_a_deleted_one_comes_back(packed, home):
    launch.copy_lessons(packed, home)
    (home / "start-here.ipynb").unlink()
    (packed / "01-picture.ipynb").write_text("new")
    assert launch.copy_lessons(packed, home) == []
    assert files(home) == LESSONS | {"01-picture.ipynb"}


@pytest.mark.parametrize(
    "record", [b"", b"{not json", b"[1, 2]", b"\xff\xfe"], ids=["empty", "cut", "list", "bytes"]
)
def test_with_a_damaged_record_work_is_still_kept(packed, home, record):
    launch.copy_lessons(packed, home)
    (home / "14-how-far.ipynb").write_text("my answers")
    (home / launch.RECORD_NAME).write_bytes(record)
    launch.copy_lessons(packed, home)
    assert (home / "14-how-far.ipynb").read_text() == "my answers"
    assert (home / "14-how-far.new.ipynb").read_text() == "how far, first edition"


def test_files_of_the_learner_s_own_are_left_alone(packed, home):
    (home / "notes.txt").write_text("mine")
    (home / "start-here.ipynb").write_text("mine, by chance of the same name")
    launch.copy_lessons(packed, home)
    assert (home / "notes.txt").read_text() == "mine"
    assert (home / "start-here.ipynb").read_text() == "mine, by chance of the same name"


def test_a_write_that_fails_leaves_the_old_file_and_says_so(packed, home, monkeypatch):
    launch.copy_lessons(packed, home)
    (packed / "start-here.ipynb").write_text("start, second edition")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(launch.LaunchError, match=r"No space left on device\. Nothing of yours was changed"):
        launch.copy_lessons(packed, home)
    assert (home / "start-here.ipynb").read_text() == "start, first edition"
    assert files(home) == LESSONS  # no half-written file is left


# Folders


def test_an_installed_workbook_opens_the_copies_and_says_where(packed, home, monkeypatch):
    monkeypatch.setenv(launch.HOME_VARIABLE, str(home / "lessons"))
    folder, news = launch.lessons_folder(packed.parent)
    assert folder == (home / "lessons").resolve()
    assert news == [f"Your lessons are in {folder}"]
    assert files(folder) == LESSONS


def test_without_the_variable_the_copies_stand_in_the_present_folder(packed, home, monkeypatch):
    monkeypatch.delenv(launch.HOME_VARIABLE, raising=False)
    monkeypatch.chdir(home)
    assert launch.writable_home() == (home / "small-mount-workbook").resolve()


def test_where_the_present_folder_cannot_be_written_the_home_folder_is_taken(tmp_path, home, monkeypatch):
    monkeypatch.delenv(launch.HOME_VARIABLE, raising=False)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "small-mount-workbook").write_text("a file in the way")  # holds for root too
    assert launch.writable_home() == (home / "small-mount-workbook").resolve()


def test_no_folder_to_write_to_is_one_clear_line(tmp_path, monkeypatch, capsys):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv(launch.HOME_VARIABLE, str(tmp_path / "file" / "home"))
    with pytest.raises(launch.LaunchError, match=r"Cannot write to .*: set WORKBOOK_HOME to a folder"):
        launch.writable_home()
    monkeypatch.setattr(launch, "lessons_folder", launch.writable_home)
    assert launch.open_workbook(no_browser=True) == 1
    assert capsys.readouterr().err.count("\n") == 1


def test_a_clone_opens_its_own_notebooks_and_copies_nothing(tmp_path):
    (tmp_path / "workbook").mkdir()
    (tmp_path / "notebooks").mkdir()
    (tmp_path / "notebooks" / "start-here.ipynb").write_text("{}")
    assert launch.lessons_folder(tmp_path / "workbook") == (tmp_path / "notebooks", [])


def test_a_package_without_lessons_says_so(tmp_path):
    with pytest.raises(launch.LaunchError, match="No lessons found"):
        launch.lessons_folder(tmp_path / "workbook")


# The server


def get(url, token=None):
    headers = {"Authorization": f"token {token}"} if token else {}
    with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=10) as answer:
        return json.load(answer)


@pytest.fixture
def own_folders(tmp_path, monkeypatch):
    """Folders of the server's own, so that a test leaves the user's alone."""
    for name in ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "JUPYTERLAB_SETTINGS_DIR"):
        monkeypatch.setenv(name, str(tmp_path / name.lower()))


def test_the_server_is_local_asks_for_the_token_passes_a_busy_port_and_fetches_no_news(home, own_folders):
    with socket.socket() as busy:
        busy.bind(("127.0.0.1", 0))
        busy.listen()
        port = busy.getsockname()[1]
        with launch.serving(home, port=port) as (url, token, server):
            assert re.fullmatch(r"http://127\.0\.0\.1:\d+", url)
            assert int(url.rsplit(":", 1)[1]) > port
            with pytest.raises(urllib.error.HTTPError, match="403"):
                get(f"{url}/api/contents")
            assert get(f"{url}/api/contents", token)["type"] == "directory"
            settings = get(f"{url}/lab/api/settings/@jupyterlab/apputils-extension:notification", token)
            assert settings["schema"]["properties"]["fetchNews"]["default"] == "false"
            process = psutil.Process(server.pid)
            assert token not in " ".join(process.cmdline())
            assert {c.laddr.ip for c in process.net_connections("tcp") if c.status == "LISTEN"} == {
                "127.0.0.1"
            }
            children = [process, *process.children(recursive=True)]
    assert not any(child.is_running() for child in children)


def test_it_prints_the_whole_address_and_ends_cleanly_on_ctrl_c(packed, home, own_folders):
    code = "from pathlib import Path; from workbook import launch;"
    code += f"launch.PACKAGE = Path({str(packed.parent)!r});"
    code += "launch.lessons_folder.__defaults__ = (launch.PACKAGE,);" + OPEN
    env = dict(os.environ, PYTHONPATH=str(ROOT), WORKBOOK_HOME=str(home))
    command = [sys.executable, "-c", code, "9400"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen(command, env=env, start_new_session=True, **pipes) as run:
        lines = [run.stdout.readline() for _ in range(4)]
        children = psutil.Process(run.pid).children(recursive=True)
        assert lines[0] == f"Your lessons are in {home.resolve()}\n"
        address = r" +(http://127\.0\.0\.1:\d+)/lab/tree/start-here\.ipynb\?token=(\w+)\n"
        found = re.fullmatch(address, lines[2])
        assert found
        first = get(f"{found[1]}/api/contents/start-here.ipynb?content=0", found[2])
        assert first["name"] == "start-here.ipynb"
        os.killpg(run.pid, signal.SIGINT)  # a terminal sends Ctrl-C to the whole group
        rest, fault = run.communicate(timeout=30)
    assert (run.returncode, rest, fault) == (0, "\nClosed. Saved work is kept.\n", "")
    assert children
    assert not any(child.is_running() for child in children)


def test_a_server_that_cannot_start_is_told_in_one_line(home, own_folders, monkeypatch, capsys):
    monkeypatch.setattr(launch, "lessons_folder", lambda: (home, []))
    monkeypatch.setattr(launch, "_command", lambda *_: [sys.executable, "-c", "raise SystemExit('planted')"])
    assert launch.open_workbook(no_browser=True) == 1
    assert capsys.readouterr().err == "JupyterLab did not start: planted\n"


@pytest.mark.parametrize(("no_browser", "opened"), [(True, 0), (False, 1)])
def test_the_browser_is_opened_unless_it_is_declined(monkeypatch, home, no_browser, opened, capsys):
    import contextlib
    from types import SimpleNamespace

    addresses = []
    ended = SimpleNamespace(wait=lambda: None)
    monkeypatch.setattr(launch, "lessons_folder", lambda: (home, []))
    monkeypatch.setattr(launch.webbrowser, "open", addresses.append)
    monkeypatch.setattr(
        launch, "serving", lambda *_, **__: contextlib.nullcontext(("http://127.0.0.1:1", "t", ended))
    )
    assert launch.open_workbook(no_browser=no_browser) == 0
    assert addresses == ["http://127.0.0.1:1/lab/tree/start-here.ipynb?token=t"] * opened
    assert "http://127.0.0.1:1/lab/tree/start-here.ipynb?token=t" in capsys.readouterr().out


@pytest.mark.parametrize(("user", "flag"), [(0, True), (1000, False)])
def test_root_is_allowed_only_where_the_user_is_root(monkeypatch, user, flag):
    monkeypatch.setattr(os, "geteuid", lambda: user, raising=False)
    assert ("--allow-root" in launch._command("folder", 8888, ())) is flag
