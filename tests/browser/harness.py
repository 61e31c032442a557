"""Open a notebook in JupyterLab as a reader would: run it, move its first slider, look at the page.

`visit` returns what it saw; `faults` says what is wrong with that. The two are apart so that the tests can
plant faults and see them caught.
"""

from __future__ import annotations

import io
import os
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image

CHROMIUM = os.environ.get("CHROMIUM") or "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
VIEWPORT = {"width": 1280, "height": 1000}
RUN_MS = 120_000

# Running before the kernel has answered would be lost without a word.
READY = """async () => {
  const app = window.jupyterapp; await app.restored; let panel;
  while (!((panel = app.shell.currentWidget) && panel.sessionContext))
    await new Promise(r => setTimeout(r, 50));
  await panel.context.ready; await panel.sessionContext.ready;
  await panel.sessionContext.session.kernel.info;
  return true }"""
RUN_ALL = "() => window.jupyterapp.commands.execute('notebook:run-all-cells')"
OUTPUTS = """() => window.jupyterapp.shell.currentWidget.content.widgets
  .filter(cell => cell.model.type === 'code')
  .flatMap(cell => cell.model.outputs.toJSON().map(out => ({
     kind: out.output_type, stream: out.name || '', text: String(out.evalue || out.text || ''),
     allowed: (cell.model.getMetadata('tags') || []).includes('raises-exception')})))"""
BYTES = "async i => Array.from(new Uint8Array(await (await fetch(i.src)).arrayBuffer())).join()"
COLLAPSE = "() => { window.jupyterapp.shell.collapseLeft(); window.jupyterapp.shell.collapseRight() }"
PICTURE = ".jp-OutputArea img.widget-image"
PANEL = ".jp-OutputArea-output:has(img.widget-image)"  # a prediction has a slider of its own, but no picture
ALERT = ".jp-OutputArea [role=alert]"


@dataclass
class Visit:
    """What was seen of one notebook."""

    ran: bool = False
    outputs: list = field(default_factory=list)
    page_errors: list = field(default_factory=list)
    outside: list = field(default_factory=list)
    panels: int = 0
    alerts: list = field(default_factory=list)
    picture_moved: bool = True
    words_moved: bool = True
    settled: bool = True
    names: list = field(default_factory=list)
    field_names: list = field(default_factory=list)
    red_page_peak: int | None = None
    red_brightest: int | None = None

    def faults(self) -> list[str]:
        """Everything that a reader should not meet."""
        found = [] if self.ran else ["not every cell was run"]
        for out in self.outputs:
            if out["kind"] == "error" and not out["allowed"]:
                found.append(f"a cell failed: {out['text'][:200]}")
            if out["stream"] == "stderr":
                found.append(f"stderr: {out['text'][:200]}")
        found += [f"error of the page: {text}" for text in self.page_errors]
        found += [f"request to the outside: {url}" for url in self.outside]
        found += [f"a panel shows: {text}" for text in self.alerts]
        if self.panels:
            for good, words in (
                (self.picture_moved, "the picture did not follow the slider"),
                (self.words_moved, "the words did not follow the slider"),
                (self.settled, "the range did not follow after the release"),
                (all(self.names), "a picture has no accessible name"),
                (all(self.field_names), "a number field has no accessible name"),
                (self.red_page_peak == 0, f"the red page has green or blue up to {self.red_page_peak}"),
                ((self.red_brightest or 0) > 150, "the red page is too dark to read"),
            ):
                if not good:
                    found.append(words)
        return found


def open_notebook(page, lab, name: str) -> None:
    """Load the notebook in a workspace of its own and wait for its kernel."""
    url, token = lab
    page.goto(f"{url}/lab/workspaces/{Path(name).stem}/tree/{name}?token={token}&reset")
    page.wait_for_function("window.jupyterapp", timeout=60_000)
    page.evaluate(READY)
    page.evaluate(COLLAPSE)


def visit(page, lab, name: str, shots: Path) -> Visit:
    """Run all cells, move the first slider by keyboard, put on the red look; take a picture of each look."""
    seen, url = Visit(), lab[0]
    near = url.replace("http", "", 1)

    def asked(request):
        if request.url.startswith(("http", "ws")) and not request.url.split(":", 1)[1].startswith(near[1:]):
            seen.outside.append(request.url)

    page.on("request", asked)
    page.on("websocket", asked)
    page.on("pageerror", lambda error: seen.page_errors.append(str(error)))
    page.set_default_timeout(RUN_MS)
    open_notebook(page, lab, name)
    seen.ran = page.evaluate(RUN_ALL) is True  # comes back when the last cell has run
    seen.panels = page.locator(PICTURE).count()
    if seen.panels:
        _move_first_slider(page, seen)
        seen.names = page.locator(PICTURE).evaluate_all("all => all.map(i => i.title || i.alt)")
        seen.field_names = page.locator(".jp-OutputArea .widget-text input[type=number]").evaluate_all(
            "all => all.map(i => i.labels.length ? i.labels[0].textContent.trim() : '')"
        )
        page.locator(PICTURE).first.scroll_into_view_if_needed()
    page.screenshot(path=shots / f"{Path(name).stem}-light.png")
    if seen.panels:
        _put_on_red(page, seen, shots / f"{Path(name).stem}-red.png")
    seen.outputs = page.evaluate(OUTPUTS)
    seen.alerts = page.locator(ALERT).all_inner_texts()
    return seen


def _move_first_slider(page, seen):
    panel = page.locator(PANEL).first
    picture, words = page.locator(PICTURE).first, panel.locator("[role=status]").first
    handle = panel.locator(".noUi-handle").first
    handle.scroll_into_view_if_needed()
    handle.focus()
    source, text, drawn = picture.get_attribute("src"), words.inner_text(), picture.evaluate(BYTES)
    low, now, high = (float(handle.get_attribute(f"aria-value{end}")) for end in ("min", "now", "max"))
    key = "ArrowLeft" if now - low > high - now else "ArrowRight"
    for _ in range(5):
        page.keyboard.press(key)
    _soon(lambda: picture.get_attribute("src") != source, seconds=2)
    page.wait_for_timeout(600)  # the release is known after a quarter of a second without a move
    seen.settled = _soon(lambda: "range follows" not in words.inner_text())
    seen.words_moved = words.inner_text() != text
    seen.picture_moved = picture.evaluate(BYTES) != drawn
    seen.picture_moved &= picture.evaluate("i => i.complete && i.naturalWidth > 100")


def _put_on_red(page, seen, path):
    picture = page.locator(PICTURE).first
    source = picture.get_attribute("src")
    page.get_by_role("button", name="Dim red look").first.click()
    _soon(lambda: picture.get_attribute("src") != source)
    page.wait_for_timeout(800)  # transitions of the page itself
    shot = page.screenshot(path=path, animations="disabled")
    pixels = np.asarray(Image.open(io.BytesIO(shot)).convert("RGB"))
    seen.red_page_peak, seen.red_brightest = int(pixels[..., 1:].max()), int(pixels[..., 0].max())


def _soon(true, seconds=5.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.03)
    return False
