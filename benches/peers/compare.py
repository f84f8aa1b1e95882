"""Times runtrue beside what a racer would use instead, in turn and on the same files, and prints the table of benches/README.md.

    cargo bench --bench peers_data -- DIR        # writes the files
    python benches/peers/compare.py DIR          # polars, pandas, pyarrow, duckdb, scipy and matplotlib from PyPI

Medians of seven; each program is a process of its own, start included. The peers are told delimiter, decimal mark, encoding and where the
data begin; runtrue is told nothing, counts every dropped cell by its line and writes what it read as Parquet.
"""

import importlib.metadata
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROUNDS = 7
HERE = Path(__file__).parent
RUNTRUE = HERE.parent.parent / "target/release/runtrue"

READERS = {
    "plain": {
        "polars": "import polars as pl; pl.read_csv({path!r}).write_parquet({out!r})",
        "pandas": "import pandas as pd; pd.read_csv({path!r}).to_parquet({out!r})",
        "pyarrow": "import pyarrow.csv as c, pyarrow.parquet as p; p.write_table(c.read_csv({path!r}), {out!r})",
        "duckdb": "import duckdb; duckdb.sql(\"copy (from read_csv('{path}')) to '{out}'\")",
    },
    "awkward": {
        "polars": "import polars as pl; t = open({path!r}, encoding='cp1252').read(); "
        "pl.read_csv(t.encode(), separator=';', decimal_comma=True, skip_rows=2, skip_rows_after_header=1, null_values=['--'], infer_schema_length=10000).write_parquet({out!r})",
        "pandas": "import pandas as pd; pd.read_csv({path!r}, sep=';', decimal=',', encoding='cp1252', skiprows=[0, 1, 3], na_values=['--']).to_parquet({out!r})",
        "pyarrow": "import pyarrow.csv as c, pyarrow.parquet as p; p.write_table(c.read_csv({path!r}, c.ReadOptions(skip_rows=2, skip_rows_after_names=1, encoding='cp1252'), "
        "c.ParseOptions(delimiter=';'), c.ConvertOptions(decimal_point=',', null_values=['--'])), {out!r})",
        "duckdb": "import duckdb; t = open({path!r}, encoding='cp1252').read().split('\\n', 4); import tempfile; f = tempfile.NamedTemporaryFile('w', suffix='.csv'); "
        "f.write(t[2] + '\\n' + t[4]); f.flush(); duckdb.sql(f\"copy (from read_csv('{{f.name}}', delim=';', decimal_separator=',', nullstr='--')) to '{out}'\")",
    },
}


def timed(command):
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True)
    took = time.perf_counter() - start
    return took if done.returncode == 0 else None, done.stderr.decode(errors="replace").strip().splitlines()[-1:]


def race(contest, commands):
    """All commands in turn, round after round, so that what else the machine does falls on each."""
    times, said = {name: [] for name in commands}, {}
    for _ in range(ROUNDS):
        for name, command in commands.items():
            took, error = timed(command)
            (times[name].append(took) if took is not None else said.update({name: error}))
    own = statistics.median(times["runtrue"])
    for name, all_times in times.items():
        if all_times:
            median = statistics.median(all_times)
            print(f"| {contest} | {name} | {median:.2f} s | {median / own:.2f} |")
        else:
            print(f"| {contest} | {name} | could not: {' '.join(said[name])[:80]} | |")


def main(folder):
    print("versions:", ", ".join(f"{p} {importlib.metadata.version(p)}" for p in ["polars", "pandas", "pyarrow", "duckdb", "scipy", "matplotlib"]))
    print("| what | by | median of 7 | times runtrue |\n| --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as scratch:
        for kind, readers in READERS.items():
            path, out = str(folder / f"{kind}.csv"), f"{scratch}/out.parquet"
            commands = {"runtrue": ["sh", "-c", f"rm -f {out}; {RUNTRUE} -q convert {path} --to parquet --out {out}"]}
            commands |= {name: [sys.executable, "-c", code.format(path=path, out=out)] for name, code in readers.items()}
            race(f"{Path(path).stat().st_size / 1e6:.0f} MB, {kind}", commands)
        weekend = str(folder / "weekend")
        race("weekend of 40 runs", {
            "runtrue": [RUNTRUE, "-q", "review", weekend, "--out", f"{scratch}/report"],
            "pandas, scipy, matplotlib": [sys.executable, HERE / "by_hand.py", weekend, f"{scratch}/hand"],
        })
        race("one run of 8 minutes", {"runtrue": [RUNTRUE, "-q", "review", f"{weekend}/logs/r03.csv", "--out", f"{scratch}/one"]})
        race("help", {"runtrue": [RUNTRUE, "--help"]})


if __name__ == "__main__":
    main(Path(sys.argv[1]))
