"""Proves the judge of the models: sound resources pass, each defect that a library must see is found, and a library
that writes something else than it read would be found too.

Sound resources: golden pairs, one resource of each type, by release. A defect is one change to one of them.
"""
import copy
import json
import pathlib
import subprocess
import sys
import tempfile

import judge

HERE = pathlib.Path(__file__).resolve().parent
GOLDEN = HERE.parents[1] / "golden"
PAIRS = {"4.0.1": "insertion/placed-full", "4.3.0": "insertion/placed-full", "5.0.0": "r5/insertion-placed-full"}
TYPES_MIN = 5

ANY = None


def without(name):
    return lambda r: r.pop(name)


def having(name, value):
    return lambda r: r.update({name: value})


# (what, the types it is made in, the change)
DEFECTS = [
    ("an element that FHIR has not", ANY, having("wing", "left")),
    ("the name of an element in another case", ANY, having("Identifier", [{"value": "a"}])),
    ("an object for a list", ANY, having("extension", {"url": "http://a.example", "valueString": "a"})),
    ("a text for an object", ANY, having("meta", "a")),
    ("a number for a text", ANY, having("language", 5)),
    ("a contained resource that is no object", ANY, having("contained", ["a"])),
    ("a type that FHIR has not", ANY, having("resourceType", "Nothing")),
    ("no code", ("Observation",), without("code")),
    ("no status", ("Observation", "Procedure", "Task"), without("status")),
    ("no intent", ("Task",), without("intent")),
    ("no target", ("Provenance",), without("target")),
    ("no agent", ("Provenance",), without("agent")),
    ("two values", ("Observation",), lambda r: r.update(valueInteger=1, valueString="a")),
    ("a day that no month has", ("Observation",), having("effectiveDateTime", "2031-02-30")),
    ("a month 13", ("Task",), having("authoredOn", "2031-13-01T00:00:00Z")),
    ("a word for a time", ("Provenance",), having("recorded", "yesterday")),
    ("a text for a number", ("Observation",), having("component", [{"code": {"text": "a"}, "valueQuantity": {"value": "much"}}])),
    ("a text for a truth", ("Observation",), having("component", [{"code": {"text": "a"}, "valueBoolean": "perhaps"}])),
]

# What a library does not see, (release, defect): the other judges find it.
BLIND = {("4.0.1", "two values")}

# What was read and what was written, and whether the judge may take it.
COMPARISONS = [
    ("4.0.1", '{"a":2.50}', '{"a":2.50}', True),
    ("4.0.1", '{"a":2.50}', '{"a":2.5}', False),
    ("4.0.1", '{"a":10}', '{"a":10.0}', False),
    ("4.0.1", '{"a":1}', '{"a":true}', False),
    ("4.0.1", '{"a":1}', '{"a":"1"}', False),
    ("4.0.1", '{"a":1,"b":2}', '{"a":1}', False),
    ("4.0.1", '{"a":1}', '{"a":1,"b":2}', False),
    ("4.0.1", '{"a":[1,2]}', '{"a":[2,1]}', False),
    ("4.0.1", '{"a":[1,2]}', '{"a":[1]}', False),
    ("4.0.1", '{"a":"2031-03-04T10:00:00+00:00"}', '{"a":"2031-03-04T10:00:00Z"}', False),
    ("5.0.0", '{"a":"2031-03-04T10:00:00+00:00"}', '{"a":"2031-03-04T10:00:00Z"}', True),
    ("5.0.0", '{"a":"2031-03-04T10:00:00.25Z"}', '{"a":"2031-03-04T10:00:00.250000Z"}', True),
    ("5.0.0", '{"a":"2031-03-04T10:00:00.25Z"}', '{"a":"2031-03-04T10:00:00.025000Z"}', False),
    ("5.0.0", '{"a":"2031-03-04T10:00:00+01:00"}', '{"a":"2031-03-04T09:00:00Z"}', False),
    ("5.0.0", '{"a":"2031-03-04T10:00:00Z"}', '{"a":"2031-03-04T10:00:01Z"}', False),
    ("5.0.0", '{"a":2.50}', '{"a":2.5}', False),
]


class Count:
    passed, failed = 0, 0

    def see(self, right, text):
        if right:
            self.passed += 1
        else:
            self.failed += 1
            print(f"wrong: {text}")


def sound(release):
    """One resource of each type of the release's golden pair, by type."""
    bundle = json.loads((GOLDEN / PAIRS[release] / "out.json").read_text())
    return {entry["resource"]["resourceType"]: entry["resource"] for entry in bundle["entry"]}


def see_defects(count, release):
    resources = sound(release)
    count.see(len(resources) >= TYPES_MIN, f"{release}: only {len(resources)} types to try")
    found_by_defect = {}
    for kind, resource in resources.items():
        count.see(not judge.findings(release, json.dumps(resource)), f"{release}: a sound {kind} must pass")
        for what, types, change in DEFECTS:
            if (types is not ANY and kind not in types) or (release, what) in BLIND:
                continue
            changed = copy.deepcopy(resource)
            change(changed)
            found = bool(judge.findings(release, json.dumps(changed)))
            count.see(found, f"{release}: {what} in {kind} must be found")
            found_by_defect[what] = found_by_defect.get(what, 0) + found
    for what, _, _ in DEFECTS:
        count.see(found_by_defect.get(what, 0) > 0 or (release, what) in BLIND, f"{release}: {what} was never found")


def see_comparisons(count):
    for release, before, after, is_right in COMPARISONS:
        kept = judge.number_class(release)
        found = list(judge.Comparison(release).differences(
            *(json.loads(text, parse_float=kept) for text in (before, after))))
        count.see((not found) == is_right, f"{release}: {before} and {after}: {found}")


def see_program(count):
    """The judge as a program, over a folder with one sound resource and one that is not, and over an empty one."""
    with tempfile.TemporaryDirectory() as folder:
        def run():
            done = subprocess.run([sys.executable, HERE / "judge.py", folder], capture_output=True, text=True, check=False)
            return done.returncode, done.stdout.splitlines()
        status, lines = run()
        count.see(status == 1 and lines[-1] == "0 passed, 1 failed", f"an empty folder must fail: {lines}")
        device = sound("4.0.1")["Device"]
        file = pathlib.Path(folder, "Device.ndjson")
        file.write_text(f"{json.dumps(device)}\n{json.dumps({**device, 'wing': 'left'})}\n" + '{"resourceType":\n')
        status, lines = run()
        count.see(status == 1 and lines[-1] == "1 passed, 2 failed", f"one of three is sound: {lines}")
        file.write_text(f"{json.dumps(device)}\n")
        status, lines = run()
        count.see(status == 0 and lines[-1] == "1 passed, 0 failed", f"a sound folder must pass: {lines}")


def main():
    count = Count()
    for release in PAIRS:
        see_defects(count, release)
    see_comparisons(count)
    see_program(count)
    print(f"{count.passed} passed, {count.failed} failed")
    return 1 if count.failed else 0


if __name__ == "__main__":
    sys.exit(main())
