"""Compares what arrived at the endpoint with what must be true (truth.py). Every check says what it
expected and what it found."""
from collections import Counter, defaultdict

import hospital as h
import truth

SHOWN = 5
OPEN_STATUS = {"not-yet-due": "requested", "due-soon": "requested", "due": "ready", "overdue": "ready",
               "settled": "completed", "no-longer-needed": "cancelled"}
BASE = f"{h.SITE_NAMESPACE}/source/{h.SOURCE}"


class Checks:
    """Counts what held and keeps, in words, what did not."""

    def __init__(self):
        self.held, self.failed = 0, []

    def equal(self, what, expected, found):
        if expected == found:
            self.held += 1
        else:
            self.failed.append(f"{what}: expected {expected!r}, found {found!r}")

    def same(self, what, expected, found):
        """Two dicts, key by key; each key is one check."""
        wrong = [key for key in {**expected, **found} if expected.get(key) != found.get(key)]
        self.held += len(expected) - sum(key in expected for key in wrong)
        for key in wrong[:SHOWN]:
            self.failed.append(f"{what} {key}: expected {expected.get(key, 'nothing')}, found {found.get(key, 'nothing')}")
        if len(wrong) > SHOWN:
            self.failed.append(f"{what}: and {len(wrong) - SHOWN} more")


def roles(event):
    """(role, FHIR type, status) of each resource that an event makes."""
    kind, placed = event["kind"], event.get("outcome") == "placed"
    attempts = event.get("attempts", [])
    if kind == "insertion":
        if placed:
            yield "device", "Device", "active"
            yield "device-use", "DeviceUseStatement", "active"
        if event["outcome"] != "failed" or not attempts:
            yield "insertion", "Procedure", "completed" if placed else "not-done"
        for number in range(1, len(attempts) + 1):
            yield f"attempt/{number}", "Procedure", "completed"
        if event["outcome"] in ("placed", "failed"):
            yield "insertion-record", "Observation", "final"
        if "flush" in event:
            yield "first-flush", "Observation", "final"
    elif kind == "site-check":
        yield "site-check", "Observation", "final"
        if "flush" in event:
            yield "flush-record", "Observation", "final"
    elif kind == "flush":
        yield "flush", "Procedure", "completed"
        yield "flush-record", "Observation", "final"
    elif kind == "dressing-change":
        yield "dressing-change", "Procedure", "completed"
        yield "dressing-record", "Observation", "final"
    elif kind == "removal":
        yield "removal", "Procedure", "completed"
        yield "site-at-removal", "Observation", "final"
        yield "dwell-time", "Observation", "final"


def expected_of_events(stories):
    """(type, id) -> status of everything but Tasks and Provenances."""
    expected = {}
    for story in stories.values():
        out = {"active": "inactive"} if story.line.removal else {}
        use = {"active": "completed"} if story.line.removal else {}
        for entry in story.line.entries:
            for role, kind, status in roles(entry.event):
                name, _, number = role.partition("/")
                status = (out if kind == "Device" else use if kind == "DeviceUseStatement" else {}).get(status, status)
                if kind == "Observation" and "replaces" in entry.event:
                    status = "corrected"
                key = kind, truth.resource_id("event", entry.root, name, number or "0")
                expected[key] = "entered-in-error" if entry.retracted else status
    return expected


def expected_tasks(stories, now):
    """id -> (status, rule, due instant); of a withdrawn Task only the status is known."""
    expected = {}
    for line_id, story in stories.items():
        for rule, anchor in story.told:
            due = story.final.get((rule, anchor))
            task = truth.resource_id("task", line_id, rule, anchor)
            if due is None:
                expected[task] = "entered-in-error"
            else:
                expected[task] = f"{OPEN_STATUS[due.stage(now)]} {rule} {h.stamp_utc(due.at)}"
    return expected


def task_words(task):
    if task["status"] == "entered-in-error":
        return "entered-in-error"
    due = truth.instant(task["restriction"]["period"]["end"])
    return f"{task['status']} {own_code(task['code'])} {h.stamp_utc(due)}"


def own_code(concept):
    """The code of the project's own system, which due rules and stages have no other than."""
    return concept["coding"][-1]["code"]


def check_structure(checks, resources):
    for kind, held in resources.items():
        ids = Counter(resource["id"] for resource in held)
        checks.equal(f"{kind}: no id twice", [], [one for one, count in ids.items() if count > 1])
        for resource in held:
            checks.equal(f"{kind}/{resource['id']} has a version", True,
                         int(resource["meta"]["versionId"]) >= 1)
    known = {f"{kind}/{resource['id']}" for kind, held in resources.items() for resource in held}
    told = {target["reference"] for provenance in resources["Provenance"] for target in provenance["target"]}
    others = {name for name in known if not name.startswith("Provenance/")}
    checks.equal("every resource has its Provenance, and none is about nothing", set(), told ^ others)


def check_provenance(checks, resources, accepted):
    """Each event taken has exactly one Provenance of its own."""
    found = Counter(entity["what"]["identifier"]["value"] for provenance in resources["Provenance"]
                    for entity in provenance.get("entity", ()) if entity["role"] == "source")
    checks.same("Provenances of event", {event["id"]: 1 for event in accepted}, dict(found))


def check_events(checks, resources, stories):
    found = {(kind, resource["id"]): resource["status"] for kind, held in resources.items()
             if kind not in ("Task", "Provenance") for resource in held}
    checks.same("status of", expected_of_events(stories), found)


def check_lines(checks, resources, stories):
    """The dwell record: when each line went in and came out; and how many are in now."""
    periods = {}
    for use in resources["DeviceUseStatement"]:
        if use["status"] != "entered-in-error":
            name = next(i["value"] for i in use["identifier"] if i["system"] == f"{BASE}/line")
            period = use["timingPeriod"]
            periods[name] = tuple(truth.instant(period[end]) if end in period else None for end in ("start", "end"))
    expected = {line_id: (story.line.insertion.at, story.line.removal and story.line.removal.at)
                for line_id, story in stories.items() if story.line.insertion}
    checks.same("dwell of", expected, periods)
    in_place = sum(end is None for _, end in expected.values())
    active = sum(device["status"] == "active" for device in resources["Device"])
    checks.equal("lines in place = active Devices", in_place, active)
    return in_place


def check_tasks(checks, resources, stories, now, history):
    """`history(type, id, version)` reads an older version: what was overdue once must have been told."""
    tasks = {task["id"]: task for task in resources["Task"]}
    checks.same("Task", expected_tasks(stories, now), {name: task_words(task) for name, task in tasks.items()})
    overdue = Counter()
    for line_id, story in stories.items():
        for rule, anchor in story.told:
            due = story.final.get((rule, anchor))
            still = due is not None and due.stage(now) == "overdue"
            task = tasks.get(truth.resource_id("task", line_id, rule, anchor))
            if task is None:
                continue
            stages = []
            for version in range(1, int(task["meta"]["versionId"]) + 1):
                told = task if version == int(task["meta"]["versionId"]) else history("Task", task["id"], version)
                stages.append(own_code(told["businessStatus"]) if "businessStatus" in told else "withdrawn")
            was = still or (rule, anchor) in story.overdue_told
            checks.equal(f"{line_id} {rule} from {anchor} was told as overdue ({', '.join(stages)})", was,
                         "overdue" in stages)
            overdue[rule] += was
    return overdue


def by_line(answers):
    """Stories of all lines, from the answers in order of sending."""
    arrivals = defaultdict(list)
    for at, event in answers:
        arrivals[event["line_id"]].append((at, event))
    return {line_id: truth.tell(events) for line_id, events in arrivals.items()}
