"""How time and memory grow with a log's length and a season's runs, and the exponent of each: 1 is linear.

    cargo bench --bench peers_data -- DIR        # writes the long log that is repeated here
    python benches/peers/growth.py DIR

The log of 1/8 to 1 GB repeats the long log while its clock goes on. The season of 125 to 1000 runs repeats the reviews of the weekend of 40 runs. Best of
three; memory is the peak of the process, and beside it stands what the channels take (8 bytes a value).
"""

import json
import math
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

RUNTRUE = Path(__file__).resolve().parent.parent.parent / "target/release/runtrue"


def measured(*command):
    """Seconds and peak MB of the best of three runs, by a process of its own that waits for it."""
    code = (
        "import resource, subprocess, sys, time; s = time.perf_counter(); subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL); "
        "print(time.perf_counter() - s, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"
    )
    runs = [subprocess.run([sys.executable, "-c", code, *map(str, command)], check=True, capture_output=True, text=True).stdout for _ in range(3)]
    return min(tuple(map(float, r.split())) for r in runs)


def exponent(points):
    """Slope of log y over log x by least squares."""
    x, y = [math.log(p[0]) for p in points], [math.log(p[1]) for p in points]
    mx, my = sum(x) / len(x), sum(y) / len(y)
    return sum((a - mx) * (b - my) for a, b in zip(x, y)) / sum((a - mx) ** 2 for a in x)


def repeat(plain, path, size):
    """The long log's rows over and over up to `size` bytes, the time in milliseconds going on."""
    lines = plain.read_bytes().split(b"\n")
    header, rows = lines[0], [line.split(b",", 1)[1] for line in lines[1:] if line]
    with path.open("wb") as out:
        out.write(header.replace(b"[s]", b"[ms]") + b"\n")
        written, row = 0, 0
        while written < size:
            piece = b"".join(b"%d,%s\n" % (5 * (row + n), rest) for n, rest in enumerate(rows))[: size - written]
            piece = piece[: piece.rfind(b"\n") + 1]
            if not piece:
                break
            row += len(rows)
            written += len(piece)
            out.write(piece)


def logs(folder, scratch):
    print("| log | s | peak MB | channels MB |\n| --- | --- | --- | --- |")
    points = []
    for size in (125e6, 250e6, 500e6, 1000e6):
        path = scratch / "long.csv"
        repeat(folder / "plain.csv", path, int(size))
        read = json.loads(subprocess.run([RUNTRUE, "--format", "json", "read", path], check=True, capture_output=True).stdout)["runs"][0]
        channels = 8 * read["rows_kept"] * len(read["channels"]) / 1e6
        seconds, peak = measured(RUNTRUE, "-q", "read", path)
        points.append((size, seconds, peak))
        print(f"| {size / 1e6:.0f} MB | {seconds:.2f} | {peak:.0f} | {channels:.0f} |", flush=True)
    print(f"exponents: time {exponent([(p[0], p[1]) for p in points]):.2f}, memory {exponent([(p[0], p[2]) for p in points]):.2f}")


def seasons(folder, scratch):
    """Weekends of 25 runs each: what a season holds of runs and weekends grows together."""
    weekend = scratch / "w0"
    weekend.mkdir()
    review = json.loads(subprocess.run([RUNTRUE, "--format", "json", "review", folder / "weekend", "--out", scratch / "r"], check=True, capture_output=True).stdout)
    review["runs"] = review["runs"][:25]
    print("| season | gathered s | peak MB |\n| --- | --- | --- |")
    points = []
    for count in (5, 10, 20, 40):
        root = scratch / f"season{count}"
        for n in range(count):
            review["weekend"] |= {"name": f"Round {n}", "date": f"20{20 + n // 12:02d}-{n % 12 + 1:02d}-15"}
            for run in review["runs"]:
                run["reading"]["duration_s"] += 1.0
            path = scratch / f"s{count}" / f"w{n}" / "report"
            path.mkdir(parents=True)
            (path / "review.json").write_text(json.dumps(review))
        seconds, peak = measured(RUNTRUE, "-q", "season", scratch / f"s{count}", "--out", root)
        points.append((25 * count, seconds, peak))
        print(f"| {25 * count} runs, {count} weekends | {seconds:.2f} | {peak:.0f} |", flush=True)
        shutil.rmtree(root)
    print(f"exponents: time {exponent([(p[0], p[1]) for p in points]):.2f}, memory {exponent([(p[0], p[2]) for p in points]):.2f}")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as scratch:
        logs(Path(sys.argv[1]), Path(scratch))
        seasons(Path(sys.argv[1]), Path(scratch))
