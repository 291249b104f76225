#!/usr/bin/env python3
"""Numbers keep their text from event to resource, and none that leaves has an exponent.

    numbers.py golden DIR              pairs of tests/golden: the last event and the bundle it makes
    numbers.py whole EVENTS BUNDLES    NDJSON: every event that was taken, every transaction Bundle made

A number is compared as the characters it was written with, never as a value. Every number of an event (but in
`extra`, which is not mapped) must have a row in PLACES. The line before the last tells the counts as JSON.
"""
import json
import pathlib
import re
import sys
from collections import Counter
from urllib.parse import quote

ROOT = pathlib.Path(__file__).resolve().parents[2]
# R4, decimal and integer, without the exponent that decimal allows: we never send one.
PLAIN = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?")
PRINTED_MAX = 30


class Number(str):
    """The characters of a JSON number."""


def read(text):
    return json.loads(text, parse_float=Number, parse_int=Number)


def display(code):
    return DISPLAYS[code]


DISPLAYS = {c["code"]: c["display"] for c in json.loads(
    (ROOT / "mapping/codes/line-care.codesystem.json").read_text())["concept"]}


def components(code, member):
    """The numbers of the components called by our own words for `code`."""
    def find(resources):
        for resource in resources:
            for part in resource.get("component", []):
                if part["code"].get("text") == display(code):
                    yield part[member]["value"] if member == "valueQuantity" else part.get(member)
    return find


def properties(code):
    """The numbers of the Device's properties; R4 has a list of quantities there, R5 one."""
    def find(resources):
        for resource in resources:
            if resource["resourceType"] != "Device":
                continue
            for one in resource.get("property", []):
                if one["type"].get("text") == display(code):
                    quantity = one["valueQuantity"]
                    yield (quantity[0] if isinstance(quantity, list) else quantity)["value"]
    return find


def grades(resources):
    """The value of a graded Observation."""
    return (r["valueInteger"] for r in resources if r["resourceType"] == "Observation" and "valueInteger" in r)


# Where a number of an event stands in the resources.
PLACES = {
    "flush/mL": components("flush-volume", "valueQuantity"),
    "line/gauge": properties("gauge"),
    "line/french": properties("french"),
    "line/length_mm": properties("length"),
    "preparation/surface_dried_min": components("surface-dried-time", "valueQuantity"),
    "preparation/skin_dried_s": components("skin-dried-time", "valueQuantity"),
    "measures/redness_mm": components("redness-extent", "valueQuantity"),
    "measures/swelling_mm": components("swelling-extent", "valueQuantity"),
    "measures/temperature_cel": components("body-temperature", "valueQuantity"),
    "measures/pain_0_10": components("pain-score", "valueInteger"),
    "infiltration_grade": components("infiltration-grade", "valueInteger"),
    "grade/value": grades,
}


def numbers(value, path=()):
    """Every number below `value` with the way to it."""
    if isinstance(value, Number):
        yield "/".join(path), value
    elif isinstance(value, dict):
        for name, inner in value.items():
            yield from numbers(inner, (*path, name))
    elif isinstance(value, list):
        for inner in value:
            yield from numbers(inner, path)


def told(event):
    """The numbers of an event that must be delivered. A line that was not placed has no Device."""
    for path, text in numbers({name: part for name, part in event.items() if name != "extra"}):
        if path.startswith("line/") and event["outcome"] != "placed":
            continue
        yield path, text


def cause(bundle):
    """(source, id) of the event a bundle was made for, as its Provenance tells it; None for the clock."""
    for entry in bundle["entry"]:
        if entry["resource"]["resourceType"] != "Provenance":
            continue
        for entity in entry["resource"].get("entity", []):
            if entity["role"] == "source":
                identifier = entity["what"]["identifier"]
                return identifier["system"].rsplit("/source/", 1)[1].removesuffix("/event"), identifier["value"]
    return None


class Check:
    def __init__(self):
        self.counts = Counter()
        self.wrong = []

    def see(self, right, what, text):
        self.counts[what] += 1
        if not right:
            self.wrong.append(text)

    def texts(self, bundle):
        for path, text in numbers(bundle):
            self.see(PLAIN.fullmatch(text), "numbers in resources", f"{path}: {text} is no plain number")

    def event(self, event, resources):
        for path, text in told(event):
            place = PLACES.get(path)
            found = [one for one in place(resources) if isinstance(one, Number)] if place else []
            self.see(text in found, "numbers of events delivered",
                     f"event {event['id']}: {path} is {text}, the resources say {found}")


def key(event):
    return quote(event["source"], safe=""), event["id"]


def golden(check, folder):
    for out in sorted(pathlib.Path(folder).glob("*/*/out.json")):
        bundle = read(out.read_text())
        check.texts(bundle)
        event = read(out.with_name("in.ndjson").read_text().splitlines()[-1])
        if cause(bundle) == key(event):
            check.event(event, [entry["resource"] for entry in bundle["entry"]])


def lines(path):
    with open(path, encoding="utf-8") as file:
        yield from map(read, file)


def whole(check, events_file, bundles_file):
    made = {}
    for bundle in lines(bundles_file):
        check.texts(bundle)
        made.setdefault(cause(bundle), [entry["resource"] for entry in bundle["entry"]])
    gone = set()  # what was corrected or taken back before it came is not delivered as in force
    for event in lines(events_file):
        for named in ("replaces", "retracts"):
            if named in event:
                gone.add((key(event)[0], event[named]))
        if key(event) in gone:
            check.counts["events undone before they came"] += 1
        else:
            check.event(event, made.get(key(event), []))


def main(words):
    check = Check()
    if words[:1] == ["golden"] and len(words) == 2:
        golden(check, words[1])
    elif words[:1] == ["whole"] and len(words) == 3:
        whole(check, *words[1:])
    else:
        print(__doc__)
        return 64
    for text in check.wrong[:PRINTED_MAX]:
        print(f"wrong: {text}")
    done = check.counts["numbers in resources"] + check.counts["numbers of events delivered"]
    if not check.counts["numbers of events delivered"]:
        check.wrong.append("there was nothing to compare")
    print(", ".join(f"{count} {what}" for what, count in check.counts.items()))
    print(json.dumps({"judge": "numbers keep their text", "resources": done, "errors": len(check.wrong), "warnings": 0}))
    print(f"{done - min(done, len(check.wrong))} passed, {len(check.wrong)} failed")
    return 1 if check.wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
