"""What schemathesis is told of this service: how not to harm its own run, and which refusals no schema can foretell.

Loaded by fuzz.toml. FUZZ_KEY_ID names the key the run lives on, FUZZ_DIARY the file that the excused answers go to.
"""

import hashlib
import json
import os
import re
import threading
import uuid

import schemathesis

# Refusals of values that fit their schema, by problem code and by what the problem says of the field. An answer is
# excused only if every refused field is; whatever else is refused is a gap in the document or in the service.
EXCUSED = [
    ("bad_cursor", r"", "which cursors were given out is known to the service alone"),
    ("idempotency_mismatch", r"", "which keys were used already is known to the service alone"),
    ("invalid", r"is after|is before|has not come yet|already past|in the years", "JSON Schema has no bounds for dates"),
    ("rain_refused", r"is before the year|has not come yet|comes twice", "JSON Schema has no bounds for dates"),
    ("invalid", r"there is no \w+ |has no component ", "which things exist is known to the service alone"),
    ("invalid", r"IANA time zone", "the list of time zones grows every year"),
    ("invalid", r"up to a century", "a number inside a text has no bounds"),
    ("invalid", r"is not from 0 to (28|29|30)\b", "how long a month is depends on its place in the list"),
    ("invalid", r"the header .* does not name the columns", "a CSV file has no schema"),
    ("rain_refused", r"does not have station|is not a date|is not a number", "a CSV file has no schema"),
    (
        "invalid",
        r"is no duty of|leaves no part of it|cannot become|stand in the visit already|neither done nor anything found"
        r"|it was not done|depth can only be found|send either|is missing beside|under no canopy|cannot fall on"
        r"|above the month's mean|is not predicted from a mark|it was installed on|it was taken out",
        "fields that have to fit together",
    ),
]

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


def excuse(problem):
    """Why the document cannot foretell this refusal; None if it could have."""
    said = [error.get("message", "") for error in problem.get("errors") or []] or [problem.get("detail", "")]
    reasons = []
    for message in said:
        fitting = [
            reason
            for code, pattern, reason in EXCUSED
            if code == problem.get("code") and re.search(pattern, message)
        ]
        if not fitting:
            return None
        reasons.append(fitting[0])
    return reasons[0]


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
    headers = case.headers or {}
    key = headers.get("Idempotency-Key")
    tried = getattr(case.meta.phase.data, "parameter", None) if case.meta else None
    # A request that is about another header is left as it is.
    if tried in (None, "Idempotency-Key") and isinstance(key, str) and re.fullmatch(r"[!-~]{1,200}", key):
        # The same few keys are drawn for all requests; without this nearly all would meet one that was used.
        said = repr((case.method, case.formatted_path, case.query, case.body))
        mark = hashlib.sha256(said.encode("utf-8", "backslashreplace")).hexdigest()[:16]
        with lock:
            first = seen_keys.setdefault(key, mark)
        if first != mark:
            headers["Idempotency-Key"] = key[:183] + "." + mark


@schemathesis.hook
def filter_failure(context, failure, case, response):
    """Whether a finding counts. What does not is written down with the reason."""
    reason = None
    kind = type(failure).__name__
    problem = problem_of(response)
    if kind == "RejectedPositiveData":
        reason = excuse(problem)
        if reason is None and "None" in map(str, (case.path_parameters or {}).values()):
            reason = "a link between operations carried an id that was absent into a path"
    elif kind == "AcceptedNegativeData" and (problem.get("counts") or {}).get("refused"):
        reason = "readings are judged one by one: the wrong ones were refused in the answer"
    if reason is not None and diary is not None:
        line = {"finding": kind, "operation": case.operation.label, "reason": reason}
        line |= {"code": problem.get("code"), "errors": problem.get("errors")}
        with lock:
            diary.write(json.dumps(line) + "\n")
            diary.flush()
    return reason is None
