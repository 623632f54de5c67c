"""What schemathesis is told of this service: how not to harm its own run, and which findings do not count.

Loaded by fuzz.toml. FUZZ_KEY_ID names the key the run lives on, FUZZ_DIARY the file that the excused answers go to.
"""

import hashlib
import json
import os
import re
import threading
import uuid

import schemathesis
from fuzz import excuse

NOBODY = str(uuid.UUID(int=0))
ID = os.environ.get("FUZZ_KEY_ID", NOBODY)
lock = threading.Lock()
seen_keys = {}
diary = open(os.environ["FUZZ_DIARY"], "a", encoding="utf-8") if "FUZZ_DIARY" in os.environ else None


def problem_of(response):
    try:
        body = json.loads(response.content)
    except ValueError:
        return {}
    return body if isinstance(body, dict) else {}


def harmless(url):
    """Where the service may be told to post to: itself, which it refuses to. A made-up host might be somebody's."""
    # Readers of URLs drop these wherever they stand, and blanks in front.
    plain = re.sub(r"[\t\n\r]", "", url).lstrip("".join(map(chr, range(33))))
    if len(url) > 2000 or not re.match(r"https?:", plain, re.IGNORECASE):
        return url
    return "https://127.0.0.1/" + hashlib.sha256(url.encode("utf-8", "backslashreplace")).hexdigest()[:8]


@schemathesis.hook
def before_load_schema(context, raw_schema):
    """Takes away the answer for any other status, so that a status that an operation does not name is a finding."""
    for item in raw_schema["paths"].values():
        for operation in item.values():
            operation["responses"].pop("default", None)


@schemathesis.hook
def before_call(context, case, **kwargs):
    """Keeps the run alive and to the point; nothing here makes a wrong request right."""
    path = case.path_parameters or {}
    if case.method == "DELETE" and str(path.get("id")) == ID:
        # The run's own key stays; revoking others is tried like everything else.
        path["id"] = NOBODY
    query = case.query or {}
    if re.fullmatch(r"[0-9]{1,2}", str(query.get("wait"))) and 1 < int(query["wait"]) <= 30:
        # Waiting for half a minute teaches no more than waiting for a second.
        query["wait"] = 1
    tried = getattr(case.meta.phase.data, "parameter", None) if case.meta else None
    if tried == "Authorization":
        # It is meant to lack its key, and is given it back when anything is touched.
        return
    if isinstance(case.body, dict) and isinstance(case.body.get("to"), str):
        case.body["to"] = harmless(case.body["to"])
    headers = case.headers or {}
    key = headers.get("Idempotency-Key")
    if isinstance(key, str) and re.fullmatch(r"[!-~]{1,200}", key):
        # The same few keys are drawn for all requests; without this nearly all would meet one that was used.
        said = repr((case.method, case.formatted_path, case.query, case.body))
        limit = hashlib.sha256(said.encode("utf-8", "backslashreplace")).hexdigest()[:16]
        with lock:
            first = seen_keys.setdefault(key, limit)
        if first != limit:
            headers["Idempotency-Key"] = key[:183] + "." + limit


@schemathesis.hook
def filter_failure(context, failure, case, response):
    """Whether a finding counts. What does not is written down with the reason."""
    reason = None
    kind = type(failure).__name__
    problem = problem_of(response)
    if kind in ("ServerError", "RejectedPositiveData") and "Too many are connected" in str(problem.get("detail")):
        reason = "streams are bounded, and more of them were left than the service has noticed yet"
    elif kind == "RejectedPositiveData":
        reason = excuse(problem)
        if reason is None and "None" in map(str, (case.path_parameters or {}).values()):
            reason = "a link between operations carried an id that was absent into a path"
    elif kind == "AcceptedNegativeData" and (problem.get("counts") or {}).get("refused"):
        reason = "readings are judged one by one: the wrong ones were refused in the answer"
    elif kind == "JsonSchemaError" and "SSE event" in failure.title and problem == {}:
        reason = "OpenAPI 3.1 has no word for the events of a stream: its schema is that of the whole text"
    if reason is not None and diary is not None:
        line = {"finding": kind, "operation": case.operation.label, "reason": reason}
        line |= {"code": problem.get("code"), "errors": problem.get("errors")}
        with lock:
            diary.write(json.dumps(line) + "\n")
            diary.flush()
    return reason is None
