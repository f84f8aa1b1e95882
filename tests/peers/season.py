"""Reads a season's data set with duckdb, pyarrow, Python polars and DataFusion, and compares the results with each
other and with the reviews.

Run it from the project's folder after a release build. Names of partitions, pruning by them, types, nulls, units and
sums must be the same in all of them.
"""

import json
import math
import subprocess
import tempfile
from pathlib import Path

import datafusion
import duckdb
import polars
import pyarrow
import pyarrow.compute as pc
import pyarrow.dataset
import pyarrow.parquet

RUNTRUE = Path("target/release/runtrue").resolve()
TABLES = ["runs", "laps", "events", "figures", "keys", "effects"]


def runtrue(*arguments):
    return subprocess.run([RUNTRUE, *arguments], check=True, stdout=subprocess.PIPE).stdout


def read_all(season, table):
    """Each engine's whole table as rows of tuples in one order of columns."""
    files = str(season / table / "*" / "*" / "*.parquet")
    arrow = pyarrow.dataset.dataset(season / table, partitioning="hive").to_table()
    columns = arrow.column_names
    assert columns[-2:] == ["year", "weekend"], columns
    context = datafusion.SessionContext()
    parts = [("year", pyarrow.int32()), ("weekend", pyarrow.string())]
    context.register_parquet("t", str(season / table), table_partition_cols=parts)
    names = ", ".join(f'"{c}"' for c in columns)
    rows = {
        "pyarrow": list(zip(*arrow.to_pydict().values())),
        "duckdb": duckdb.sql(f"select {names} from read_parquet('{files}', hive_partitioning = true)").fetchall(),
        "polars": polars.scan_parquet(files, hive_partitioning=True).select(columns).collect().rows(),
        "datafusion": list(zip(*pyarrow.Table.from_batches(context.sql(f"select {names} from t").collect()).to_pydict().values())),
    }
    return columns, {engine: sorted(r, key=repr) for engine, r in rows.items()}


def main(folder):
    folder = Path(folder)
    runtrue("demo", folder / "weekends", "--season", "3")
    season = folder / "season"
    weekends = sorted((folder / "weekends").iterdir())
    reviews = [json.loads(runtrue("review", w, "--format", "json")) for w in weekends]
    answers = json.loads(runtrue("season", folder / "weekends", "--out", season, "--format", "json"))
    print(f"duckdb {duckdb.__version__}, pyarrow {pyarrow.__version__}, polars {polars.__version__}, DataFusion {datafusion.__version__}")

    schema = {t["name"]: t for t in json.loads(runtrue("season", "--schema"))["tables"]}
    for table in TABLES:
        columns, rows = read_all(season, table)
        first = rows["pyarrow"]
        assert first and all(r == first for r in rows.values()), {e: (len(r), r[:1]) for e, r in rows.items()}
        expected = schema[table]["columns"]
        assert columns[:-2] == [c["name"] for c in expected]
        file = next((season / table).rglob("*.parquet"))
        for field, column in zip(pyarrow.parquet.read_schema(file), expected):
            assert (field.metadata.get(b"unit") or b"").decode() == column["unit"], field.name
        # A column that no run ever fills would be read from a field that does not exist.
        filled = {c for n, c in enumerate(columns) if any(r[n] is not None for r in first)}
        # The invented logs have no throttle channel, without which nothing tells coasting.
        assert set(columns) - filled <= {"error", "together_with", "coast_m_s2"}, set(columns) - filled
        print(f"{table}: {len(first)} rows, {len(columns)} columns, the same in all four")

    runs = [r for review in reviews for r in review["runs"]]
    total = duckdb.sql(f"select count(*), sum(used_mah), avg(resistance_mohm) from read_parquet('{season}/runs/*/*/*.parquet')").fetchall()[0]
    used = math.fsum(r["battery"]["used_mah"] for r in runs)
    packs = [r["battery"]["resistance_mohm"]["value"] for r in runs if r["battery"]["resistance_mohm"]]
    assert total[0] == len(runs) and math.isclose(total[1], used) and math.isclose(total[2], math.fsum(packs) / len(packs)), total
    laps = sum(len(r["laps"]["rows"]) for r in runs)
    assert polars.scan_parquet(f"{season}/laps/**/*.parquet").select(polars.len()).collect().item() == laps
    events = sum(len(r["wheelspin"]["events"]) for r in runs)
    assert pyarrow.dataset.dataset(season / "events", partitioning="hive").count_rows() == events

    # One weekend is found by its folder alone.
    one = answers["weekends"][0]["weekend"]
    pruned = pyarrow.dataset.dataset(season / "runs", partitioning="hive")
    assert len(list(pruned.get_fragments(pc.field("weekend") == one))) == 1
    assert duckdb.sql(f"select count(*) from read_parquet('{season}/runs/*/*/*.parquet', hive_partitioning = true) where weekend = '{one}'").fetchall()[0][0] == answers["weekends"][0]["runs"]
    print(f"{len(runs)} runs, {laps} laps, {events} events: the sums are those of the reviews")


with tempfile.TemporaryDirectory() as folder:
    main(folder)
