"""From slider to picture: python tests/benchmarks/bench_panel.py [NOTEBOOK] [--moves 50]

Prints, for the first panel of a notebook, the kernel's time for a move (calculation, drawing, PNG; on the
clock and on the processor: they part where the machine is busy with other things) and the time until the new
picture stands in the browser, each as median and 95th percentile, the kilobytes that
reach the page for a move, the time until the first picture after Run All on a started kernel, how long after
the last move the range stands, and the memory of the kernel. Without a notebook it measures the
demonstration panel of the tests. Not a test: times depend on the machine.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

import nbformat
import psutil

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "browser")]

import harness  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

from workbook import launch  # noqa: E402

# In the kernel: note the time of every refresh, and print it when asked.
TIMER = """
import time as _time
from workbook.panels import Panel as _Panel
_ms, _refresh = [], _Panel.refresh
def _timed(panel, **how):
    _wall, _cpu = _time.perf_counter(), _time.thread_time()
    _refresh(panel, **how)
    if not how.get("settle", True):
        _ms.append((1e3 * (_time.perf_counter() - _wall), 1e3 * (_time.thread_time() - _cpu)))
_Panel.refresh = _timed
"""
ASK = """async (code) => {
  const kernel = window.jupyterapp.shell.currentWidget.sessionContext.session.kernel;
  const future = kernel.requestExecute({code, store_history: false}); let text = '';
  future.onIOPub = m => { if (m.header.msg_type === 'stream') text += m.content.text };
  await future.done; return text }"""
# One press of an arrow key, until a new picture has been painted.
MOVE = """(key) => new Promise(done => {
  const handle = document.querySelector('.jp-OutputArea-output:has(img.widget-image) .noUi-handle');
  const image = document.querySelector('.jp-OutputArea img.widget-image');
  const before = image.src, start = performance.now();
  const look = () => {
    if (image.src !== before && image.complete) requestAnimationFrame(() => done(performance.now() - start));
    else if (performance.now() - start > 3000) done(null);
    else setTimeout(look, 1) };
  handle.dispatchEvent(new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true}));
  look() })"""


def measure(path: Path, moves: int) -> None:
    """Open the notebook, move its first slider, print what was measured."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(path, folder)
        names = ["CONFIG", "DATA", "RUNTIME"]
        environment = {f"JUPYTER_{name}_DIR": f"{folder}/.{name}" for name in names}
        environment["JUPYTERLAB_WORKSPACES_DIR"] = f"{folder}/.workspaces"
        environment["PYTHONPATH"] = os.pathsep.join([str(ROOT / "tests"), str(ROOT)])
        flags = ["--LabApp.expose_app_in_browser=True"]
        serving = launch.serving(Path(folder), port=9300, flags=flags, environment=environment)
        with serving as (*lab, server), sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=harness.CHROMIUM, args=harness.FLAGS)
            page = browser.new_page(viewport=harness.VIEWPORT)
            _bench(page, lab, path.name, moves, server)
            browser.close()


def _bench(page, lab, name, moves, server):
    received = [0]

    def count(frame):
        received[0] += len(frame)

    page.on("websocket", lambda socket: socket.on("framereceived", count))
    harness.open_notebook(page, lab, name)
    page.evaluate(ASK, "pass")
    start = time.perf_counter()
    page.evaluate("() => { window.running = window.jupyterapp.commands.execute('notebook:run-all-cells'); }")
    page.locator(harness.PICTURE).first.wait_for()
    first_s = time.perf_counter() - start
    page.evaluate("async () => { await window.running }")
    page.evaluate(ASK, TIMER)
    page.locator(f"{harness.PANEL} .noUi-handle").first.focus()
    browser_ms, kilobytes, settled_ms = [], [], []
    for k in range(moves):
        before = received[0]
        took = page.evaluate(MOVE, "ArrowRight" if k % 20 < 10 else "ArrowLeft")
        if took is None:
            raise SystemExit("the picture did not follow the slider")
        page.wait_for_timeout(30)
        browser_ms.append(took)
        kilobytes.append((received[0] - before) / 1000)
        if k % 10 == 9:
            start = time.perf_counter()
            words = page.locator(f"{harness.PANEL} [role=status]").first
            while "range follows" in words.inner_text():
                page.wait_for_timeout(10)
            settled_ms.append(1e3 * (time.perf_counter() - start))
            page.wait_for_timeout(400)
    kernel_ms, cpu_ms = (
        [float(word) for word in page.evaluate(ASK, f"print(*[pair[{k}] for pair in _ms])").split()]
        for k in (0, 1)
    )
    kernels = [
        p for p in psutil.Process(server.pid).children(recursive=True) if "ipykernel" in " ".join(p.cmdline())
    ]
    memory_mb = max(p.memory_info().rss for p in kernels) / 1e6
    print(f"{name}: {moves} moves, {len(kernel_ms)} refreshes in the kernel")
    print(f"  kernel     {_spread(kernel_ms)}  (goals 45, 60)")
    print(f"  processor  {_spread(cpu_ms)}  of it")
    print(f"  browser    {_spread(browser_ms)}  (goals 90, 120)")
    print(f"  data     {_median(kilobytes):6.1f} kB a move  (goal 200)")
    print(f"  first picture {first_s:.2f} s after Run All (goal 2.5)")
    print(f"  range {_median(settled_ms):.0f} ms after the last picture of a drag")
    print(f"  kernel memory {memory_mb:.0f} MB (goal 250)")


def _median(values):
    return sorted(values)[len(values) // 2]


def _spread(values):
    p95 = sorted(values)[int(0.95 * (len(values) - 1))]
    return f"{_median(values):6.1f} ms median  {p95:6.1f} ms p95"


def demonstration(folder: Path) -> Path:
    """A notebook with nothing but the demonstration panel of the tests."""
    cell = nbformat.v4.new_code_cell("import demo_figure\npanel = demo_figure.build()\npanel")
    notebook = nbformat.v4.new_notebook(cells=[cell])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(notebook, folder / "demonstration.ipynb")
    return folder / "demonstration.ipynb"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("notebook", nargs="?", type=Path)
    parser.add_argument("--moves", type=int, default=50)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as own:
        measure(asked.notebook or demonstration(Path(own)), asked.moves)
