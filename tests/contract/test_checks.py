"""Shows that the check scripts beside this file can fail: a check that cannot is a defect."""

import copy
import tempfile
import unittest
from pathlib import Path

import compatible
import fuzz
import licences
import notices
import rust_version
import validate_openapi

GOOD = {
    "openapi": "3.1.0",
    "info": {"title": "Example", "version": "1"},
    "paths": {
        "/v1/things/{id}": {
            "parameters": [{"$ref": "#/components/parameters/Id"}],
            "get": {
                "summary": "One thing",
                "responses": {
                    "200": {"description": "The thing", "content": {"application/json": {"schema": {}}}},
                    "304": {"description": "Unchanged"},
                    "404": {"$ref": "#/components/responses/NotFound"},
                },
            },
        }
    },
    "components": {
        "parameters": {
            "Id": {
                "name": "id",
                "in": "path",
                "required": True,
                "description": "Which thing",
                "schema": {"type": "string"},
            }
        },
        "responses": {
            "NotFound": {
                "description": "No such thing",
                "content": {"application/problem+json": {"schema": {"type": "object"}}},
            }
        },
    },
}


def get(document):
    return document["paths"]["/v1/things/{id}"]["get"]


class Compatible(unittest.TestCase):
    """A document with one thing that is asked for, and that thing."""

    @staticmethod
    def document():
        thing = {
            "type": "object",
            "required": ["state", "part"],
            "properties": {
                "state": {"anyOf": [{"enum": ["due"], "type": "string"}, {"type": "string"}]},
                "scope": {"enum": ["read"], "type": "string"},
                "part": {"anyOf": [{"$ref": "#/components/schemas/Tank"}, {"$ref": "#/components/schemas/Other"}]},
            },
        }
        tank = {"type": "object", "required": ["kind"], "properties": {"kind": {"const": "tank"}}}
        other = {"type": "object", "required": ["kind"], "properties": {"kind": {"type": "string"}}}
        body = {"application/json": {"schema": {"$ref": "#/components/schemas/Thing"}}}
        asked = {"application/json": {"schema": {"type": "object", "properties": {"name": {"type": "string"}}}}}
        post = {"requestBody": {"content": asked}, "responses": {"200": {"description": "It", "content": body}}}
        schemas = {"Thing": thing, "Tank": tank, "Other": other}
        return {"paths": {"/v1/things": {"post": post}}, "components": {"schemas": schemas}}

    def found(self, change):
        new = self.document()
        change(new)
        return compatible.problems(self.document(), new)

    def test_what_may_grow(self):
        self.assertEqual(self.found(lambda _: None), [])
        schemas = lambda new: new["components"]["schemas"]
        self.assertEqual(self.found(lambda new: schemas(new)["Thing"]["properties"].update(more={})), [])
        word = lambda new: schemas(new)["Thing"]["properties"]["state"]["anyOf"][0]["enum"].append("late")
        self.assertEqual(self.found(word), [])
        pump = {"type": "object", "required": ["kind"], "properties": {"kind": {"const": "pump"}}}
        kind = lambda new: schemas(new)["Thing"]["properties"]["part"]["anyOf"].insert(0, pump)
        self.assertEqual(self.found(kind), [])
        path = lambda new: new["paths"].update({"/v1/more": {}})
        self.assertEqual(self.found(path), [])

    def test_what_clients_would_stumble_over(self):
        schemas = lambda new: new["components"]["schemas"]
        post = lambda new: new["paths"]["/v1/things"]["post"]
        sent = lambda new: post(new)["requestBody"]["content"]["application/json"]["schema"]
        for change, told in [
            (lambda new: new["paths"].pop("/v1/things"), "POST /v1/things: it is gone"),
            (lambda new: post(new)["responses"].pop("200"), "200 is gone"),
            (lambda new: schemas(new)["Thing"]["properties"].pop("scope"), ".scope: it is gone"),
            (lambda new: schemas(new)["Thing"]["required"].remove("state"), ".state: it is required"),
            (lambda new: schemas(new)["Thing"]["properties"]["scope"]["enum"].append("write"), "'write' is new"),
            (lambda new: schemas(new)["Thing"]["properties"].update(scope={"type": "null"}), "null where string"),
            (lambda new: sent(new).update(required=["name"]), "body.name: it is required"),
            (lambda new: sent(new).update(properties={}, additionalProperties=False), "body.name: it is refused"),
            (lambda new: sent(new)["properties"].update(name={"type": "number"}), "body.name: string where number"),
            (lambda new: post(new).update(parameters=[{"in": "query", "name": "x", "required": True}]), "?x"),
        ]:
            found = self.found(change)
            self.assertEqual(len(found), 1, found)
            self.assertIn(told, found[0])


class Document(unittest.TestCase):
    def changed(self, change):
        document = copy.deepcopy(GOOD)
        change(document)
        found = validate_openapi.invalid(document) + validate_openapi.unconventional(document)
        return found + validate_openapi.unfitting(document)

    def refused(self, change, expected):
        found = self.changed(change)
        self.assertTrue(any(expected in line for line in found), f"{expected!r} not in {found}")

    def test_a_good_document_passes(self):
        self.assertEqual(self.changed(lambda document: None), [])

    def test_other_versions(self):
        for version in ("3.0.3", "3.2.0", "3.1"):
            self.refused(lambda d, v=version: d.update(openapi=v), "not 3.1.x")

    def test_a_response_without_description_is_invalid(self):
        self.refused(lambda d: get(d)["responses"]["200"].pop("description"), "description")

    def test_a_path_parameter_that_is_not_declared(self):
        self.refused(lambda d: d["paths"]["/v1/things/{id}"].pop("parameters"), "id")

    def test_a_reference_to_nothing(self):
        self.refused(lambda d: d["components"]["responses"].clear(), "NotFound is not in this document")

    def test_an_empty_summary(self):
        self.refused(lambda d: get(d).update(summary=" "), "no summary")

    def test_an_empty_description_of_a_response(self):
        self.refused(lambda d: get(d)["responses"]["200"].update(description=""), "response 200 has no description")

    def test_a_parameter_without_description(self):
        self.refused(lambda d: d["components"]["parameters"]["Id"].pop("description"), "parameter 'id'")

    def test_an_operation_without_success(self):
        self.refused(lambda d: get(d)["responses"].pop("200"), "no 2xx response")

    def test_a_problem_of_another_type(self):
        def plain(document):
            document["components"]["responses"]["NotFound"]["content"] = {"application/json": {}}

        self.refused(plain, "not application/problem+json")

    def test_a_problem_without_content(self):
        self.refused(
            lambda d: get(d)["responses"].update({"412": {"description": "Changed meanwhile"}}), "without content"
        )

    def test_an_example_that_its_schema_refuses(self):
        def changed(example):
            document = copy.deepcopy(GOOD)
            document["components"]["schemas"] = {
                "Thing": {"type": "object", "properties": {"made": {"type": "string", "format": "date"}}}
            }
            reference = {"$ref": "#/components/schemas/Thing"}
            get(document)["responses"]["200"]["content"]["application/json"] = {"schema": reference, "example": example}
            hook = {"summary": "Posted", "responses": {"200": {"description": "Taken"}}}
            hook["requestBody"] = {"content": {"application/json": {"schema": reference, "example": example}}}
            document["webhooks"] = {"thing": {"post": hook}}
            self.assertEqual(validate_openapi.invalid(document), [])
            return validate_openapi.unfitting(document)

        self.assertEqual(changed({"made": "2026-03-07"}), [])
        for wrong in ({"made": 7}, {"made": "2026-13-01"}, []):
            self.assertEqual(len(changed(wrong)), 2, wrong)

    def test_no_operation_at_all(self):
        self.refused(lambda d: d["paths"].clear(), "no operation at all")


class Fuzz(unittest.TestCase):
    report = {
        "failures": [],
        "errors": [],
        "phases": {"examples": {"status": "success"}, "fuzzing": {"status": "success"}},
        "operations": {"total": 3, "tested": 3},
        "complete": True,
    }

    def test_a_clean_round_passes(self):
        self.assertEqual(fuzz.faults_of(self.report, 0), [])

    def test_whatever_is_amiss_is_a_fault(self):
        for change, code in [
            ({"failures": [{"title": "Server error", "count": 1, "operations": ["GET /v1/things"]}]}, 1),
            ({"errors": [{"title": "Network Error", "count": 1}]}, 1),
            ({"phases": {"examples": {"status": "skip"}}}, 0),
            ({"operations": {"total": 3, "tested": 2}}, 0),
            ({"operations": {"total": 0, "tested": 0}}, 0),
            ({"operations": None}, 0),
            ({"complete": False}, 0),
            ({}, 1),
        ]:
            with self.subTest(change):
                self.assertEqual(len(fuzz.faults_of(self.report | change, code)), 1)

    def test_requests_have_to_reach_the_service(self):
        for generated, answered, faults in [(0, 0, 0), (100, 0, 1), (100, 94, 1), (100, 95, 0), (100, 130, 0)]:
            with self.subTest(generated=generated, answered=answered):
                self.assertEqual(len(fuzz.unanswered(generated, answered)), faults)

    def test_only_what_no_schema_can_say_is_excused(self):
        def excused(code, *messages):
            return fuzz.excuse({"code": code, "errors": [{"message": text} for text in messages]}) is not None

        late, high = "2031-01-01 has not come yet", "2500 is not from 0 to 2000"
        self.assertTrue(excused("invalid", late))
        self.assertTrue(fuzz.excuse({"code": "bad_cursor", "detail": "The cursor was not made for this list."}))
        self.assertFalse(excused("invalid", high))
        self.assertFalse(excused("invalid", late, high), "one excuse does not cover another field")
        self.assertFalse(excused("malformed_body", late))
        self.assertFalse(fuzz.excuse({}))


class Licences(unittest.TestCase):
    allowed = {"MIT", "ISC", "Apache-2.0 WITH LLVM-exception"}

    def test_expressions(self):
        for expression, expected in [
            ("MIT", True),
            ("GPL-3.0-or-later", False),
            ("MIT OR GPL-3.0-only", True),
            ("GPL-3.0-only OR MIT", True),
            ("GPL-2.0/MIT", True),
            ("GPL-2.0 / LGPL-2.1", False),
            ("MIT AND GPL-3.0-only", False),
            ("MIT OR GPL-3.0-only AND ISC", True),
            ("(MIT OR GPL-3.0-only) AND ISC", True),
            ("(MIT OR ISC) AND GPL-3.0-only", False),
            ("Apache-2.0 WITH LLVM-exception", True),
            ("Apache-2.0", False),
            ("MIT WITH Some-exception", True),
        ]:
            with self.subTest(expression):
                self.assertEqual(licences.satisfied(expression, self.allowed), expected)

    def test_unreadable_expressions(self):
        for expression in ("", "MIT OR", "(MIT", "MIT)", "MIT ISC", "AND MIT", "MIT; ISC"):
            with self.subTest(expression), self.assertRaises(ValueError):
                licences.satisfied(expression, self.allowed)

    def test_packages(self):
        policy = {
            "licenses": {"allow": ["MIT"]},
            "bans": {"deny": [{"crate": "unwanted", "reason": "for the test"}]},
        }
        registry = "registry+https://example.invalid/index"

        def package(name, licence="MIT", source=registry):
            return {"name": name, "version": "1.0.0", "license": licence, "source": source}

        def found(*packages):
            return licences.problems({"packages": list(packages)}, policy)

        self.assertEqual(found(package("good"), package("ours", source=None)), [])
        for bad, expected in [
            (package("copyleft", "GPL-3.0-only"), "cannot be met"),
            (package("silent", None), "declares no licence"),
            (package("unwanted"), "banned by .deny.toml: for the test"),
            (package("forked", source="git+https://example.invalid/fork"), "not from the default registry"),
            (package("elsewhere", source="registry+https://other.invalid/index"), "2 registries"),
        ]:
            with self.subTest(bad["name"]):
                lines = found(package("good"), bad)
                self.assertEqual(len(lines), 1, lines)
                self.assertIn(expected, lines[0])


class RustVersions(unittest.TestCase):
    def test_a_dependency_that_needs_more_is_named(self):
        needed = {"old 1.0.0": "1.56", "silent 1.0.0": None, "same 2.0.0": "1.89.0", "new 3.0.0": "1.89.1"}
        found = rust_version.problems("1.89", needed)
        self.assertEqual(found, ["new 3.0.0 needs Rust 1.89.1, but 1.89 is stated"])
        self.assertEqual(rust_version.problems("1.100", needed), [])


class Notices(unittest.TestCase):
    def test_texts_are_found_however_they_are_named(self):
        with tempfile.TemporaryDirectory() as folder:
            folder = Path(folder)
            (folder / "LICENSES").mkdir()
            for name in ["LICENSE-MIT", "COPYING", "NOTICE.md", "LICENSES/BSD.txt", "README.md", "license.rs"]:
                (folder / name).write_text(f"{name}\r\n")
            found = notices.texts(folder)
            self.assertEqual(sorted(found), ["COPYING", "LICENSE-MIT", "LICENSES/BSD.txt", "NOTICE.md"])

    def test_a_text_that_two_crates_bring_stands_once(self):
        def crate(name, *texts):
            return {"name": name, "version": "1.0.0", "licence": "MIT", "source": None, "texts": list(texts)}

        text = notices.notices("Notices", [crate("b", "shared"), crate("a", "own", "shared"), crate("bare")])
        for line in ["a 1.0.0: MIT [1] [2]", "b 1.0.0: MIT [2]", "bare 1.0.0: MIT (it brings no text of its own)"]:
            self.assertIn(f"\n{line}\n", text)
        self.assertEqual((text.count("\nown\n"), text.count("\nshared\n")), (1, 1), text)


if __name__ == "__main__":
    unittest.main()
