"""What a row plays on: a real daemon, the practice endpoint, perhaps a misbehaving peer between them, and ward
devices that remember what was acknowledged; and the strict account at its end."""
import collections
import json
import shutil
import signal
import socket
import subprocess
import time

import device as d
import faulty
import metrics
import peer as p
import rows
import stage


class Scene:
    def __init__(self, row, base, build, first_port, chance, long_run):
        self.row, self.build, self.chance, self.long = row, build, chance, long_run
        self.folder = base / row.number
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        self.next_port = first_port
        self.outcome = rows.Outcome(row.number, "passed")
        self.settings = {"DWELLD_ENDPOINT_ATTEMPT_TIME_MAX_S": "1"}
        self.devices, self.peers, self.programs = [], [], []
        self.may_be_on_hold = 0
        self.port, self.endpoint_port, self.operate_port = self.free_port(), self.free_port(), self.free_port()
        self.settings["DWELLD_OPERATE_LISTEN"] = f"127.0.0.1:{self.operate_port}"
        self.log = self.folder / "dwelld.log"
        self.log.touch()
        self.config = stage.write_config(self.folder, f"https://faults.example/{row.number}", self.port,
                                         self.endpoint_port)
        self.endpoint = stage.Http(self.endpoint_port)
        self.daemon = self.receiver = None
        self.is_finished = False

    # Building the stage.

    def free_port(self):
        """One outside of what the system gives to clients: there a client could meet itself."""
        while True:
            self.next_port += 1
            with socket.socket() as probe:
                try:
                    probe.bind(("127.0.0.1", self.next_port))
                    return self.next_port
                except OSError:
                    pass

    def program(self, name, args, log, env=None):
        made = stage.Program(name, [str(word) for word in args], log, env)
        self.programs.append(made)
        return made

    def open_endpoint(self, *more):
        self.receiver = self.program("practice_endpoint", [self.build / "tests/practice_endpoint", "--port",
                                                           self.endpoint_port, *more], self.folder / "endpoint.log")
        self.receiver.start()
        stage.wait_for("the endpoint to listen", lambda: self.receiver.require() and self.endpoint.up())

    def mood(self, **mood):
        status, text = self.endpoint.ask("POST", "/_practice/mood", json.dumps(mood))
        if status != 200:
            raise stage.Trouble(f"the endpoint does not know the mood {mood}: {text}")

    def front(self, manner=p.honest, tls=None, host="127.0.0.1", name=None):
        """A peer before the endpoint, to which the daemon then goes."""
        made = p.Peer(self.free_port(), self.endpoint_port, manner, tls, host).open()
        self.peers.append(made)
        self.settings["DWELLD_ENDPOINT_URL"] = f"{'https' if tls else 'http'}://{name or host}:{made.port}/fhir"
        return made

    def set(self, **settings):
        """endpoint_attempt_time_max_s=2 is the setting of that name."""
        self.settings.update({f"DWELLD_{key.upper()}": str(value) for key, value in settings.items()})

    def faulty(self):
        """The daemon is started with system calls that can be made to fail from now on."""
        made = faulty.Faulty(self.build / "faults/faulty_system.so", self.folder / "control")
        self.settings.update(made.environment)
        return made

    def start(self, wait=True, before=()):
        """Starts the daemon, with the words of `before` before its own; until it takes events."""
        self.daemon = self.program("dwelld", [*before, self.build / "daemon/dwelld", "--config", self.config],
                                   self.log, self.settings)
        self.daemon.start()
        if wait:
            self.wait_until_up()
        return self.daemon

    def wait_until_up(self):
        stage.wait_for("the daemon to listen", lambda: self.daemon.require() and self.is_up())

    def is_up(self):
        """Whether it takes events and operators."""
        with socket.socket() as events, socket.socket(socket.AF_UNIX) as operators:
            return (events.connect_ex(("127.0.0.1", self.port)) == 0 and
                    operators.connect_ex(str(self.folder / "admin.socket")) == 0)

    def open(self, *endpoint_options, manner=None):
        """The usual: endpoint, peer when there is a manner, daemon."""
        self.open_endpoint(*endpoint_options)
        made = self.front(manner) if manner else None
        self.start()
        return made

    def stop(self, how=signal.SIGTERM):
        return self.daemon.stop(how)

    # Playing.

    def device(self, lines=None, pause_s=0.0, **more):
        made = d.Device(len(self.devices), self.port, lines, pause_s, **more)
        self.devices.append(made)
        return made

    def devices_at_work(self, count, lines=None, pause_s=0.0, **more):
        made = [self.device(lines, pause_s, **more) for _ in range(count)]
        for one in made:
            one.start()
        return made

    def send_lines(self, count, lines, **more):
        """`count` devices each send the events of `lines` lines, and are waited for."""
        made = self.devices_at_work(count, lines, **more)
        for one in made:
            one.join(stage.PATIENCE_S)
        return made

    def end_devices(self):
        for one in self.devices:
            one.ending.set()
        for one in self.devices:
            if one.ident is not None:
                one.join(stage.PATIENCE_S)

    def poster(self):
        """A device that sends nothing by itself."""
        return self.device(0)

    # Looking.

    def rows(self, request="status"):
        admin = stage.Admin(self.folder / "admin.socket")
        return admin.rows(request)

    def intake(self):
        return stage.Http(self.port)

    def operations(self):
        return stage.Http(self.operate_port)

    def metrics(self):
        return metrics.read(self.operations().ask("GET", "/metrics")[1])

    def status(self):
        return self.rows()[0]

    def queue(self):
        return self.rows("queue")

    def dwell(self, *words, timeout=30):
        """Runs the operator's command; exit code and output."""
        ended = subprocess.run([str(self.build / "daemon/dwell"), "--config", str(self.config), *words],
                               capture_output=True, text=True, timeout=timeout, stdin=subprocess.DEVNULL)
        return ended.returncode, ended.stdout + ended.stderr

    def log_lines(self, event=None):
        """What the daemon logged, as objects; other lines as text."""
        found = []
        for line in self.log.read_text(errors="replace").splitlines():
            try:
                parsed = json.loads(line)
            except ValueError:
                parsed = line
            if event is None or (isinstance(parsed, dict) and parsed.get("event") == event):
                found.append(parsed)
        return found

    def resources(self, kind=""):
        _, text = self.endpoint.ask("GET", f"/_practice/dump?type={kind}")
        return stage.read_ndjson(text)

    def counts(self):
        return json.loads(self.endpoint.ask("GET", "/_practice/counts")[1])

    def arrived(self):
        """How often each event is named by a Provenance at the endpoint."""
        seen = collections.Counter()
        for provenance in self.resources("Provenance"):
            for entity in provenance.get("entity", []):
                seen[entity["what"]["identifier"]["value"]] += 1
        return seen

    def acknowledged(self):
        return {event for one in self.devices for event in one.acknowledged}

    def wait_for(self, what, ready, patience_s=stage.PATIENCE_S):
        until = time.monotonic() + patience_s
        while time.monotonic() < until:
            found = ready()
            if found:
                return found
            time.sleep(0.02)
        raise stage.Trouble(f"waited {patience_s} s in vain for {what}")

    def hears(self, words, patience_s=20):
        """Waits until the operator is told of the trouble in these words: `dwell status` or the queue."""
        def told():
            seen.update([self.status().get("last_failure", "")], (row.get("why", "") for row in self.queue()))
            return any(words in one for one in seen)
        seen = set()
        try:
            self.wait_for(words, told, patience_s)
        except stage.Trouble:
            self.check(False, f"the operator is told \"{words}\", not {sorted(seen)}")

    def check(self, holds, words):
        if not holds:
            self.outcome.failures.append(words)
        return holds

    def note(self, words):
        self.outcome.notes.append(words)

    # The end.

    def is_quiet(self):
        deliveries = self.status()["deliveries"]
        return deliveries["ready"] == 0 and deliveries["in-progress"] == 0

    def finish(self):
        """Everything goes well again from here on: all must arrive, and the daemon end cleanly."""
        if self.is_finished:
            return
        self.is_finished = True
        self.end_devices()
        if self.daemon is None or not self.daemon.running():
            self.start()
        self.wait_for("everything to be delivered", lambda: self.daemon.require() and self.is_quiet())
        on_hold = self.status()["deliveries"]["on-hold"]
        self.check(on_hold == self.may_be_on_hold, f"{on_hold} on hold, {self.may_be_on_hold} expected")
        self.check_metrics()
        ended = self.stop()
        self.check(ended == 0, f"the daemon ended with {ended}")
        self.account()

    def check_metrics(self):
        """Metrics say what the table says. The clock may make a bundle between two questions: then once more."""
        def differences():
            found.clear()
            found.extend(metrics.against_status(self.metrics(), self.status()))
            return not found
        found = []
        try:
            self.wait_for("metrics that say what the status says", differences, 10)
        except stage.Trouble as trouble:
            self.check(False, f"{trouble}: {found}")

    def account(self):
        arrived, acknowledged = self.arrived(), self.acknowledged()
        sent = {event for one in self.devices for event in one.sent}
        names = collections.Counter()
        for resource in self.resources():
            known_as = tuple(sorted(i["system"] + "|" + i["value"] for i in resource.get("identifier", [])))
            names[resource["resourceType"], known_as or resource["id"]] += 1
        twice = [name for name, count in names.items() if count > 1]
        outcome = self.outcome
        outcome.accepted, outcome.delivered = len(acknowledged), len(acknowledged & set(arrived))
        outcome.lost = outcome.accepted - outcome.delivered
        outcome.doubled = sum(count > 1 for count in arrived.values()) + len(twice)
        self.check(outcome.accepted > 0, "nothing was accepted, so nothing was shown")
        self.check(outcome.lost == 0, f"lost: {sorted(acknowledged - set(arrived))[:5]}")
        self.check(outcome.doubled == 0, f"doubled: {twice[:3]} {[e for e, n in arrived.items() if n > 1][:3]}")
        self.check(not set(arrived) - sent, f"arrived and never sent: {sorted(set(arrived) - sent)[:5]}")
        overlaps = self.counts()["overlaps"]
        self.check(overlaps == 0, f"{overlaps} requests for a resource while another wrote it")
        odd = [entry for one in self.devices for entry in one.odd]
        self.check(not odd, f"a device got an answer that no device should: {odd[:3]}")

    def clear(self):
        """Ends whatever is left."""
        for one in self.devices:
            one.ending.set()
        for one in self.peers:
            one.close()
        for program in reversed(self.programs):
            program.stop(signal.SIGKILL)


