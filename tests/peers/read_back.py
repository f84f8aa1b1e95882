"""Reads what `runtrue convert` writes with pyarrow and duckdb, and compares values, units and missing cells.

Run it from the project's folder after a release build. What it printed is kept in read_back.txt beside this file.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import duckdb
import pyarrow
import pyarrow.csv
import pyarrow.ipc
import pyarrow.parquet

LOG = Path("sample-logs/alder-quay/logs/t3.csv")
UNITS = {"time_s": "s", "rpm": "1/min", "voltage_v": "V", "current_a": "A", "motor_c": "°C", "controller_c": "°C"}

with tempfile.TemporaryDirectory() as folder:
    made = {}
    for form in ("parquet", "arrow", "csv"):
        made[form] = Path(folder) / f"log.{form}"
        subprocess.run(["target/release/runtrue", "convert", LOG, "--to", form, "--out", made[form]], check=True, stdout=subprocess.DEVNULL)
    parquet = pyarrow.parquet.read_table(made["parquet"])
    with pyarrow.ipc.open_file(made["arrow"]) as reader:
        arrow = reader.read_all()
    csv = pyarrow.csv.read_csv(made["csv"])
    assert parquet.equals(arrow), "Parquet and Arrow differ"
    assert csv.column_names == parquet.column_names, "CSV and Parquet have different columns"
    print(f"pyarrow {pyarrow.__version__}, duckdb {duckdb.__version__}")
    print(f"{LOG}: {parquet.num_rows} rows, {parquet.num_columns} columns")
    for field in parquet.schema:
        unit = field.metadata[b"unit"].decode()
        assert unit == UNITS[field.name], field.name
        column = parquet[field.name]
        a, b = column.drop_null().to_pylist(), csv[field.name].drop_null().to_pylist()
        assert len(a) == len(b) and all(abs(x - y) <= 1e-9 * max(1.0, abs(x)) for x, y in zip(a, b)), field.name
        row = duckdb.sql(f"select count({field.name}), min({field.name}), max({field.name}) from '{made['parquet']}'").fetchall()[0]
        assert row == (len(a), min(a), max(a)), field.name
        print(f"{field.name} [{unit}]: {len(a)} values, {column.null_count} missing, {row[1]} to {row[2]}")
print("all agree")
sys.exit(0)
