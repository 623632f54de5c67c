"""Hold every dependency to the licences, bans and sources of .deny.toml.

cargo-deny does the same and more, but has to be installed first. This reads `cargo metadata` and nothing else, so
that the rule holds on a machine that has only cargo and Python.

Usage: licences.py [METADATA.json]   (default: asks cargo, offline, for the workspace this file stands in)
"""

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WORDS = re.compile(r"[()]|[A-Za-z0-9.+-]+|/")


def satisfied(expression, allowed):
    """Whether an SPDX expression can be met from `allowed`, a set of ids and `ID WITH EXCEPTION` pairs.

    A slash between ids is the older spelling of OR. AND binds tighter than OR.
    """
    words = WORDS.findall(expression)
    if "".join(words) != "".join(expression.split()):
        raise ValueError(f"cannot read licence expression {expression!r}")
    words = ["OR" if word == "/" else word for word in words]
    at = 0

    def peek():
        return words[at] if at < len(words) else None

    def take():
        nonlocal at
        word = peek()
        if word is None:
            raise ValueError(f"licence expression {expression!r} ends too early")
        at += 1
        return word

    def either():
        result = both()
        while peek() == "OR":
            take()
            # Not `or`: the right side has to be read even when the left already passed.
            right = both()
            result = result or right
        return result

    def both():
        result = one()
        while peek() == "AND":
            take()
            right = one()
            result = result and right
        return result

    def one():
        word = take()
        if word == "(":
            result = either()
            if take() != ")":
                raise ValueError(f"unbalanced brackets in licence expression {expression!r}")
            return result
        if word in {")", "AND", "OR", "WITH"}:
            raise ValueError(f"{word!r} is out of place in licence expression {expression!r}")
        if peek() == "WITH":
            take()
            # An exception only adds permissions, so the bare licence being allowed is enough.
            return f"{word} WITH {take()}" in allowed or word in allowed
        return word in allowed

    result = either()
    if peek() is not None:
        raise ValueError(f"{peek()!r} is out of place in licence expression {expression!r}")
    return result


def problems(metadata, policy):
    """One line for each package that the policy refuses."""
    allowed = set(policy["licenses"]["allow"])
    banned = {entry["crate"]: entry["reason"] for entry in policy["bans"]["deny"]}
    found = []
    registries = set()
    for package in metadata["packages"]:
        name = f"{package['name']} {package['version']}"
        licence = package.get("license")
        if not licence:
            found.append(f"{name}: declares no licence expression")
        else:
            try:
                if not satisfied(licence, allowed):
                    found.append(f"{name}: {licence!r} cannot be met from [licenses] allow in .deny.toml")
            except ValueError as error:
                found.append(f"{name}: {error}")
        if package["name"] in banned:
            found.append(f"{name}: banned by .deny.toml: {banned[package['name']]}")
        source = package.get("source")
        if source is None:
            continue
        if source.startswith("registry+"):
            registries.add(source)
        else:
            found.append(f"{name}: comes from {source}, not from the default registry")
    if len(registries) > 1:
        found.append(f"packages come from {len(registries)} registries; only the default one is allowed")
    return found


def read_metadata(arguments):
    if arguments:
        return json.loads(Path(arguments[0]).read_text())
    command = ["cargo", "metadata", "--format-version", "1", "--all-features", "--offline", "--locked"]
    return json.loads(subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE).stdout)


def main(arguments):
    policy = tomllib.loads((ROOT / ".deny.toml").read_text())
    metadata = read_metadata(arguments)
    count = len(metadata["packages"])
    if count < 2:
        print("cargo metadata lists no dependency: nothing was checked")
        return 1
    found = problems(metadata, policy)
    for line in found:
        print(line)
    print(f"licences: {count} packages read, {len(found)} refused")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
