"""Open the lessons in JupyterLab: on this machine only, with a token, and never over what a learner wrote.

From a clone the lessons in `notebooks/` are opened as they are. An installed workbook carries its lessons in
the package; they are copied to a folder of the learner's, where one that was worked in is not overwritten.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
import webbrowser
from pathlib import Path

FIRST_LESSON = "start-here.ipynb"
HOME_VARIABLE = "WORKBOOK_HOME"
HOME_NAME = "small-mount-workbook"
RECORD_NAME = (
    ".lessons.json"  # what was copied, so that a lesson that was worked in is known from one that was not
)
FIRST_PORT, LAST_PORT = 8888, 8987
START_S, STOP_S = 60, 15
PACKAGE = Path(__file__).resolve().parent

# No pop-up over the first page: it would ask to fetch news from outside.
QUIET_SETTINGS = {
    "@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False},
}


class LaunchError(Exception):
    """The workbook cannot be opened; the text says why and what helps, in one line."""


def open_workbook(no_browser: bool = False, port: int | None = None) -> int:
    """Open the lessons and stay until Ctrl-C.

    Parameters
    ----------
    no_browser : bool
        Only print the address.
    port : int, optional
        The first port to try; a busy one is passed over.

    Returns
    -------
    int
        Exit code: 0 after a clean end, 1 where it could not be opened (one line on stderr says why).
    """
    try:
        folder, news = lessons_folder()
        for line in news:
            print(line, flush=True)
        with serving(folder, port=port) as (url, token, server):
            address = f"{url}/lab/tree/{FIRST_LESSON}?token={token}"
            print(f"The lessons are open at\n    {address}\nStop with Ctrl-C.", flush=True)
            if not no_browser:
                webbrowser.open(address)
            server.wait()
            print("The server ended by itself.", flush=True)
    except LaunchError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nClosed. Saved work is kept.", flush=True)
    return 0


def lessons_folder(package: Path = PACKAGE) -> tuple[Path, list[str]]:
    """The folder to open, and what a learner should be told about it."""
    packed = package / "_notebooks"
    if packed.is_dir():
        home = writable_home()
        return home, [f"Your lessons are in {home}", *copy_lessons(packed, home)]
    in_clone = package.parent / "notebooks"
    if (in_clone / FIRST_LESSON).is_file():
        return in_clone, []
    raise LaunchError(
        f"No lessons found: neither {packed} nor {in_clone / FIRST_LESSON} is there. Install again."
    )


def writable_home() -> Path:
    """The learner's folder: WORKBOOK_HOME where it is set, else here, else in the home folder."""
    chosen = os.environ.get(HOME_VARIABLE)
    places = [Path(chosen).expanduser()] if chosen else [Path.cwd() / HOME_NAME, Path.home() / HOME_NAME]
    for place in places:
        try:
            place.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=place):
                return place.resolve()
        except OSError:
            continue
    tried = " or ".join(map(str, places))
    raise LaunchError(
        f"Cannot write to {tried}: set {HOME_VARIABLE} to a folder that you can write, and start again."
    )


def copy_lessons(packed: Path, home: Path) -> list[str]:
    """Copy the packaged lessons to the learner's folder; returns a line for each thing worth knowing.

    A missing lesson is added. A lesson as it was copied is replaced by a newer one. A lesson that was worked
    in stays; a newer one is put beside it once, as NAME.new.ipynb.
    """
    record, lines = _read_record(home / RECORD_NAME), []
    for source in sorted(path for path in packed.rglob("*") if path.is_file()):
        name = source.relative_to(packed).as_posix()
        if any(part.startswith(".") or part == "__pycache__" for part in Path(name).parts):
            continue
        content, target = source.read_bytes(), home / name
        shipped, last = _digest(content), record.get(name)
        there = _digest(target.read_bytes()) if target.is_file() else None
        if there is None:
            _write(target, content)
        elif there != shipped and last != shipped:
            if there == last:
                _write(target, content)
                lines.append(f"Newer lesson: {name}")
            else:
                beside = _free_name(target)
                _write(beside, content)
                lines.append(f"Your {name} was kept as it is; the newer lesson is beside it: {beside.name}")
        record[name] = shipped
    _write(home / RECORD_NAME, json.dumps(record, indent=1, sort_keys=True).encode())
    return lines


def _read_record(path):
    """The record of earlier copies; a damaged one counts as empty, so that everything there is kept."""
    try:
        record = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return {}
    return record if isinstance(record, dict) else {}


def _digest(content):
    return hashlib.sha256(content).hexdigest()


def _free_name(target):
    for k in range(1, 1000):
        beside = target.with_name(f"{target.stem}.new{'' if k == 1 else k}{target.suffix}")
        if not beside.exists():
            return beside
    raise LaunchError(f"Too many copies beside {target}: move some of them away.")


def _write(target, content):
    """Write in full or not at all."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".copy-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            os.chmod(name, 0o644)
            os.replace(name, target)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as error:
        raise LaunchError(
            f"Cannot write {target}: {error.strerror}. Nothing of yours was changed."
        ) from error


# The server


@contextlib.contextmanager
def serving(folder: Path, *, port: int | None = None, flags=(), environment=None):
    """JupyterLab on a folder, on the loopback address; yields its address, its token and the process.

    `flags` and `environment` are added to the server's own. On leaving, server and kernels are ended.
    """
    token = secrets.token_hex(24)
    with tempfile.TemporaryDirectory(prefix="workbook-") as own:
        settings = Path(own) / "labconfig" / "default_setting_overrides.json"
        settings.parent.mkdir()
        settings.write_text(json.dumps(QUIET_SETTINGS))
        env = dict(os.environ, **(environment or {}))
        env["JUPYTER_TOKEN"] = token  # other users of the machine could read it on the command line
        env["JUPYTER_CONFIG_PATH"] = os.pathsep.join(filter(None, [own, env.get("JUPYTER_CONFIG_PATH")]))
        if not (PACKAGE / "_notebooks").is_dir():  # a clone need not be installed for its kernels to find it
            env["PYTHONPATH"] = os.pathsep.join(filter(None, [str(PACKAGE.parent), env.get("PYTHONPATH")]))
        log = Path(own) / "log"
        first = port or FIRST_PORT
        for number in _free_ports(first):
            with open(log, "wb") as out:
                server = subprocess.Popen(
                    _command(folder, number, flags),
                    env=env,
                    stdin=subprocess.DEVNULL,
                    stdout=out,
                    stderr=subprocess.STDOUT,
                    start_new_session=True,  # Ctrl-C reaches us only, and we end the server in order
                )
            try:
                url = f"http://127.0.0.1:{number}"
                if _answers(server, url, token):
                    with _ended_like_ctrl_c():
                        yield url, token, server
                    return
                words = log.read_text(errors="replace")
                if server.poll() is not None and "in use" in words:
                    continue  # taken between our look and the start
                raise LaunchError(
                    f"JupyterLab did not start: {' '.join(words.split())[-300:] or 'no word from it'}"
                )
            finally:
                _end(server)
    raise LaunchError(f"No free port from {first} on: close another server, and start again.")


def _command(folder, port, flags):
    command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--log-level=ERROR"]
    command += ["--ServerApp.ip=127.0.0.1", f"--ServerApp.port={port}", "--ServerApp.port_retries=0"]
    command += [f"--ServerApp.root_dir={folder}", "--LabApp.news_url=None", *flags]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    return command


def _free_ports(first):
    """Ports from the first on that nobody listens to, looked up one at a time."""
    for number in range(first, max(LAST_PORT, first + 50) + 1):
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", number))
            except (OSError, OverflowError):
                continue
        yield number


def _answers(server, url, token):
    """Wait until the server answers; False where it ended or took too long."""
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    request = urllib.request.Request(f"{url}/api/status", headers={"Authorization": f"token {token}"})
    end = time.monotonic() + START_S
    while time.monotonic() < end and server.poll() is None:
        try:
            with opener.open(request, timeout=2):
                return True
        except OSError:
            time.sleep(0.1)
    return False


@contextlib.contextmanager
def _ended_like_ctrl_c():
    """A polite request to end (SIGTERM) counts as Ctrl-C, so that no server is left behind."""

    def end(*_):
        raise KeyboardInterrupt

    try:
        before = signal.signal(signal.SIGTERM, end)
    except ValueError:  # not in the main thread: whoever started us ends us
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _end(server):
    if server.poll() is None:
        server.terminate()
    try:
        server.wait(STOP_S)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()
