"""Make a run notebook ready for git: python tests/tidy.py [--check] FILES

Kept: sources, tags, texts, pictures. Dropped: widget views and states, timings, numbers that change from
run to run. Pictures become palette PNGs. Tidying twice changes nothing; `--check` only says which files are
untidy.
"""

from __future__ import annotations

import base64
import io
import sys
from pathlib import Path

import nbformat
from PIL import Image

VIEW = "application/vnd.jupyter.widget-view+json"
KERNEL = {
    "kernelspec": {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
KEPT_CELL_METADATA = {"tags", "jupyter", "slideshow"}


def tidied(notebook) -> str:
    """The text of the notebook file as git should hold it."""
    notebook.metadata = nbformat.from_dict(KERNEL)
    count = 0
    for cell in notebook.cells:
        cell.metadata = nbformat.from_dict(
            {k: v for k, v in cell.metadata.items() if k in KEPT_CELL_METADATA}
        )
        if cell.cell_type == "code":
            count += 1
            cell.execution_count = count  # without a number the comparison of outputs is switched off
            cell.outputs = _joined([_tidy_output(output, count) for output in cell.outputs])
    return nbformat.writes(notebook).rstrip("\n") + "\n"


def _tidy_output(output, count):
    if "execution_count" in output:
        output.execution_count = count
    if "data" in output:
        output.data.pop(VIEW, None)
        if "image/png" in output.data:
            output.data["image/png"] = _palette(output.data["image/png"])
    if "metadata" in output:
        output.metadata.pop("needs_background", None)
    return output


def _joined(outputs):
    """Printed lines reach the notebook in pieces that differ from run to run: pieces of one stream as one."""
    joined = []
    for output in outputs:
        before = joined[-1] if joined else None
        if before and before.output_type == output.output_type == "stream" and before.name == output.name:
            before.text += output.text
        else:
            joined.append(output)
    return joined


def _palette(encoded):
    """The picture with a palette of 128 colours; one that has a palette already is left as it is."""
    picture = Image.open(io.BytesIO(base64.b64decode(encoded)))
    if picture.mode == "P":
        return encoded.replace("\n", "")
    out = io.BytesIO()
    picture.convert("RGB").quantize(128, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return base64.b64encode(out.getvalue()).decode()


def tidy(path: Path, *, check: bool = False) -> bool:
    """Tidy one file in place (or only look, with `check`); True where it was untidy."""
    before = path.read_text(encoding="utf-8")
    after = tidied(nbformat.reads(before, as_version=4))
    if before != after and not check:
        path.write_text(after, encoding="utf-8")
    return before != after


def main(arguments: list[str]) -> int:
    """Command line; 1 where `--check` found an untidy file."""
    check = "--check" in arguments
    untidy = [name for name in arguments if name != "--check" and tidy(Path(name), check=check)]
    for name in untidy:
        print(f"{'untidy' if check else 'tidied'}: {name}")
    return int(check and bool(untidy))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
