"""Runs each notebook from the first cell to the last, and says which cell failed.

    python notebooks/run.py            # after a release build, on the sample weekend and an invented season; changes no notebook
    python notebooks/run.py FOLDER     # also writes the executed notebooks to FOLDER

If WEEKEND_REPORT or SEASON is set, that report or data set is read instead.

A notebook with outputs is refused: they could be somebody's data.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import nbformat
from nbclient import NotebookClient

HERE = Path(__file__).resolve().parent
RUNTRUE = HERE.parent / "target/release/runtrue"


def runtrue(*arguments):
    subprocess.run([RUNTRUE, "--quiet", *map(str, arguments)], check=True)


def main(keep):
    os.environ["PATH"] = f"{RUNTRUE.parent}{os.pathsep}{os.environ['PATH']}"
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        if "WEEKEND_REPORT" not in os.environ:
            runtrue("review", HERE.parent / "sample-logs/alder-quay", "--out", folder / "report")
            os.environ["WEEKEND_REPORT"] = str(folder / "report")
        if "SEASON" not in os.environ:
            runtrue("demo", folder / "weekends", "--season", 6)
            runtrue("season", folder / "weekends", "--out", folder / "season")
            os.environ["SEASON"] = str(folder / "season")
        for path in sorted(HERE.glob("*.ipynb")):
            book = nbformat.read(path, as_version=4)
            nbformat.validate(book)
            code = [c for c in book.cells if c.cell_type == "code"]
            assert not any(c.outputs or c.execution_count for c in code), f"{path.name} has outputs: clear them before you commit it"
            NotebookClient(book, timeout=120, resources={"metadata": {"path": str(HERE)}}).execute()
            pictures = sum("image/png" in o.get("data", {}) for c in code for o in c.outputs)
            print(f"{path.name}: {len(code)} cells, {pictures} pictures")
            if keep:
                keep.mkdir(parents=True, exist_ok=True)
                nbformat.write(book, keep / path.name)


main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
