"""The programs on the stage: the practice endpoint, the daemon with a clock that we turn, and a ward
device that sends over HTTP. Everything runs on loopback and below build/demo."""
import http.client
import json
import os
import pathlib
import signal
import socket
import subprocess
import time

import hospital as h

POLICY = pathlib.Path(__file__).resolve().parents[1] / "config/policy-common-practice.toml"
PATIENCE_S = 60  # longest wait for a program to do what it should; a machine under load is slow


class Trouble(Exception):
    """The play cannot go on; the text says why."""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(what, ready):
    """Polls until `ready` gives something true, and returns that."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        found = ready()
        if found:
            return found
        time.sleep(0.003)
    raise Trouble(f"waited {PATIENCE_S} s in vain for {what}")


class Program:
    """A child process with its own log file."""

    def __init__(self, name, args, log, env=None):
        self.name, self.args, self.log, self.env = name, args, pathlib.Path(log), env
        self.process = None

    def start(self):
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(self.args, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                                            env={**os.environ, **(self.env or {})})

    def running(self):
        return self.process is not None and self.process.poll() is None

    def stop(self, how=signal.SIGTERM):
        """Ends it, by force if it must be, and returns its exit code."""
        if not self.process:
            return None
        if self.running():
            self.process.send_signal(how)
            try:
                self.process.wait(PATIENCE_S)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        return self.process.returncode

    def require(self):
        if not self.running():
            tail = self.log.read_text(errors="replace").splitlines()[-5:]
            raise Trouble(f"{self.name} ended with {self.process.returncode}: " + " | ".join(tail))
        return True


class Http:
    """One kept connection to a server on loopback."""

    def __init__(self, port):
        self.port, self.connection = port, None

    def ask(self, method, path, body=None, content_type="application/json"):
        """Status and body text. A connection that the server closed meanwhile is opened again, once."""
        for last in (False, True):
            try:
                if self.connection is None:
                    self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
                headers = {"Content-Type": content_type} if body is not None else {}
                self.connection.request(method, path, None if body is None else body.encode(), headers)
                answer = self.connection.getresponse()
                return answer.status, answer.read().decode()
            except (ConnectionError, http.client.HTTPException, OSError):
                self.connection = None
                if last:
                    raise

    def up(self):
        """Whether anybody listens."""
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0


def write_config(folder, namespace, intake_port, endpoint_port):
    """A configuration of the daemon that keeps everything in `folder`; returns its path."""
    path = pathlib.Path(folder) / "dwelld.toml"
    path.write_text(
        f'[site]\nnamespace = "{namespace}"\nzone = "Europe/London"\ntest_data = true\n'
        f'[store]\npath = "{path.parent}/store.db"\n'
        f'[admin]\nsocket = "{path.parent}/admin.socket"\n'
        f'[intake]\nport = {intake_port}\n'
        f'[endpoint]\nurl = "http://127.0.0.1:{endpoint_port}/fhir"\n'
        f'[policy]\nfile = "{POLICY}"\n')
    return path


class Clock:
    """The wall clock of the daemon: a file that it reads."""

    def __init__(self, path):
        self.path = pathlib.Path(path)
        self.now = None

    def set(self, moment):
        if self.now is not None and moment <= self.now:
            return
        self.now = moment
        fresh = self.path.with_suffix(".new")
        fresh.write_text(h.stamp_utc(moment) + "\n")
        fresh.replace(self.path)  # never half written


class Admin:
    """The daemon's local socket: a JSON request a line, answered by JSON lines up to one with "end"."""

    def __init__(self, path):
        self.path, self.stream = str(path), None

    def rows(self, request):
        if self.stream is None:
            connection = socket.socket(socket.AF_UNIX)
            connection.settimeout(PATIENCE_S)
            connection.connect(self.path)
            self.stream = connection.makefile("rw", encoding="utf-8", newline="\n")
        self.stream.write(json.dumps({"request": request}) + "\n")
        self.stream.flush()
        found = []
        while True:
            row = json.loads(self.stream.readline() or "null")
            if row is None or row.get("error"):
                raise Trouble(f"the admin socket answered {row} to {request}")
            if row.get("end"):
                return found
            found.append(row)

    def status(self):
        return self.rows("status")[0]

    def up(self):
        """Whether the daemon answers; the socket is the last thing that it opens."""
        try:
            return bool(self.status())
        except OSError:
            return False


def read_ndjson(text):
    return [json.loads(line) for line in text.splitlines() if line.strip()]
