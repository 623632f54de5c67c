"""Kills the service while it is written to, again and again.

Six writers send properties, gauges, systems, rain, visits, keys and subscriptions, each POST with an idempotency key of
its own. The service is killed at a random moment and started again. Every request without an answer is then sent again
under its key until it has one. At the end of each round everything that was acknowledged has to be there once, with what
was sent, and nothing else.
"""

import argparse
import collections
import contextlib
import datetime
import json
import random
import subprocess
import sys
import tempfile
import threading
import time
import uuid

from served import Service, postgres

# So early that all days of a run lie in the past: later ones would be refused.
FIRST_DAY = datetime.date(1800, 1, 1)
BATCH = 20
WRITERS = 6


class Job:
    """One write: what is sent, and what came of it."""

    def __init__(self, kind, method, path, body):
        self.kind, self.method, self.path, self.body = kind, method, path, body
        self.key = str(uuid.uuid4())
        self.answer = None

    def send(self, service):
        """Sends it. Notes the answer if there is one that tells."""
        try:
            status, _, body = service.ask(
                self.method, self.path, self.body, headers={"Idempotency-Key": self.key}, timeout=30
            )
        except OSError:
            return None
        except Exception:  # noqa: BLE001 - a connection that broke in the middle of an answer
            return None
        if status in (200, 201, 204):
            self.answer = json.loads(body) if body else {}
            if self.answer.get("counts", {}).get("refused"):
                sys.exit(f"{self.method} {self.path}: days were refused: {body[:400]}")
        elif status == 409 and b"was made by the first request with this Idempotency-Key" in body:
            # Secrets are shown once: a repetition learns that the first attempt made it.
            self.answer = {}
        elif status not in (409, 429, 503):
            sys.exit(f"{self.method} {self.path}: {status} {body[:400]}")
        return status


class Account:
    """What was acknowledged so far."""

    def __init__(self, rng):
        self.rng = rng
        self.lock = threading.Lock()
        self.number = 0
        self.done = collections.defaultdict(list)
        self.rain = {}
        self.next_day = 0

    def job(self):
        """The next write, of a kind for which there is something to refer to."""
        with self.lock:
            self.number += 1
            name = f"thing {self.number}"
            kinds = ["property", "property", "rain", "rain", "rain", "key", "subscription", "gauge"]
            if self.done["property"] and self.done["gauge"]:
                kinds += ["system", "system"]
            visited = [system for system in self.done["system"] if system["components"]]
            if visited:
                kinds += ["visit", "visit", "visit"]
            kind = self.rng.choice(kinds)
            if kind == "rain" and not self.done["gauge"]:
                kind = "gauge"
            pick = lambda of: self.rng.choice(self.done[of])["id"]  # noqa: E731
            if kind == "property":
                body = {"name": name, "latitude_deg": 48.0, "longitude_deg": 0.5, "time_zone": "Europe/London"}
                return Job(kind, "POST", "/v1/properties", body)
            if kind == "gauge":
                return Job(kind, "POST", "/v1/gauges", {"name": name, "latitude_deg": 48.0, "longitude_deg": 0.5})
            if kind == "rain":
                gauge = self.done["gauge"][0]["id"]
                first = FIRST_DAY + datetime.timedelta(days=self.next_day)
                self.next_day += BATCH
                days = [
                    {"date": str(first + datetime.timedelta(days=day)), "rain_mm": self.number % 50 + day / 10}
                    for day in range(BATCH)
                ]
                return Job(kind, "PUT", f"/v1/gauges/{gauge}/rain", {"days": days})
            if kind == "system":
                body = {
                    "name": name, "property_id": pick("property"), "gauge_id": pick("gauge"),
                    "roof": {"plan_area_m2": 80.0, "surface": "metal"}, "commissioned_on": "2025-01-01",
                    "components": [{"name": "screen", "installed_on": "2025-01-01",
                                    "part": {"kind": "debris_screen", "area_m2": 0.1}}],
                }  # fmt: skip
                return Job(kind, "POST", "/v1/systems", body)
            if kind == "visit":
                system = self.rng.choice(visited)
                item = {"component_id": system["components"][0]["id"], "duty": "clean_screen", "done": True}
                body = {"system_id": system["id"], "visited_on": "2026-01-01", "note": name, "items": [item]}
                return Job(kind, "POST", "/v1/visits", body)
            if kind == "key":
                return Job(kind, "POST", "/v1/keys", {"name": name, "scopes": ["read"]})
            body = {"name": name, "to": "https://hooks.invalid/eaves"}
            return Job(kind, "POST", "/v1/subscriptions", body)

    def note(self, service, job):
        """Notes what was acknowledged."""
        if job.kind == "system":
            try:
                _, _, body = service.ask("GET", f"/v1/systems/{job.answer['id']}/components")
                job.answer["components"] = json.loads(body)["items"]
            except Exception:  # noqa: BLE001 - it was killed meanwhile: no visit goes to this system
                job.answer["components"] = []
        with self.lock:
            if job.kind == "rain":
                self.rain.update({day["date"]: day["rain_mm"] for day in job.body["days"]})
            elif job.kind in ("key", "subscription"):
                self.done[job.kind].append({"name": job.body["name"]})
            else:
                self.done[job.kind].append(job.answer)


def write(service, account, stop, open_jobs):
    """One writer: sends until the service is gone."""
    while not stop.is_set():
        job = account.job()
        if job.send(service) is None or job.answer is None:
            open_jobs.append(job)
            return
        account.note(service, job)


def names(service, path):
    """How often each name is in a list."""
    return collections.Counter(item["name"] for item in service.items(path))


def check(service, account):
    """What is lost, what is there twice, and what nobody sent."""
    faults = []
    for kind, path in [("property", "/v1/properties"), ("gauge", "/v1/gauges"), ("system", "/v1/systems"),
                       ("key", "/v1/keys"), ("subscription", "/v1/subscriptions")]:  # fmt: skip
        there = names(service, path)
        there.pop("first key", None)
        wanted = collections.Counter(one["name"] for one in account.done[kind])
        if there != wanted:
            faults.append(f"{kind}: lost {wanted - there}, too many {there - wanted}")
    there = collections.Counter(visit["note"] for visit in service.items("/v1/visits"))
    wanted = collections.Counter(visit["note"] for visit in account.done["visit"])
    if there != wanted:
        faults.append(f"visit: lost {wanted - there}, too many {there - wanted}")
    if account.done["gauge"]:
        gauge = account.done["gauge"][0]["id"]
        days = {day["date"]: day["rain_mm"] for day in service.items(f"/v1/gauges/{gauge}/rain")}
        if days != account.rain:
            lost = [day for day, mm in account.rain.items() if days.get(day) != mm]
            faults.append(f"rain: {len(lost)} days lost, {len(days.keys() - account.rain.keys())} too many")
    _, _, body = service.ask("GET", "/v1/account")
    used = {quota["of"]: quota["used"] for quota in json.loads(body)["quotas"]}
    counted = {
        "properties": len(account.done["property"]), "gauges": len(account.done["gauge"]),
        "systems": len(account.done["system"]), "subscriptions": len(account.done["subscription"]),
        "keys": len(account.done["key"]) + 1, "rain_days": len(account.rain),
    }  # fmt: skip
    faults += [f"quota {of}: {used[of]} counted, {number} there" for of, number in counted.items() if used[of] != number]
    made = sum(len(account.done[kind]) for kind in ("property", "gauge", "system", "key", "subscription", "visit"))
    audit = service.items("/v1/audit")
    things = collections.Counter((entry["operation"], entry["thing"]["id"]) for entry in audit if entry.get("thing"))
    creations = {at: number for at, number in things.items() if at[0].startswith("create_") or at[0] == "log_visit"}
    twice = [at for at, number in creations.items() if number > 1 and "key" not in at[0] and "subscription" not in at[0]]
    # The operator's entry for the account and its first key is there as well.
    if len([at for at in creations if at[0] != "create_account"]) < made or twice:
        faults.append(f"audit: {len(creations)} creations recorded, {made} made, twice: {twice[:3]}")
    return faults


def one_database(program, database, rounds, seed):
    """All rounds on one database. Returns whether nothing was lost."""
    rng = random.Random(seed)
    account = Account(rng)
    figures = {"repeated": 0, "start": 0.0, "wait": 0.0}
    with tempfile.TemporaryDirectory(prefix="eaves-kills-") as folder, tempfile.TemporaryDirectory() as cluster:
        keys = f"{folder}/secrets-key"
        flags = ["--requests-per-s", "0", "--account-keys", "0", "--account-subscriptions", "0", "--account-properties",
                 "0", "--account-gauges", "0", "--account-systems", "0", "--secrets-key-file", keys]  # fmt: skip
        subprocess.run([program, "secrets-key", keys], check=True, stdout=subprocess.DEVNULL)
        with contextlib.ExitStack() as stack:
            url = stack.enter_context(postgres(cluster)) if database == "postgres" else f"sqlite://{folder}/kills.db"
            service = Service(program, folder, url, *flags)
            stack.callback(service.stop)
            service.start()
            for number in range(1, rounds + 1):
                stop, open_jobs = threading.Event(), []
                writers = [
                    threading.Thread(target=write, args=(service, account, stop, open_jobs)) for _ in range(WRITERS)
                ]
                for writer in writers:
                    writer.start()
                time.sleep(rng.uniform(0.03, 0.6))
                service.kill()
                stop.set()
                for writer in writers:
                    writer.join()
                figures["start"] = max(figures["start"], service.start())
                began = time.monotonic()
                for job in open_jobs:
                    figures["repeated"] += 1
                    while job.answer is None:
                        if job.send(service) is None or job.answer is None:
                            time.sleep(0.1)
                        if time.monotonic() - began > 120:
                            sys.exit(f"{job.method} {job.path} is not answered for two minutes")
                    account.note(service, job)
                figures["wait"] = max(figures["wait"], time.monotonic() - began)
                if number % 20 == 0 or number == rounds:
                    faults = check(service, account)
                    made = sum(map(len, account.done.values())) + len(account.rain) // BATCH
                    print(f"{database}: {number} kills, {made} writes acknowledged, {figures['repeated']} of them "
                          f"repeated; longest start {figures['start']:.2f} s, longest wait for the repeated ones "
                          f"{figures['wait']:.1f} s; faults: {faults or 'none'}", flush=True)  # fmt: skip
                    if faults:
                        return False
    return True


def main():
    """Reads the line of the command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--service", required=True)
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--database", choices=["sqlite", "postgres"])
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    databases = [given.database] if given.database else ["sqlite", "postgres"]
    ended = [one_database(given.service, database, given.rounds, given.seed) for database in databases]
    sys.exit(0 if all(ended) else 1)


main()
