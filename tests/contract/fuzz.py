"""Throw generated requests at a fresh service until enough were sent, and fail on any finding.

Usage: fuzz.py [--requests N] [--seed N] [--service PROGRAM] [--out FOLDER]

Runs schemathesis over the whole document with every check on: examples, coverage, fuzzing and stateful phases, one round
after another with new seeds until N requests were generated (default 20,000). The service is the test binary `served`
with an empty embedded database in a temporary folder. tests/fuzz prepares both and runs this.
"""

import argparse
import json
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]

# Why a value that fits its schema may be refused all the same: reason, problem code, and what the problem says of the
# field. An answer is excused only if each of its refused fields is; whatever else is refused is a gap in the document.
DATES = "JSON Schema has no bounds for dates"
GRAMMAR = "a URL and a crontab line have a grammar that no pattern says"
FILES = "a file in CSV has no schema"
TOGETHER = "fields have to fit together"
EXCUSED = [
    ("which cursors were given out is known to the service alone", "bad_cursor", ""),
    ("which keys were used already is known to the service alone", "idempotency_mismatch", ""),
    ("which things exist is known to the service alone", "invalid", r"there is no \w+ |has no component "),
    ("the list of time zones grows every year", "invalid", "IANA time zone"),
    ("which characters show nothing is Unicode's to say", "invalid", "the invisible character"),
    ("a number inside a text has no bounds", "invalid", "up to a century"),
    ("how long a month is depends on its place in the list", "invalid", r"is not from 0 to (28|29|30)\b"),
    (GRAMMAR, "invalid", "absolute URL|give an https URL|user name or password|has a fragment"),
    (GRAMMAR, "invalid", "give five: minute|is not valid. Use numbers|ends before it begins|no time within the next"),
    (DATES, "invalid", "is after|is before|has not come yet|already past|in the years|is over in every|is not a date such as|is more than a year from today"),
    (DATES, "rain_refused", "is before the year|has not come yet|comes twice"),
    (TOGETHER, "malformed_parameter", "it is for a text/csv body only"),
    (FILES, "invalid", "the header .* does not name the columns"),
    (FILES, "rain_refused", "does not have station|is not a date|is not a number|is a second station"),
    (TOGETHER, "rain_refused", "already has this date"),
    (TOGETHER, "invalid", "is not a duty of|cannot be done in part|already has this component|is given twice"),
    (TOGETHER, "invalid", "it was not done|is more than what was found|only sediment has a depth"),
    (TOGETHER, "invalid", "cannot become|it was installed on|it was taken out|is not predicted from a limit|the visit was to"),
    (TOGETHER, "invalid", "canopy is none|wet days cannot|above the month's mean|is given without it|has no day|send either"),
    (TOGETHER, "invalid", "a key for one system may only read|sharing a trip never pays"),
    (GRAMMAR, "invalid", "less than an hour apart"),
    (GRAMMAR, "invalid", "not on the open internet"),
    (TOGETHER, "invalid", r"mm deep"),
    (DATES, "invalid", "is more than half a year after"),
    (TOGETHER, "invalid", "is a day off|is listed twice|every task was skipped"),
    (TOGETHER, "invalid", "did this task after the round was kept|skip it if it was not done"),
    (TOGETHER, "invalid", "leave kinds out|only for a digest|only for reminders|needs a schedule"),
    (TOGETHER, "invalid", "digest of all|is at another property"),
]


def excuse(problem):
    """Why the document could not foretell this refusal; None if it could have."""
    said = [error.get("message", "") for error in problem.get("errors") or []] or [problem.get("detail", "")]
    found = [
        next((why for why, code, words in EXCUSED if code == problem.get("code") and re.search(words, text)), None)
        for text in said
    ]
    return None if None in found else found[0]


class Service:
    """The service on a port of its own, with the key that its first start prints."""

    def __init__(self, program, folder):
        log = folder / "service.log"
        self.process = subprocess.Popen(
            # Without a bound on rates: a request that is refused unseen teaches nothing.
            [program, "serve", "--bind", "127.0.0.1:0", "--drain-s", "0", "--requests-per-s", "0",
             "--database-url", f"sqlite://{folder}/fuzz.db"],
            stdout=(folder / "printed").open("w"),
            stderr=log.open("w"),
        )
        self.log = log
        for _ in range(300):
            said = re.search(r"listening on (127\.0\.0\.1:\d+)", log.read_text())
            if said or self.process.poll() is not None:
                break
            time.sleep(0.1)
        if not said:
            sys.exit(f"fuzz: the service did not start:\n{log.read_text()}")
        self.url = f"http://{said[1]}"
        self.key = re.search(r"\bew_\S+", (folder / "printed").read_text())[0]

    def get(self, path):
        request = urllib.request.Request(self.url + path, headers={"Authorization": f"Bearer {self.key}"})
        with urllib.request.urlopen(request, timeout=60) as answer:
            return json.load(answer)

    def answered(self):
        """Requests in its own log: a second count, by the other side."""
        with self.log.open(errors="replace") as lines:
            return sum(1 for line in lines if line.rstrip().endswith("}: answered"))

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        try:
            self.process.wait(timeout=60)
        except subprocess.TimeoutExpired:
            self.process.kill()


def one_round(service, out, seed, number, examples):
    """One run of schemathesis; its report and how it ended."""
    report = out / f"round-{number}.json"
    listing = out / f"round-{number}.log"
    command = [
        Path(sys.executable).parent / "schemathesis", "--config-file", HERE / "fuzz.toml",
        "run", f"{service.url}/openapi.json", "--header", f"Authorization: Bearer {service.key}",
        "--checks", "all", "--phases", "examples,coverage,fuzzing,stateful", "--max-examples", str(examples),
        "--seed", str(seed), "--workers", "2", "--no-color", "--generation-database", "none",
        "--warnings", "off", "--report", "json", "--report-json-path", report,
    ]  # fmt: skip
    own = next(key["id"] for key in service.get("/v1/keys?limit=500")["items"])
    environment = os.environ | {"FUZZ_KEY_ID": own, "FUZZ_DIARY": str(out / "excused.jsonl"), "PYTHONPATH": str(HERE)}
    with listing.open("w") as file:
        ended = subprocess.run(command, stdout=file, stderr=subprocess.STDOUT, env=environment, check=False, cwd=out)
    if not report.is_file():
        sys.exit(f"fuzz: round {number} wrote no report:\n{listing.read_text()[-4000:]}")
    return json.loads(report.read_text()), ended.returncode, listing


def faults_of(report, code):
    """Why a round did not pass. The runner's own word is not enough: an empty round would pass, too."""
    found = [f"{failure['title']} ({failure['count']}): {', '.join(failure['operations'])}" for failure in report["failures"]]
    found += [f"error {error['title']} ({error['count']})" for error in report["errors"]]
    found += [f"phase {name} was skipped" for name, phase in report["phases"].items() if phase["status"] == "skip"]
    operations = report["operations"] or {"tested": 0, "total": 0}
    if operations["tested"] != operations["total"] or not operations["total"]:
        found.append(f"{operations['tested']} of {operations['total']} operations were tested")
    if not report["complete"]:
        found.append("the round was cut short")
    if code != 0 and not found:
        found.append(f"schemathesis ended with {code}")
    return found


# How much of what was generated the service has to have in its own log; the rest was cut short on the way. Judgement.
LEAST_ANSWERED = 0.95


def unanswered(generated, answered):
    """The second count held against the first: requests that never reached the service found nothing out about it."""
    if answered >= LEAST_ANSWERED * generated:
        return []
    return [f"the service answered {answered} of {generated} generated requests"]


def main(arguments):
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--requests", type=int, default=20_000)
    parser.add_argument("--examples", type=int, default=60, help="requests an operation in the fuzzing phase of a round")
    parser.add_argument("--seed", type=int, default=None, help="of the first round; printed when drawn")
    parser.add_argument("--service", default=ROOT / "target/debug/served")
    parser.add_argument("--out", type=Path, help="where reports stay; a temporary folder otherwise")
    asked = parser.parse_args(arguments)
    first = asked.seed if asked.seed is not None else random.SystemRandom().randrange(2**32)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        out = (asked.out or folder / "out").resolve()
        out.mkdir(parents=True, exist_ok=True)
        (out / "excused.jsonl").write_text("")
        service = Service(asked.service, folder)
        generated, rounds, faults = 0, 0, []
        try:
            while generated < asked.requests and not faults:
                rounds += 1
                seed = first + rounds - 1
                report, code, listing = one_round(service, out, seed, rounds, asked.examples)
                generated += report["test_cases"]["generated"]
                faults = faults_of(report, code)
                print(
                    f"round {rounds}, seed {seed}: {report['test_cases']['generated']} requests to "
                    f"{report['operations']['tested']} operations in {report['running_time']:.0f} s, {len(faults)} faults",
                    flush=True,
                )
            if faults:
                print(listing.read_text())
            if service.process.poll() is not None:
                faults.append(f"the service ended by itself:\n{service.log.read_text()[-4000:]}")
            answered = service.answered()
            faults += unanswered(generated, answered)
        finally:
            service.stop()
        excused = Counter(
            (line["finding"], line["reason"]) for line in map(json.loads, (out / "excused.jsonl").open())
        )
        for (finding, reason), count in sorted(excused.items()):
            print(f"not held against the service: {count} {finding}: {reason}")
    for fault in faults:
        print(f"fault: {fault}")
    print(f"{generated} requests generated in {rounds} rounds, {answered} answered by the service, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
