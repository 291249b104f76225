"""What must be true at the end, worked out from the scenario's events alone: a second derivation,
written from the contract and the policy in other words and another language than the program's.

Instants on the UTC line, rounds with Python's zone data, ids with Python's uuid module (RFC 4122).
"""
import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

import hospital as h

HOUR = timedelta(hours=1)
DUE_SOON, GRACE, WATCH = HOUR, HOUR / 2, 48 * HOUR
DRESSING = 168 * HOUR
# Hours of dwell, planned and in an emergency; None: no limit. Kinds not named have no rules at all.
DWELL = {"peripheral-cannula": (72 * HOUR, 24 * HOUR), "midline": None, "picc": None, "cvc": None,
         "arterial-line": None}


def instant(text):
    return datetime.fromisoformat(text).astimezone(timezone.utc)


def resource_id(*parts):
    """Ids are name-based UUIDs over the site's namespace and the parts, each behind its length."""
    site = uuid.uuid5(uuid.NAMESPACE_URL, h.SITE_NAMESPACE)
    return f"dwell-{uuid.uuid5(site, ''.join(f'{len(part)}:{part}' for part in (h.SOURCE, *parts)))}"


@dataclass
class Entry:
    event: dict
    root: str
    retracted: bool = False

    @property
    def kind(self):
        return self.event["kind"]

    @property
    def at(self):
        return instant(self.event["happened_at"])


@dataclass
class Line:
    """A line as a list of its events tells it. `entries` leaves out what was replaced."""
    entries: list
    insertion: Entry = None
    removal: Entry = None

    def in_force(self, *kinds):
        return [entry for entry in self.entries if not entry.retracted and entry.kind in kinds]


def derive(events):
    roots, replaced, retracted = {}, set(), set()
    for event in events:
        roots[event["id"]] = roots.get(event.get("replaces"), event["id"])
        replaced.add(event.get("replaces"))
        retracted.add(event.get("retracts"))
    entries = [Entry(event, roots[event["id"]], event["id"] in retracted)
               for event in events if event["id"] not in replaced]
    line = Line(sorted(entries, key=lambda entry: entry.at))
    for entry in line.in_force("insertion"):
        if entry.event["outcome"] == "placed":
            line.insertion = entry
    for entry in line.in_force("removal"):
        line.removal = entry
    return line


@dataclass
class Due:
    rule: str
    anchor: str
    at: datetime
    settled: Entry = None
    ended: bool = False  # the line came out first, or something more urgent took its place

    def open(self):
        return self.settled is None and not self.ended

    def stage(self, now):
        if self.settled:
            return "settled"
        if self.ended:
            return "no-longer-needed"
        return ("not-yet-due" if now < self.at - DUE_SOON else "due-soon" if now < self.at
                else "due" if now < self.at + GRACE else "overdue")


def remove_now(event):
    """Whether what this event tells means that the line must come out at once."""
    grade = event.get("grade", {}).get("value", 0) if event["kind"] == "site-check" else 0
    swelled = event.get("flush", {}).get("swelling") == "present"
    return grade >= 2 or event.get("infiltration_grade", 0) >= 1 or swelled or event.get("still_needed") == "no"


def not_intact(event):
    return event.get("dressing", {}).get("condition", "intact") != "intact"


def dues(line):
    """Everything that is or was due, by what the events tell; without those of events in error."""
    found = []
    checks = line.in_force("site-check")
    others = line.in_force("site-check", "flush", "dressing-change", "removal")
    if others:  # settled by the insertion; told only where that came later
        first = others[0]
        found.append(Due("insertion-record-missing", first.event["line_id"], first.at, line.insertion))
    if line.insertion is None:
        return found
    start, removal = line.insertion, line.removal
    kind = start.event["line"]["kind"]
    inside = [entry for entry in line.entries if not entry.retracted and entry.kind != "retraction"
              and start.at <= entry.at and (removal is None or entry.at < removal.at)]

    def add(rule, anchor, at, settlers):
        """Settled by the first of `settlers` after the anchor; by nothing else once the line is out."""
        first = next((entry for entry in settlers if entry.at > anchor.at), None)
        found.append(Due(rule, anchor.root, at, first, removal is not None and first is None))

    removals = [removal] if removal else []
    if kind not in DWELL:
        add("policy-missing", start, start.at, [])
    else:
        if DWELL[kind]:
            add("removal-due", start, start.at + DWELL[kind][start.event["setting"] == "emergency"], removals)
        looks = [entry for entry in inside if entry.kind == "site-check"]
        for anchor in [start] + looks:
            add("site-check-due", anchor, h.next_round(anchor.at), looks)
        changes = [entry for entry in inside if entry.kind == "dressing-change"]
        bad = [entry for entry in looks if not_intact(entry.event)]
        for anchor in [start] + changes:
            add("dressing-change-due", anchor, anchor.at + DRESSING, changes)
            following = [entry for entry in bad + changes if entry.at > anchor.at]
            if following and min(following, key=lambda entry: entry.at) in bad:
                found[-1].settled, found[-1].ended = None, True  # what is due at once takes its place
        for anchor in bad:
            add("dressing-change-due", anchor, anchor.at, changes)
        for anchor in inside:
            if remove_now(anchor.event):
                add("remove-now", anchor, anchor.at, removals)
    if removal:
        end = removal.at + WATCH
        last = next((entry for entry in checks if entry.at >= end - DUE_SOON), None)
        found.append(Due("post-removal-watch", removal.root, end, last))
    return found


@dataclass
class Story:
    """One line from its first event to its last."""
    line: Line
    final: dict  # (rule, anchor) -> Due
    told: set  # every due that was open at some time, or was already settled when it became known
    overdue_told: set = field(default_factory=set)


def tell(arrivals):
    """`arrivals`: (instant of arrival, event) of one line, in order of arrival."""
    told, overdue, open_before = set(), set(), {}
    for count, (arrived, _) in enumerate(arrivals, 1):
        overdue |= {key for key, due in open_before.items() if arrived >= due.at + GRACE}
        line = derive([event for _, event in arrivals[:count]])
        found = {(due.rule, due.anchor): due for due in dues(line)}
        open_before = {key: due for key, due in found.items() if due.open()}
        overdue |= {key for key, due in open_before.items() if arrived >= due.at + GRACE}
        told |= {key for key, due in found.items()
                 if due.open() or due.settled and due.rule != "insertion-record-missing"}
    return Story(line, found, told, overdue)
