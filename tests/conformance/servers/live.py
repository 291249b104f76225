"""dwelld itself delivers to the server: some lives of lines from the demo, moved to other days, with patients and
encounters as conditional references (R4 http.html#trules), which the server resolves, and once more as other lines
whose patients and encounters dwelld searches for itself before it sends."""
import json
import shutil
from datetime import datetime, timedelta, timezone

import fhir
import hospital as h
import searches
import stage
import truth
import verify

AGE = timedelta(days=12)  # of the last event: by now whatever was due is settled or long overdue
TIMES = ("happened_at", "happened_from", "happened_until", "recorded_at")
NAMES = ("id", "line_id", "replaces", "retracts")
WAYS = ("conditional", "resolved")  # of [references] in the configuration
BY_PATIENT = {"Device": "patient", "DeviceUseStatement": "patient", "Procedure": "patient", "Observation": "patient",
              "Task": "patient"}


def chosen(events):
    """The events of the shortest life that was ended, that goes on, that has a correction, and a retraction."""
    lives = {}
    for event in events:
        lives.setdefault(event["line_id"], []).append(event)
    kinds = (lambda life: any(event["kind"] == "removal" for event in life),
             lambda life: truth.derive(life).insertion and not truth.derive(life).removal,
             lambda life: any("replaces" in event for event in life),
             lambda life: any(event["kind"] == "retraction" for event in life))
    names = {min((name for name, life in lives.items() if holds(life)), key=lambda name: (len(lives[name]), name))
             for holds in kinds}
    return [event for event in events if event["line_id"] in names]


def moved(events, now, prefix):
    """The same on other days and under names with that prefix."""
    last = max(truth.instant(event["recorded_at"]) for event in events)
    days = timedelta(days=(now - AGE - last).days)

    def move(event):
        times = {name: (datetime.fromisoformat(event[name]) + days).isoformat() for name in TIMES if name in event}
        names = {name: f"{prefix}-{event[name]}" for name in NAMES if name in event}
        return {**event, **times, **names}

    return [move(event) for event in events]


def admit(client, numbers):
    """Makes a patient or encounter for each of these (type, system, value); (type, value) -> its reference."""
    found = {}
    for kind, system, value in sorted(set(numbers)):
        resource = {"resourceType": kind, "identifier": [{"system": system, "value": value}]}
        if kind == "Encounter":
            resource |= {"status": "in-progress", "class": {
                "system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "IMP"}}
        status, made = client.ask("POST", f"/{kind}", json.dumps(resource))
        if status != 201:
            raise stage.Trouble(f"POST {kind}: {status} {fhir.write(made)[:300]}")
        found[kind, value] = fhir.name_of(made)
    return found


def numbers_in(events):
    """(type, system, value) of the patients and encounters of events."""
    return [(kind, event[member]["system"], event[member]["value"]) for event in events
            for kind, member in (("Patient", "patient"), ("Encounter", "encounter")) if member in event]


class Daemon:
    """dwelld with its own store in `folder`, delivering to `base`, with references of that way."""

    def __init__(self, folder, build, base, way):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        self.port = stage.free_port()
        config = stage.write_config(folder, h.SITE_NAMESPACE, self.port, base.rsplit(":", 1)[1].split("/")[0])
        with config.open("a") as more:
            more.write(f'[references]\npatient = "{way}"\nencounter = "{way}"\n')
        self.program = stage.Program("dwelld", [build / "daemon/dwelld", "--config", str(config)], folder / "log")
        self.http, self.admin = stage.Http(self.port), stage.Admin(folder / "admin.socket")

    def waiting(self):
        deliveries = self.admin.status()["deliveries"]
        return deliveries["ready"] + deliveries["in-progress"]


def deliver(judgement, base, folder, build):
    """Sends the events to dwelld, in each way, and looks for what should be at the server. Gives back the number of
    resources that were."""
    now = datetime.now(timezone.utc)
    demo = chosen(stage.read_ndjson((build / "demo/events.ndjson").read_text()))
    references = admit(judgement.client, numbers_in(demo))
    events = {way: moved(demo, now, way) for way in WAYS}
    for way in WAYS:
        send(judgement.checks, Daemon(folder / way, build, base, way), events[way], way)
    return look_for(judgement, references, verify.by_line((now, event) for way in WAYS for event in events[way]), now)


def send(checks, daemon, events, way):
    """Starts the daemon, gives it the events, and stops it when its queue is empty."""
    daemon.program.start()
    try:
        stage.wait_for("dwelld to listen", lambda: daemon.program.require() and daemon.http.up())
        answers = [daemon.http.ask("POST", "/events", json.dumps(event))[0] for event in events]
        checks.equal(f"events taken by dwelld, {way}", [201] * len(events), answers)
        stage.wait_for("dwelld's queue to be empty", lambda: daemon.program.require() and not daemon.waiting())
        deliveries = daemon.admin.status()["deliveries"]
        checks.equal(f"deliveries on hold, {way}", 0, deliveries["on-hold"])
    finally:
        code = daemon.program.stop()
    checks.equal(f"exit code of dwelld, {way}", 0, code)


def look_for(judgement, references, stories, now):
    """Every resource that these stories make is found by its patient; and nothing else is."""
    expected, patients = {}, {}
    for name, story in stories.items():
        made = {f"{kind}/{one}" for kind, one in verify.expected_of_events({name: story})}
        made |= {f"Task/{one}" for one in verify.expected_tasks({name: story}, now)}
        number = story.line.entries[0].event["patient"]["value"]
        expected.setdefault(number, set()).update(made)
        patients[number] = references["Patient", number]
    every = set().union(*expected.values())
    judgement.search_for("by patient", [
        (f"{kind}?{parameter}={patients[number]}", {name for name in made if name.startswith(kind + "/")})
        for number, made in expected.items() for kind, parameter in BY_PATIENT.items()])
    judgement.search_for(searches.BY_PATIENT_NUMBER, [
        (f"DeviceUseStatement?patient.identifier={fhir.token(h.NHS_SYSTEM, number)}",
         {name for name in made if name.startswith("DeviceUseStatement/")}) for number, made in expected.items()])
    check_resources(judgement, references, every, stories, now)
    return len(every)


def check_resources(judgement, references, every, stories, now):
    """Status of each as its story says, and its patient and encounter both as found and by identifier."""
    statuses = {f"{kind}/{one}": status for (kind, one), status in verify.expected_of_events(stories).items()}
    statuses |= {f"Task/{one}": words for one, words in verify.expected_tasks(stories, now).items()}
    found, unresolved = {}, []
    for name in sorted(every):
        status, resource = judgement.client.ask("GET", f"/{name}")
        if status != 200:
            found[name] = status
            continue
        found[name] = verify.task_words(resource) if name.startswith("Task/") else resource["status"]
        for kind, members in (("Patient", ("subject", "patient", "for")), ("Encounter", ("encounter", "context"))):
            for reference in (resource[member] for member in members if member in resource):
                if reference.get("reference") != references[kind, reference["identifier"]["value"]]:
                    unresolved.append((name, kind, reference))
    judgement.checks.same("status of", statuses, found)
    judgement.checks.equal("references that were not resolved", [], unresolved)
