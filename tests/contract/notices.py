"""Write the notices of third parties: every crate that a binary is built of, its licence, and the texts it brings along.

The licences of most crates ask for their text to come with a binary. The texts are read from the sources that cargo
fetched, so this needs nothing but cargo and Python, and the notices are those of the build beside them.

Usage: notices.py PACKAGE [FEATURES] >NOTICES.txt   (asks cargo, offline, for the workspace this file stands in)
"""

import json
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# Files with a licence or a notice, however they are spelled: LICENSE-MIT, COPYING, NOTICE.md.
TEXT = re.compile(r"(licen[sc]e|copying|copyright|notice|unlicense)", re.IGNORECASE)
SOURCE = {".rs", ".toml", ".json", ".py", ".c", ".h"}
RULE = "-" * 80


def texts(folder):
    """The licence texts of a crate: files at its top, and in the folders that some keep them in."""
    places = [folder, *(place for place in folder.iterdir() if place.is_dir() and TEXT.match(place.name))]
    files = sorted(
        file
        for place in places
        for file in place.iterdir()
        if file.is_file() and file.suffix not in SOURCE and (TEXT.search(file.name) or place != folder)
    )
    return [file.read_text(encoding="utf-8", errors="replace").replace("\r\n", "\n").strip() for file in files]


def notices(title, crates):
    """The document for `crates`, each a dict of name, version, licence, source and texts. Each text stands once."""
    numbers = {}
    lines = [title, "", f"{len(crates)} crates of third parties. Numbers in brackets lead to the texts below.", ""]
    for crate in sorted(crates, key=lambda crate: (crate["name"], crate["version"])):
        marks = "".join(f" [{numbers.setdefault(text, len(numbers) + 1)}]" for text in crate["texts"])
        marks = marks or " (it brings no text of its own)"
        lines.append(f"{crate['name']} {crate['version']}: {crate['licence']}{marks}")
        if crate["source"]:
            lines.append(f"    {crate['source']}")
    for text, number in numbers.items():
        lines += ["", RULE, f"[{number}]", "", text]
    return "\n".join(lines) + "\n"


def cargo(*arguments):
    command = ["cargo", *arguments, "--offline", "--locked"]
    return subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout


def linked(package, features):
    """Every crate that is linked into a package, on the machine that builds."""
    chosen = ["--features", features] if features else []
    tree = cargo("tree", "--package", package, *chosen, "--edges", "normal", "--prefix", "none", "--format", "{p}")
    names = {tuple(line.split()[:2]) for line in tree.splitlines() if line}
    for found in json.loads(cargo("metadata", "--format-version", "1", "--all-features"))["packages"]:
        if found["source"] is None or (found["name"], f"v{found['version']}") not in names:
            continue
        yield {
            "name": found["name"],
            "version": found["version"],
            "licence": found["license"] or "see its text",
            "source": found["repository"],
            "texts": texts(Path(found["manifest_path"]).parent),
        }


def main(arguments):
    if not 1 <= len(arguments) <= 2:
        print(__doc__.strip().splitlines()[-1], file=sys.stderr)
        return 2
    package, features = arguments[0], arguments[1] if len(arguments) > 1 else ""
    crates = list(linked(package, features))
    if not crates:
        print(f"cargo lists no crate of third parties in {package}", file=sys.stderr)
        return 1
    sys.stdout.write(notices(f"Notices of third parties in {package}", crates))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
