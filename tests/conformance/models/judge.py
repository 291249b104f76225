"""Every resource parses into the Python models of its FHIR release, and what they write is what was read.

    judge.py [--release 4.0.1|4.3.0|5.0.0] [--every N] FILE_OR_DIRECTORY...

R4: fhirclient (strict models made from the R4 definitions). R4B and R5: fhir.resources (pydantic). --every N takes
each Nth resource. Where a library cannot keep the text, KEPT_OTHERWISE says so and why; anything else that differs
is an error. The line before the last tells the counts as JSON.
"""
import argparse
import importlib
import json
import pathlib
import re
import sys
from collections import Counter
from decimal import Decimal

PRINTED_MAX = 30


class Kept(float):
    """A number that remembers its characters; fhirclient wants a float where FHIR says decimal."""

    def __new__(cls, text):
        number = super().__new__(cls, text)
        number.text = text
        return number


def fhirclient_r4(text):
    """What fhirclient's model of the resource writes. Its decimals pass through unchanged, with their characters."""
    from fhirclient.models.fhirelementfactory import FHIRElementFactory

    resource = json.loads(text, parse_float=Kept)
    return FHIRElementFactory.instantiate(resource["resourceType"], resource).as_json()


def pydantic_of(package):
    def write(text):
        resource = json.loads(text, parse_float=Decimal)
        name = resource["resourceType"]
        model = getattr(importlib.import_module(f"{package}.{name.lower()}"), name)
        held = model.model_validate(resource)
        # It writes decimals as floats, but holds them as they came.
        return with_decimals(json.loads(held.model_dump_json()), held)
    return write


def with_decimals(written, held):
    """`written` with the decimals that the model holds at the same places."""
    if isinstance(held, Decimal):
        return held
    if isinstance(written, dict):
        return {name: with_decimals(value, getattr(held, name, None)) for name, value in written.items()}
    if isinstance(written, list) and isinstance(held, list):
        return [with_decimals(*pair) for pair in zip(written, held)]
    return written


ENGINES = {
    "4.0.1": ("fhirclient 4.4.0", fhirclient_r4),
    "4.3.0": ("fhir.resources 8.3.0, R4B", pydantic_of("fhir.resources.R4B")),
    "5.0.0": ("fhir.resources 8.3.0", pydantic_of("fhir.resources")),
}

FRACTION = re.compile(r"(T\d\d:\d\d:\d\d)\.(\d{1,6})")


def same_time(before, after):
    def full(text):
        return FRACTION.sub(lambda found: f"{found[1]}.{found[2]:0<6}", text).replace("+00:00", "Z")
    return (isinstance(before, str) and isinstance(after, str) and "T" in before
            and full(before) == full(after))


# (engines it concerns, whether the difference is of this kind, why it stands)
KEPT_OTHERWISE = [
    (("4.3.0", "5.0.0"), same_time,
     "a time becomes a datetime of Python, written with six digits of a fraction and Z for +00:00"),
]


def is_number(value):
    return isinstance(value, (int, float, Decimal)) and not isinstance(value, bool)


def number_text(value):
    return value.text if isinstance(value, Kept) else str(value)


class Comparison:
    def __init__(self, release):
        self.rows = [row for row in KEPT_OTHERWISE if release in row[0]]
        self.excused = Counter()

    def differences(self, before, after, at=""):
        """Where `after` is not what `before` says, in words."""
        if isinstance(before, dict) and isinstance(after, dict):
            for name in before.keys() | after.keys():
                if name not in before or name not in after:
                    yield f"{at}/{name} is there only {'before' if name in before else 'after'}"
                else:
                    yield from self.differences(before[name], after[name], f"{at}/{name}")
        elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
            for i, pair in enumerate(zip(before, after)):
                yield from self.differences(*pair, f"{at}/{i}")
        elif is_number(before) and is_number(after):
            if number_text(before) != number_text(after):
                yield f"{at} was {number_text(before)} and became {number_text(after)}"
        elif type(before) is not type(after) or before != after:
            for row in self.rows:
                if row[1](before, after):
                    self.excused[row[2]] += 1
                    return
            yield f"{at} was {before!r} and became {after!r}"


def number_class(release):
    """What JSON numbers with a fraction are read as: with their characters."""
    return Kept if release == "4.0.1" else Decimal


def findings(release, text, comparison=None):
    """What is wrong with a resource, in words: it does not parse, or is not written as it was read."""
    comparison = comparison or Comparison(release)
    try:
        before = json.loads(text, parse_float=number_class(release))
        return list(comparison.differences(before, ENGINES[release][1](text)))
    except Exception as error:  # the libraries have no common class for what they refuse
        return [f"{type(error).__name__}: {error}"]


def texts(places, every):
    number = 0
    for place in places:
        path = pathlib.Path(place)
        files = sorted(path.rglob("*.*json")) if path.is_dir() else [path]
        for file in files:
            whole = file.read_text(encoding="utf-8")
            for at, line in enumerate([whole] if file.suffix == ".json" else whole.split("\n"), 1):
                if not line:
                    continue
                number += 1
                if number % every == 0:
                    yield f"{file}:{at}", line


def judge(release, places, every):
    comparison = Comparison(release)
    seen, wrong = 0, 0
    for place, text in texts(places, every):
        seen += 1
        found = findings(release, text, comparison)
        if found:
            wrong += 1
            if wrong <= PRINTED_MAX:
                print(f"{place}: {'; '.join(found)[:500]}")
    print(f"{seen} resources" + (f", each {every}th of all" if every > 1 else ""))
    for reason, count in comparison.excused.items():
        print(f"{count} values written otherwise: {reason}")
    if seen == 0:
        print("there was nothing to judge: that counts as a failure")
    print(json.dumps({"judge": ENGINES[release][0], "release": release, "resources": seen,
                      "errors": wrong if seen else 1, "warnings": 0}))
    print(f"{seen - wrong} passed, {wrong if seen else 1} failed")
    return 1 if wrong or not seen else 0


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--release", choices=ENGINES, default="4.0.1")
    arguments.add_argument("--every", type=int, default=1)
    arguments.add_argument("places", nargs="+")
    asked = arguments.parse_args()
    return judge(asked.release, asked.places, asked.every)


if __name__ == "__main__":
    sys.exit(main())
