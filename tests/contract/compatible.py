"""Hold the document to the one that clients were made from: responses only grow.

A client that was generated from tests/contract/baseline.json has to read every answer of the service of today, and
may send what it sent before. So no path, parameter, field or status goes, what was required stays so in answers and
nothing new is required of requests, and a closed list of words gets no new word.

Usage: compatible.py [BASELINE DOCUMENT]
"""

import json
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BASELINE = Path(__file__).with_name("baseline.json")
DOCUMENT = ROOT / "openapi" / "openapi.json"
METHODS = ("get", "put", "post", "delete", "patch", "head", "options")

# What may no longer be sent, with the reason: a fault's text, and why no client is harmed.
TIGHTENED = {}


def resolved(document, node):
    """A node, or what its reference names."""
    while isinstance(node, dict) and "$ref" in node:
        target = document
        for part in node["$ref"].removeprefix("#/").split("/"):
            target = target[part]
        node = target
    return node if isinstance(node, dict) else {}


def types(schema):
    """The JSON types that a schema allows; empty if it says nothing of them."""
    told = schema.get("type", [])
    if isinstance(schema.get("const"), str):
        told = "string"
    return {told} if isinstance(told, str) else set(told)


def choices(schema):
    """The schemas of which a value fits one."""
    return schema.get("anyOf") or schema.get("oneOf") or [schema]


class Comparison:
    """Looks for values that one side writes and the other, made from another document, cannot read."""

    def __init__(self, reader, writer, keeps=False):
        """`keeps`: a field that may be left out has to stay all the same, because its reader shows it."""
        self.reader, self.writer, self.keeps = reader, writer, keeps
        # Schemas may name each other in a circle.
        self.under_way = set()

    def faults(self, reads, writes, place):
        """What of `writes` a reader of `reads` would not understand."""
        step = (json.dumps(reads, sort_keys=True), json.dumps(writes, sort_keys=True))
        if step in self.under_way:
            return []
        self.under_way.add(step)
        try:
            return self.of_choices(resolved(self.reader, reads), resolved(self.writer, writes), place)
        finally:
            self.under_way.discard(step)

    def of_choices(self, reads, writes, place):
        open_to = [resolved(self.reader, choice) for choice in choices(reads)]
        found = []
        for choice in choices(writes):
            choice = resolved(self.writer, choice)
            tries = [self.of_one(reader, choice, place) for reader in open_to]
            if all(tries):
                # The closest reader says best what is wrong.
                found += min(tries, key=len)
        return found

    def of_one(self, reads, writes, place):
        if "anyOf" in reads or "oneOf" in reads or "anyOf" in writes or "oneOf" in writes:
            return self.faults(reads, writes, place)
        known, written = types(reads), types(writes)
        fits = known | {"integer"} if "number" in known else known
        if known and not written <= fits:
            return [f"{place}: {'/'.join(sorted(written - fits))} where {'/'.join(sorted(known))} was"]
        if known and not written and writes:
            return [f"{place}: anything where {'/'.join(sorted(known))} was"]
        found = []
        if "enum" in reads:
            new = [word for word in writes.get("enum", ["any word"]) if word not in reads["enum"]]
            found += [f"{place}: the word {word!r} is new" for word in new]
        if "const" in reads and writes.get("const") != reads["const"]:
            found.append(f"{place}: {reads['const']!r} alone was known")
        if "items" in reads and "items" in writes:
            found += self.faults(reads["items"], writes["items"], f"{place}[]")
        return found + self.of_fields(reads, writes, place)

    def of_fields(self, reads, writes, place):
        fields, written = reads.get("properties", {}), writes.get("properties", {})
        found = [
            f"{place}.{name}: it is required, and may be left out"
            for name in reads.get("required", [])
            if name not in writes.get("required", [])
        ]
        if self.keeps and written:
            found += [f"{place}.{name}: it is gone" for name in fields if name not in written]
        for name, schema in written.items():
            if name in fields:
                found += self.faults(fields[name], schema, f"{place}.{name}")
            elif reads.get("additionalProperties") is False:
                found.append(f"{place}.{name}: it is refused")
        return found


def bodies(content):
    """The schemas by media type."""
    return {media: body.get("schema", {}) for media, body in content.get("content", {}).items()}


def parameters(document, item, operation):
    """The parameters of an operation, by place and name."""
    told = [resolved(document, one) for one in item.get("parameters", []) + operation.get("parameters", [])]
    return {(one["in"], one["name"].lower()): one for one in told}


def of_operation(old, new, place, before, after):
    """The faults of one operation; `before` and `after` are its path's item and itself."""
    answers, requests = Comparison(old, new, keeps=True), Comparison(new, old)
    found = []
    known, taken = parameters(old, *before), parameters(new, *after)
    for key in known.keys() - taken.keys():
        found.append(f"{place}: the parameter {key[1]} is gone")
    for key, parameter in taken.items():
        where = f"{place} ?{key[1]}"
        if key in known:
            found += requests.faults(parameter.get("schema", {}), known[key].get("schema", {}), where)
        if parameter.get("required") and not known.get(key, {}).get("required"):
            found.append(f"{where}: it is required now")
    takes = resolved(new, after[1].get("requestBody", {}))
    for media, schema in bodies(resolved(old, before[1].get("requestBody", {}))).items():
        if media not in bodies(takes):
            found.append(f"{place}: {media} is no longer taken")
        else:
            found += requests.faults(bodies(takes)[media], schema, f"{place} body")
    for status, answer in before[1]["responses"].items():
        if status not in after[1]["responses"]:
            found.append(f"{place}: {status} is gone")
            continue
        given = bodies(resolved(new, after[1]["responses"][status]))
        for media, schema in bodies(resolved(old, answer)).items():
            if media not in given:
                found.append(f"{place}: {status} is no longer {media}")
            else:
                found += answers.faults(schema, given[media], f"{place} {status}")
    return found


def problems(old, new):
    """One line for each thing that a client of the old document would stumble over."""
    found = []
    for path, item in old["paths"].items():
        after = new["paths"].get(path, {})
        for method in METHODS:
            place = f"{method.upper()} {path}"
            if method in item and method not in after:
                found.append(f"{place}: it is gone")
            elif method in item:
                found += of_operation(old, new, place, (item, item[method]), (after, after[method]))
    return [fault for fault in found if fault not in TIGHTENED]


def main():
    old, new = (json.loads(Path(one).read_text()) for one in (sys.argv[1:] or (BASELINE, DOCUMENT)))
    found = problems(old, new)
    print(f"{len(old['paths'])} paths of the baseline, {len(found)} faults")
    for fault in found:
        print(fault, file=sys.stderr)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
