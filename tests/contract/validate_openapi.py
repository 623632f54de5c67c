"""Hold openapi/openapi.json to OpenAPI 3.1 and to the conventions that a reader of the document relies on.

Usage: validate_openapi.py [DOCUMENT.json]   (default: openapi/openapi.json of this workspace)

Needs the package openapi-spec-validator; tests/run installs it.
"""

import json
import re
import sys
from pathlib import Path

from openapi_schema_validator import OAS31Validator, oas31_format_checker
from openapi_spec_validator import OpenAPIV31SpecValidator

ROOT = Path(__file__).resolve().parents[2]
METHODS = ("get", "put", "post", "delete", "options", "head", "patch", "trace")
PROBLEM = "application/problem+json"


def target(document, reference):
    """What a local reference points at, or None."""
    node = document
    for part in reference.removeprefix("#/").split("/"):
        part = part.replace("~1", "/").replace("~0", "~")
        node = node.get(part) if isinstance(node, dict) else None
    return node


def resolve(document, node):
    """Follow `$ref`s to the object they stand for; one that leads nowhere reads as empty."""
    for _ in range(16):
        if not isinstance(node, dict) or "$ref" not in node:
            return node if isinstance(node, dict) else {}
        node = target(document, node["$ref"])
    return {}


def dangling(document, node, where="#"):
    """References that lead nowhere. The validator raises on the first it meets and visits only what is in use."""
    if isinstance(node, dict):
        reference = node.get("$ref")
        if isinstance(reference, str) and target(document, reference) is None:
            yield f"{where}: {reference} is not in this document"
        for key, value in node.items():
            yield from dangling(document, value, f"{where}/{key}")
    elif isinstance(node, list):
        for index, value in enumerate(node):
            yield from dangling(document, value, f"{where}/{index}")


def text(node, field):
    value = node.get(field)
    return value.strip() if isinstance(value, str) else ""


def invalid(document):
    """What the OpenAPI 3.1 schema refuses."""
    version = document.get("openapi", "")
    if not re.fullmatch(r"3\.1\.\d+", str(version)):
        # Judging another version by this one's schema would only bury the cause.
        return [f"openapi: version is {version!r}, not 3.1.x"]
    lost = list(dangling(document, document))
    if lost:
        return lost
    return [
        f"{'/'.join(str(part) for part in error.absolute_path) or '(root)'}: {error.message[:300]}"
        for error in OpenAPIV31SpecValidator(document).iter_errors()
    ]


def operations(document):
    for path, item in document.get("paths", {}).items():
        item = resolve(document, item)
        for method in METHODS:
            if method in item:
                shared = item.get("parameters", [])
                yield f"{method.upper()} {path}", item[method], shared + item[method].get("parameters", [])


def contents(document):
    """Every body that an operation reads, answers or posts: where it stands, and what is said of it."""
    posted = [(f"webhook {name}", item["post"]) for name, item in document.get("webhooks", {}).items()]
    for where, operation in [(where, operation) for where, operation, _ in operations(document)] + posted:
        holders = [("request", operation.get("requestBody", {}))] + list(operation.get("responses", {}).items())
        for holder, said in holders:
            for media_type, content in resolve(document, said).get("content", {}).items():
                yield f"{where}: {holder} {media_type}", content


def unfitting(document):
    """Examples that their own schema refuses."""
    found = []
    for where, content in contents(document):
        if "example" not in content:
            continue
        # References inside the schema lead through the whole document.
        schema = content.get("schema", {}) | {"components": document.get("components", {})}
        errors = OAS31Validator(schema, format_checker=oas31_format_checker).iter_errors(content["example"])
        for error in errors:
            place = "/".join(str(part) for part in error.absolute_path)
            found.append(f"{where}: the example's {place or 'whole'}: {error.message[:300]}")
    return found


def unconventional(document):
    """Where the document is valid and still leaves a reader in the dark."""
    found = []
    count = 0
    for where, operation, parameters in operations(document):
        count += 1
        if not text(operation, "summary"):
            found.append(f"{where}: no summary")
        for parameter in parameters:
            parameter = resolve(document, parameter)
            if not text(parameter, "description"):
                found.append(f"{where}: parameter {parameter.get('name')!r} has no description")
        responses = operation.get("responses", {})
        answered = [status for status in responses if re.fullmatch(r"2(\d\d|XX)", status)]
        if not answered:
            found.append(f"{where}: no 2xx response")
        for status, response in responses.items():
            response = resolve(document, response)
            if not text(response, "description"):
                found.append(f"{where}: response {status} has no description")
            if re.fullmatch(r"[45](\d\d|XX)|default", status):
                types = sorted(response.get("content", {}))
                if types != [PROBLEM]:
                    found.append(f"{where}: response {status} is {types or 'without content'}, not {PROBLEM}")
    if count == 0:
        found.append("paths: no operation at all")
    return found


def main(arguments):
    path = Path(arguments[0]) if arguments else ROOT / "openapi" / "openapi.json"
    if not path.is_file():
        print(f"{path}: no such document; the service's subcommand `openapi` writes it")
        return 1
    document = json.loads(path.read_text())
    found = invalid(document)
    if not found:
        found = unconventional(document) + unfitting(document)
    for line in found:
        print(line)
    count = sum(1 for _ in operations(document))
    print(f"OpenAPI {document.get('openapi')}: {count} operations read, {len(found)} faults")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
