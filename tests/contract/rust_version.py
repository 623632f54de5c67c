"""Hold the Rust version that the SDK states to what its dependencies state.

Clippy finds what the SDK's own code needs (`incompatible_msrv`). This finds what the locked dependencies need, so that
the version in client/Cargo.toml and openapi/Cargo.toml is not too low.

Usage: rust_version.py   (asks cargo, offline, for the workspace this file stands in)
"""

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# What a user of each crate may build, everything switched on that is for users.
CRATES = {"eavesward-contract": [], "eavesward-client": ["blocking", "webhook", "cli"]}


def number(version):
    """A version to compare by: `1.89` is `1.89.0`, and a crate that states none is older than all."""
    parts = [int(part) for part in (version or "0").split(".")]
    return tuple(parts + [0] * (3 - len(parts)))


def problems(stated, needed):
    """One line for each dependency that needs more than `stated`; `needed` is what each of them states."""
    return [
        f"{name} needs Rust {version}, but {stated} is stated"
        for name, version in sorted(needed.items())
        if number(version) > number(stated)
    ]


def cargo(*arguments):
    command = ["cargo", *arguments, "--offline", "--locked"]
    return subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout


def main():
    packages = json.loads(cargo("metadata", "--format-version", "1"))["packages"]
    stated = {f"{package['name']} v{package['version']}": package["rust_version"] for package in packages}
    ours = {f"{package['name']} v{package['version']}" for package in packages if package["source"] is None}
    faults = 0
    for crate, features in CRATES.items():
        tree = cargo("tree", "--package", crate, "--features", ",".join(features), "--edges", "normal,build",
                     "--target", "all", "--prefix", "none", "--format", "{p}")
        names = {" ".join(line.split()[:2]) for line in tree.splitlines() if line}
        # Of our own crates, the one asked for.
        own = next(name for name in names & ours if name.startswith(f"{crate} v"))
        found = problems(stated[own], {name: stated[name] for name in names - ours})
        for line in found:
            print(f"{crate}: {line}")
        faults += len(found)
        print(f"rust version: {crate} states {stated[own]}, {len(names)} crates read, {len(found)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
