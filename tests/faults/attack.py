"""Sends hostile requests to a service and holds its answers, its memory and its other account to bounds.

Each attack is a function with the only answers that it may bring. Memory is the peak of the process during it, and may be
100 MiB above the level at the start. "Other" is the slowest list of tasks of another account meanwhile.
"""

import argparse
import collections
import datetime
import http.client
import json
import os
import pathlib
import re
import socket
import subprocess
import sys
import tempfile
import threading
import time
import zlib

MIB = 1 << 20
MEMORY_MIB = 100
ANSWER_BYTES = 2 * MIB
READY_S = 10
BODY_TIMEOUT_S = 3
ATTACKS = []


def attack(*wanted):
    """Enters a function in the table with the only statuses that it may bring."""

    def enter(function):
        ATTACKS.append((function.__name__.replace("_", " "), function, set(wanted)))
        return function

    return enter


DOCUMENT = pathlib.Path(__file__).parents[2] / "openapi" / "openapi.json"


class Service:
    def __init__(self, program, folder):
        self.folder = folder
        self.document = json.loads(DOCUMENT.read_text())
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.environment = os.environ | {
            "EAVESWARD_DATABASE_URL": f"sqlite://{folder}/attack.db",
            "EAVESWARD_BIND": f"127.0.0.1:{self.port}",
            "EAVESWARD_BODY_TIMEOUT_S": str(BODY_TIMEOUT_S),
        }
        self.log = (folder / "log").open("wb")
        self.process = subprocess.Popen(
            [program, "serve"], env=self.environment, stdout=self.log, stderr=self.log, cwd=folder
        )
        if not self.ready():
            sys.exit("tests/attack: the service did not start:\n" + (folder / "log").read_text()[-2000:])
        self.key, self.other = (self.account(program, name) for name in ("ordinary", "neighbour"))

    def account(self, program, name):
        command = [program, "key", "--new-account", name]
        told = subprocess.run(command, env=self.environment, capture_output=True, text=True, check=True, cwd=self.folder)
        found = re.search(r"\bew_\S+", told.stdout)
        return found[0] if found else sys.exit("tests/attack: no key was printed")

    def ask(self, method, path, body=None, key=None, kind="application/json", **headers):
        """The status and the body; "closed" when the service closed the connection without an answer."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        sent = {"Authorization": f"Bearer {key or self.key}", "Content-Type": kind}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        try:
            line.request(method, path, body, sent)
            answer = line.getresponse()
            return answer.status, answer.read()
        except (OSError, http.client.HTTPException):
            return "closed", b""
        finally:
            line.close()

    def ready(self):
        end = time.monotonic() + READY_S
        while time.monotonic() < end:
            if self.process.poll() is None and self.ask("GET", "/readyz", key="none")[0] == 200:
                return True
            time.sleep(0.1)
        return False

    def answers_again(self):
        """Waits until the rate of the attacking key allows requests again."""
        end = time.monotonic() + READY_S
        while time.monotonic() < end:
            if self.ask("GET", "/v1/account")[0] == 200:
                return True
            time.sleep(0.5)
        return False

    def memory(self, field):
        text = pathlib.Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.search(rf"{field}:\s+(\d+)", text)[1]) / 1024

    def reset_peak(self):
        pathlib.Path(f"/proc/{self.process.pid}/clear_refs").write_text("5")


def zeros():
    """The gzip form of 1 GiB of zeros."""
    press = zlib.compressobj(wbits=31)
    return b"".join(press.compress(bytes(MIB)) for _ in range(1024)) + press.flush()


def fill(piece, size=30 * MIB):
    return piece * (size // len(piece))


@attack(415)
def compressed_bodies(service):
    for coding, body in (("gzip", zeros()), ("deflate", b"x"), ("br", b"x")):
        yield service.ask("POST", "/v1/forecast", body, Content_Encoding=coding)


@attack(400, 413, 422, "closed")
def many_small_objects(service):
    yield service.ask("POST", "/v1/forecast", b"[" + fill(b'{"":0},') + b"{}]")


@attack(400, 413, 422, "closed")
def deep_nesting(service):
    yield service.ask("POST", "/v1/forecast", b"[" * MIB)


@attack(400, 413, 422, "closed")
def one_long_string(service):
    yield service.ask("POST", "/v1/forecast", b'"' + fill(b"a") + b'"')


@attack(400, 413, 422, "closed")
def whitespace(service):
    yield service.ask("POST", "/v1/forecast", fill(b" "))


@attack(400, 413, 422, "closed")
def long_unknown_member(service):
    yield service.ask("POST", "/v1/forecast", b'{"' + fill(b"a") + b'":0}')


@attack(400, 431, "closed")
def header_of_1_mib(service):
    yield service.ask("GET", "/v1/account", X_Long="a" * MIB)


def gauge(service, key=None):
    example = service.document["paths"]["/v1/gauges"]["post"]["requestBody"]["content"]["application/json"]["example"]
    status, body = service.ask("POST", "/v1/gauges", json.dumps(example), key)
    if status != 201:
        sys.exit(f"tests/attack: a gauge was answered {status}: {body[:300]}")
    return f"/v1/gauges/{json.loads(body)['id']}/rain"


@attack(400, 413, 422, "closed")
def rain_of_small_objects(service):
    yield service.ask("PUT", gauge(service), b'{"days":[' + fill(b'{"":0},') + b"{}]}")


@attack(400, 413, 422, "closed")
def rain_of_200000_faults(service):
    yield service.ask("PUT", gauge(service), b'{"days":[' + b",".join([b'{"date":"x","rain_mm":-1}'] * 200000) + b"]}")


@attack(400, 413, 422, "closed")
def rain_csv_of_newlines(service):
    yield service.ask("PUT", gauge(service), fill(b"\n", 32 * MIB), kind="text/csv")


@attack(200)
def rain_csv_of_commas(service):
    """Lines without a value are blank, as spreadsheets write them: nothing is added and nothing refused."""
    yield service.ask("PUT", gauge(service), fill(b",", 32 * MIB), kind="text/csv")


@attack(200)
def rain_csv_of_one_line(service):
    """A line that is refused is counted, and the others would be stored."""
    yield service.ask("PUT", gauge(service), b"date,rain_mm\n" + fill(b"a"), kind="text/csv")


def days(count, end):
    first = datetime.date(1926, 1, 1)
    lines = (f"{first + datetime.timedelta(day)},1.0" for day in range(count))
    return end.join(["date,rain_mm", *lines, ""]).encode()


def added(answer, wanted):
    """The answer, or a status that names the count of added days when it is not the wanted one."""
    status, body = answer
    came = json.loads(body)["counts"]["added"] if status == 200 else None
    return answer if came == wanted else (f"{status} added {came}", body)


@attack(200)
def rain_csv_with_bare_cr(service):
    yield added(service.ask("PUT", gauge(service), days(1000, "\r"), kind="text/csv"), 1000)


@attack(200)
def rain_csv_of_100_years(service):
    yield added(service.ask("PUT", gauge(service), days(36525, "\n"), kind="text/csv"), 36525)


@attack(200, 413, 422)
def rain_csv_of_a_million_lines(service):
    yield service.ask("PUT", gauge(service), fill(b"2026-03-01,4.2\n", 15_000_000), kind="text/csv")


@attack(400, 413, 422)
def json_of_1_mb_of_small_objects(service):
    yield service.ask("POST", "/v1/forecast", b"[" + fill(b'{"":0},', 1_000_000) + b"{}]")


@attack("closed", 408)
def half_headers(service):
    """300 connections that never end their header. None may be open after 60 seconds."""
    lines = [socket.create_connection(("127.0.0.1", service.port), timeout=60) for _ in range(300)]
    end = time.monotonic() + 60
    for line in lines:
        line.sendall(b"GET /v1/account HTTP/1.1\r\nHost: x\r\nX-")
    for line in lines:
        line.settimeout(max(0.1, end - time.monotonic()))
        try:
            came = line.recv(4096)
            yield (int(came[9:12]) if came else "closed"), came
        except TimeoutError:
            yield "still open", b""
        except OSError:
            yield "closed", b""
        line.close()


@attack(400, 404, 422)
def rain_of_the_other(service):
    path = gauge(service, service.other)
    for method in ("GET", "PUT", "DELETE"):
        yield service.ask(method, path, b'{"days":[{"date":"2026-03-01","rain_mm":4.2}]}' if method == "PUT" else None)


@attack(408, 429, "closed")
def slow_bodies(service):
    """Headers of 500 requests, then one byte each second; the service has to end all of them."""
    head = f"POST /v1/forecast HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {service.key}\r\n"
    head += "Content-Type: application/json\r\nContent-Length: 1000\r\n\r\n"
    lines = []
    for _ in range(500):
        line = socket.create_connection(("127.0.0.1", service.port))
        line.sendall(head.encode())
        line.setblocking(False)
        lines.append(line)
    end = time.monotonic() + BODY_TIMEOUT_S + READY_S
    while lines and time.monotonic() < end:
        time.sleep(1)
        for line in list(lines):
            try:
                came = line.recv(4096)
                yield (int(came[9:12]) if came else "closed"), came
            except BlockingIOError:
                try:
                    line.send(b" ")
                except OSError:
                    pass
                continue
            except OSError:
                yield "closed", b""
            lines.remove(line)
            line.close()
    for line in lines:
        line.close()
        yield "still open", b""


# The largest body of a forecast.
LIMIT = 2 * MIB


@attack(400, 422)
def forecast_of_faults_at_the_limit(service):
    """As many faulty days as are read: the problem document lists a thousand of them at most."""
    day = b'{"date":"x","rain_mm":-1},'
    yield service.ask("POST", "/v1/forecast", b'{"rain":[' + fill(day, LIMIT // 2) + b'{"date":"x","rain_mm":-1}]}')


@attack(413)
def forecast_of_small_objects_at_the_limit(service):
    yield service.ask("POST", "/v1/forecast", b'{"rain":[' + fill(b'{"":0},', LIMIT - 200) + b"{}]}")


@attack(200)
def rain_of_100_years_as_json(service):
    first = datetime.date(1926, 1, 1)
    days = [{"date": str(first + datetime.timedelta(day)), "rain_mm": 1.5} for day in range(36525)]
    yield service.ask("PUT", gauge(service), json.dumps({"days": days}).encode())


@attack(200, 400, 429, "closed")
def pipelined_requests(service):
    """2,000 requests in one piece on one connection."""
    request = f"GET /v1/account HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {service.key}\r\n\r\n"
    with socket.create_connection(("127.0.0.1", service.port), timeout=30) as line:
        line.sendall(request.encode() * 2000)
        line.shutdown(socket.SHUT_WR)
        came = b""
        while piece := line.recv(1 << 16):
            came += piece
    statuses = re.findall(rb"HTTP/1\.1 (\d{3})", came)
    yield from ((int(status), b"") for status in statuses)


def at_once(number, send):
    """The answers of as many threads."""
    answers = []
    threads = [threading.Thread(target=lambda: answers.append(send())) for _ in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


def sketch():
    """A forecast of a system that nobody registered, over twenty years of rain."""
    first = datetime.date(2005, 1, 1)
    days = [{"date": str(first + datetime.timedelta(day)), "rain_mm": 3.0 * (day % 3)} for day in range(7300)]
    part = {"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0}
    body = {
        "latitude_deg": 48.0, "elevation_m": 50.0, "as_of": "2024-12-31",
        "roof": {"plan_area_m2": 80.0, "surface": "metal"}, "rain": days,
        "components": [{"name": f"tank {number}", "installed_on": "2005-01-01", "part": part} for number in range(60)],
    }  # fmt: skip
    return json.dumps(body).encode()


@attack(200, 429, 422)
def forecasts_at_once(service):
    """50 forecasts of sixty tanks over twenty years."""
    body = sketch()
    yield from at_once(50, lambda: service.ask("POST", "/v1/forecast", body))


@attack(200, 429)
def imports_at_once(service):
    """50 files of 100 years for one rain gauge."""
    path, body = gauge(service), days(36525, "\n")
    yield from at_once(50, lambda: service.ask("PUT", path, body, kind="text/csv"))


@attack(200, 429)
def lists_at_once(service):
    yield from at_once(300, lambda: service.ask("GET", "/v1/tasks?limit=500"))


def make(service, path, body, key=None):
    """Makes a thing and returns it."""
    status, told = service.ask("POST", path, json.dumps(body).encode(), key)
    if status != 201:
        sys.exit(f"tests/attack: POST {path} was answered {status}: {told[:300]}")
    return json.loads(told)


def home(service, key, name):
    """A system with everything around it. Returns its ids by their kind, as they stand in paths."""
    place = make(service, "/v1/properties", {"name": name, "latitude_deg": 48.0, "longitude_deg": 0.5,
                                             "time_zone": "Europe/London"}, key)  # fmt: skip
    rain = make(service, "/v1/gauges", {"name": name, "latitude_deg": 48.0, "longitude_deg": 0.5}, key)
    system = make(service, "/v1/systems", {
        "name": name, "property_id": place["id"], "gauge_id": rain["id"], "commissioned_on": "2025-01-01",
        "roof": {"plan_area_m2": 80.0, "surface": "metal"},
        "components": [{"name": name, "installed_on": "2025-01-01", "part": {"kind": "debris_screen", "area_m2": 0.1}}],
    }, key)  # fmt: skip
    hook = make(service, "/v1/subscriptions", {"name": name, "to": "https://hooks.invalid/eaves"}, key)["subscription"]
    made = make(service, "/v1/keys", {"name": name, "scopes": ["read"]}, key)["key"]
    feed = make(service, "/v1/calendars", {"name": name}, key)["calendar"]
    listed = json.loads(service.ask("GET", f"/v1/systems/{system['id']}/components", key=key)[1])["items"]
    item = {"component_id": listed[0]["id"], "duty": "clean_screen", "done": True}
    visit = make(service, "/v1/visits", {"system_id": system["id"], "visited_on": "2026-01-01", "items": [item]}, key)
    ids = {"properties": place, "gauges": rain, "systems": system, "visits": visit, "subscriptions": hook,
           "keys": made, "calendars": feed, "components": listed[0]}  # fmt: skip
    return {kind: thing["id"] for kind, thing in ids.items()}


@attack(400, 403, 404, 405, 409, 412, 415, 422, 428, 429)
def ids_of_the_other(service):
    """Every route of the document with an id, asked with the ids of another account. No answer may hold its names."""
    ids = home(service, service.other, "Neighbours only")
    for path, operations in service.document["paths"].items():
        kind = path.split("/")[2] if path.startswith("/v1/") else ""
        if "{id}" not in path or kind not in ids:
            continue
        for method in operations:
            if method not in ("get", "post", "put", "delete"):
                continue
            content = operations[method].get("requestBody", {}).get("content", {}).get("application/json", {})
            body = json.dumps(content["example"]).encode() if "example" in content else None
            answer = service.ask(method.upper(), path.replace("{id}", ids[kind]), body, If_Match='"1"')
            status, told = answer
            yield (f"{status} with a name", told) if b"Neighbours only" in told else answer


@attack(200, 429)
def long_polls(service):
    """200 readers that wait for reminders. Beyond the bound they are told to come again."""
    yield from at_once(200, lambda: service.ask("GET", "/v1/reminders?after=now&wait=5"))


@attack(200, 429, 503)
def streams(service):
    """100 streams of one key."""
    system = home(service, service.key, "Streams")["systems"]
    lines = []
    for _ in range(100):
        line = socket.create_connection(("127.0.0.1", service.port), timeout=10)
        line.sendall(f"GET /v1/systems/{system}/status/events HTTP/1.1\r\nHost: x\r\n"
                     f"Authorization: Bearer {service.key}\r\n\r\n".encode())  # fmt: skip
        lines.append(line)
    for line in lines:
        yield int(line.recv(4096)[9:12]), b""
    for line in lines:
        line.close()


@attack(422)
def private_addresses(service):
    """Addresses inside, however they are written."""
    for host in ("127.0.0.1", "2130706433", "0x7f.1", "[::1]", "10.0.0.7", "169.254.169.254", "localhost", "a.localhost"):
        body = json.dumps({"name": "inside", "to": f"https://{host}/eaves"}).encode()
        yield service.ask("POST", "/v1/subscriptions", body)


def watch(service, stop, waits):
    while not stop.is_set():
        begun = time.monotonic()
        status, _ = service.ask("GET", "/v1/tasks?limit=100", key=service.other)
        waits.append((time.monotonic() - begun, status))
        stop.wait(0.05)


def run(service, idle, name, function, wanted):
    stop, waits = threading.Event(), []
    watcher = threading.Thread(target=watch, args=(service, stop, waits))
    service.reset_peak()
    watcher.start()
    begun = time.monotonic()
    try:
        answers = list(function(service))
    finally:
        seconds = time.monotonic() - begun
        stop.set()
        watcher.join()
    if not (service.ready() and service.answers_again()):
        sys.exit(f"tests/attack: after {name} the service is not ready within {READY_S} s")
    peak = service.memory("VmHWM")
    counts = collections.Counter(str(status) for status, _ in answers)
    faults = []
    if not answers or any(status not in wanted for status, _ in answers):
        faults.append("unwanted status")
    if any(len(body) > ANSWER_BYTES for _, body in answers):
        faults.append("long answer")
    if peak > idle + MEMORY_MIB:
        faults.append("memory")
    if any(status != 200 for _, status in waits):
        faults.append("other account refused")
    slowest = max((wait for wait, _ in waits), default=0)
    told = " ".join(f"{status}x{count}" for status, count in counts.items())
    print(f"{name:24} {told:20} {seconds:8.2f} {peak:9.1f} {slowest:9.3f}  {', '.join(faults)}", flush=True)
    return bool(faults)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("name", nargs="?", default="")
    parser.add_argument("--service", required=True, type=pathlib.Path)
    asked = parser.parse_args()
    chosen = [entry for entry in ATTACKS if asked.name in entry[0]]
    if not chosen:
        sys.exit(f"tests/attack: no attack has {json.dumps(asked.name)} in its name")
    with tempfile.TemporaryDirectory() as folder:
        service = Service(asked.service.resolve(), pathlib.Path(folder))
        try:
            idle = service.memory("VmRSS")
            print(f"idle: {idle:.1f} MiB\n{'attack':24} {'answers':20} {'seconds':>8} {'peak MiB':>9} {'other s':>9}  faults")
            failed = [run(service, idle, *entry) for entry in chosen]
        finally:
            service.process.terminate()
            service.process.wait(10)
    sys.exit(any(failed))


if __name__ == "__main__":
    main()
