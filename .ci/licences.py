"""The licences of everything that is in the program: each crate with its licence, then the texts that came with them.

Crates and their licences are those that cargo names; `cargo deny` has checked that all of them are allowed.
"""
import json
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
VENDORED = [("uPlot 1.6.32", "MIT", HERE / "src/report/vendor/uplot")]
NAMES = ("LICENSE*", "LICENCE*", "COPYING*", "NOTICE*", "UNLICENSE*", "license*")


def cargo(*words):
    return subprocess.run(["cargo", *words], cwd=HERE, check=True, capture_output=True, text=True).stdout


def linked():
    """Name, version and licence of each crate that the program is built of, but the project itself."""
    lines = cargo("tree", "--locked", "--edges", "normal", "--prefix", "none", "--format", "{p}|{l}").splitlines()
    crates = {tuple(line.replace(" (*)", "").replace(" (proc-macro)", "").split("|")) for line in lines if line}
    return sorted((crate, licence) for crate, licence in crates if not crate.startswith("runtrue "))


def folders():
    """The folder of each crate, by name and version."""
    packages = json.loads(cargo("metadata", "--locked", "--format-version", "1"))["packages"]
    return {f"{p['name']} v{p['version']}": Path(p["manifest_path"]).parent for p in packages}


def texts(folder):
    found = {path for name in NAMES for path in folder.glob(name) if path.is_file()}
    return [path.read_text(encoding="utf-8", errors="replace").strip() for path in sorted(found)]


def main():
    where = folders()
    crates = [(crate, licence, where[crate]) for crate, licence in linked()] + VENDORED
    users = {}
    for crate, licence, folder in crates:
        for text in texts(folder):
            users.setdefault(text, []).append(crate)
    print("What runtrue is built of, and under which licences.\n")
    for crate, licence, _ in crates:
        print(f"{crate}: {licence or 'see its text below'}")
    for text, names in sorted(users.items(), key=lambda item: item[1]):
        print("\n" + "=" * 100 + "\n" + ", ".join(names) + "\n" + "-" * 100 + "\n" + text)
    without = [crate for crate, _, folder in crates if not texts(folder)]
    if without:
        print("\n" + "=" * 100 + "\nWithout a text of their own (the licence named above holds): " + ", ".join(without))


main()
