"""What every notebook of the workbook must have, as functions that return faults in words."""

from __future__ import annotations

import re
import statistics

PARTS = ("promise", "predict", "play", "explain", "write", "worked", "break", "check", "card")
NOT_LESSONS = {"start-here", "bench", "measure"}  # not built of the nine parts
WORDS = 1200, 2000
CODE_CELLS = 10, 25
MOST_LINES, TYPICAL_LINES = 12, 5
MOST_KB = 300


def tags(cell) -> list[str]:
    return list(cell.metadata.get("tags", []))


def words(notebook) -> int:
    """Words of prose: markdown without code, formulas, tags and addresses."""
    prose = "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    for pattern in (r"```.*?```", r"\$\$.*?\$\$", r"\$[^$\n]+\$", r"<[^>]+>", r"\]\([^)]*\)"):
        prose = re.sub(pattern, " ", prose, flags=re.DOTALL)
    return len(re.findall(r"[^\W_]+(?:[’'.,-][^\W_]+)*", prose))


def parts_faults(notebook) -> list[str]:
    """The nine parts, each there, in order."""
    seen = [tag for cell in notebook.cells for tag in tags(cell) if tag.startswith("part-")]
    first = list(dict.fromkeys(seen))
    wanted = [f"part-{part}" for part in PARTS]
    faults = [f"no cell is tagged {tag}" for tag in wanted if tag not in first]
    faults += [f"unknown tag {tag}" for tag in first if tag not in wanted]
    if not faults and first != wanted:
        faults.append(f"the parts stand in the order {', '.join(first)}")
    return faults


def size_faults(notebook, *, lesson: bool = True) -> list[str]:
    """Words, code cells and lines; only the longest cell counts where it is not a lesson."""
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    lengths = [len(cell.source.splitlines()) for cell in code]
    faults = [
        f"code cell {k} has {n} lines, allowed {MOST_LINES}"
        for k, n in enumerate(lengths, 1)
        if n > MOST_LINES
    ]
    if lesson:
        if not WORDS[0] <= (count := words(notebook)) <= WORDS[1]:
            faults.append(f"{count} words, allowed {WORDS[0]} to {WORDS[1]}")
        if not CODE_CELLS[0] <= len(code) <= CODE_CELLS[1]:
            faults.append(f"{len(code)} code cells, allowed {CODE_CELLS[0]} to {CODE_CELLS[1]}")
        if lengths and statistics.median(lengths) > TYPICAL_LINES:
            faults.append(
                f"a typical code cell has {statistics.median(lengths):g} lines, allowed {TYPICAL_LINES}"
            )
    return faults


def picture_faults(notebook) -> list[str]:
    """A description for every picture, and a table twin for every one that a cell draws."""
    faults = []
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type == "markdown":
            faults += [
                f"cell {number}: an image without alt text" for _ in re.findall(r"!\[\s*\]\(", cell.source)
            ]
            for tag in re.findall(r"<img\b[^>]*>", cell.source):
                if not re.search(r"\balt\s*=\s*(\"[^\"]+\"|'[^']+')", tag):
                    faults.append(f"cell {number}: an image without alt text")
        for output in cell.get("outputs", []):
            if any(kind.startswith("image/") for kind in output.get("data", {})):
                if not output.metadata.get("image/png", {}).get("alt"):
                    faults.append(f"cell {number}: a picture without alt text")
                if "\nTable:\n" not in output.data.get("text/plain", ""):
                    faults.append(f"cell {number}: a picture without a table twin")
    return faults


def hidden_faults(notebook, *, lesson: bool = True) -> list[str]:
    """Solutions folded; the sweep of the panels last and hidden; nothing else hidden but setup."""
    faults, code = [], [cell for cell in notebook.cells if cell.cell_type == "code"]
    solutions = [cell for cell in notebook.cells if "solution" in tags(cell)]
    if lesson and not solutions:
        faults.append("no cell is tagged solution")
    for cell in notebook.cells:
        hidden = bool(cell.metadata.get("jupyter", {}).get("source_hidden"))
        folded = hidden or "<details" in cell.source
        if "solution" in tags(cell) and not folded:
            faults.append(f"an open solution: {cell.source[:40]!r}")
        if hidden and not {"solution", "sweep", "setup"} & set(tags(cell)):
            faults.append(f"a hidden cell that is neither setup, solution nor sweep: {cell.source[:40]!r}")
    panels = any("image/png" in output.get("data", {}) for cell in code for output in cell.outputs)
    sweeps = [cell for cell in code if "sweep" in tags(cell)]
    if panels and not (sweeps and "sweep" in tags(notebook.cells[-1])):
        faults.append("the last cell does not sweep the panels (tag sweep)")
    if any(not cell.metadata.get("jupyter", {}).get("source_hidden") for cell in sweeps):
        faults.append("the sweep is not hidden")
    return faults


def output_faults(notebook, text: str) -> list[str]:
    """Outputs as a reader should find them, and as the comparison needs them."""
    faults = []
    for number, cell in enumerate(notebook.cells, 1):
        if cell.cell_type != "code":
            continue
        if cell.execution_count is None:
            faults.append(f"cell {number} was not run")
        for output in cell.outputs:
            if output.output_type == "error" and "raises-exception" not in tags(cell):
                faults.append(f"cell {number} failed: {output.evalue[:100]}")
            if output.get("name") == "stderr":
                faults.append(f"cell {number} wrote to stderr: {output.text[:100]}")
            if (
                "role='alert'" in str(output)
                or 'role="alert"' in str(output)
                or "No answer for" in str(output)
            ):
                faults.append(f"cell {number} shows a panel without an answer")
    if re.search(r"<style|import \*|pyplot|https?://[^\s)\"]+\.(?:js|css)", _code_of(notebook)):
        faults.append("injected style, star import or pyplot in a cell")
    if (size := len(text.encode()) / 1000) > MOST_KB:
        faults.append(f"{size:.0f} kB, allowed {MOST_KB}")
    return faults


def _code_of(notebook):
    return "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "code")


def faults(notebook, text: str, name: str) -> list[str]:
    """Everything that is wrong with one notebook; `text` is its file, `name` its stem."""
    lesson = name not in NOT_LESSONS
    return [
        *(parts_faults(notebook) if lesson else []),
        *size_faults(notebook, lesson=lesson),
        *picture_faults(notebook),
        *hidden_faults(notebook, lesson=lesson),
        *output_faults(notebook, text),
    ]
