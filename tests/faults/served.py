"""The service as a process, and a private PostgreSQL cluster, for scripts that kill and attack it."""

import contextlib
import http.client
import json
import os
import pathlib
import pwd
import re
import shutil
import signal
import socket
import subprocess
import sys
import time


class Service:
    """A running service. It is started again on the same database with `start`."""

    def __init__(self, program, folder, url, *flags):
        self.program, self.folder, self.url, self.flags = program, pathlib.Path(folder), url, flags
        self.process, self.port, self.key = None, None, None

    def start(self):
        """Starts it, and waits until it is ready. Returns the seconds that took."""
        began = time.monotonic()
        log = self.folder / "service.log"
        printed = self.folder / "printed"
        with log.open("w") as errors, printed.open("a") as output:
            self.process = subprocess.Popen(
                [self.program, "serve", "--bind", "127.0.0.1:0", "--drain-s", "0", "--database-url", self.url,
                 *self.flags],
                stdout=output, stderr=errors,
            )  # fmt: skip
        while not (said := re.search(r"listening on 127\.0\.0\.1:(\d+)", log.read_text(errors="replace"))):
            if self.process.poll() is not None or time.monotonic() - began > 60:
                sys.exit(f"the service did not start:\n{log.read_text(errors='replace')}")
            time.sleep(0.005)
        self.port = int(said[1])
        key = re.search(r"\bew_\S+", printed.read_text())
        self.key = self.key or (key and key[0])
        while self.ask("GET", "/readyz")[0] != 200:
            if time.monotonic() - began > 60:
                sys.exit("the service did not become ready")
            time.sleep(0.005)
        return time.monotonic() - began

    def command(self, *words):
        """Runs one of its commands on the same database and returns what it prints."""
        line = [self.program, *words, "--database-url", self.url, *self.flags]
        return subprocess.run(line, check=True, capture_output=True, text=True).stdout

    def kill(self):
        """Ends it as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self):
        """Ends it as an operator would."""
        if self.process is None or self.process.poll() is not None:
            return
        self.process.send_signal(signal.SIGTERM)
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(timeout=60)
        if self.process.poll() is None:
            self.process.kill()

    def ask(self, method, path, body=None, key=None, headers=None, timeout=60):
        """One request on a connection of its own: status, headers and body. Bytes are sent as they are."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        sent = dict(headers or {})
        if key or self.key:
            sent.setdefault("Authorization", f"Bearer {key or self.key}")
        if body is not None and not isinstance(body, bytes):
            body = json.dumps(body).encode()
        if body is not None:
            sent.setdefault("Content-Type", "application/json")
        try:
            connection.request(method, path, body=body, headers=sent)
            answer = connection.getresponse()
            return answer.status, answer.headers, answer.read()
        finally:
            connection.close()

    def items(self, path, key=None):
        """Every item of a list."""
        found, cursor = [], ""
        while True:
            join = "&" if "?" in path else "?"
            status, _, body = self.ask("GET", f"{path}{join}limit=500{cursor}", key=key)
            if status == 429:
                time.sleep(0.5)
                continue
            if status != 200:
                sys.exit(f"GET {path}: {status} {body[:300]}")
            page = json.loads(body)
            found += page["items"]
            if not page.get("next_cursor"):
                return found
            cursor = f"&cursor={page['next_cursor']}"


@contextlib.contextmanager
def postgres(folder):
    """The URL of a fresh database in a cluster of its own, which keeps what it commits."""
    programs = sorted(pathlib.Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parts[-2]))
    if not programs:
        sys.exit("PostgreSQL is missing: install the Debian package postgresql")
    user = None
    if os.geteuid() == 0:
        user = next(name for name in ("postgres", "nobody") if name in {one.pw_name for one in pwd.getpwall()})
        shutil.chown(folder, user)
    run = lambda *words: subprocess.run(  # noqa: E731
        [programs[-1] / words[0], *words[1:]], user=user, cwd=folder, check=True, stdout=subprocess.DEVNULL
    )
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = pathlib.Path(folder) / "data"
    run("initdb", "-D", data, "--username=postgres", "--auth=trust", "--encoding=UTF8", "--locale=C")
    run("pg_ctl", "-D", data, "-w", "-l", pathlib.Path(folder) / "log", "-o",
        f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder}", "start")  # fmt: skip
    try:
        run("createdb", "-h", "127.0.0.1", "-p", str(port), "-U", "postgres", "eaves")
        yield f"postgres://postgres@127.0.0.1:{port}/eaves"
    finally:
        run("pg_ctl", "-D", data, "-m", "immediate", "stop")
