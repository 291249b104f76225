#!/usr/bin/env python3
"""Sends the demo's transactions to one FHIR server, reads everything back and searches as a clinician would.

    judge.py NAME PLACE COMMAND...     NAME: a row of SERVERS; COMMAND starts it; PLACE is for logs

Prints what failed, then {"judge":"server NAME",...} for the demo and for live delivery, then "N passed, N failed".
"""
import json
import pathlib
import signal
import sys
import time
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal

ROOT = pathlib.Path(__file__).resolve().parents[3]
sys.dont_write_bytecode = True
sys.path.insert(0, str(ROOT / "deploy/practice-ward"))

import fhir  # noqa: E402
import live  # noqa: E402
import searches  # noqa: E402
import stage  # noqa: E402
import verify  # noqa: E402

DEMO = ROOT / "build/demo"
START_MAX_S = 300
GIVEN_BY_SERVERS = ("versionId", "lastUpdated")  # R4 resource.html#Meta: the server's to say


def zeros_lost(sent, back):
    return isinstance(sent, fhir.Number) and isinstance(back, fhir.Number) and Decimal(sent) == Decimal(back)


@dataclass
class Server:
    title: str
    tolerated: list  # (whether two differing values are this difference, reason)
    unsupported: dict  # purpose of a search -> reason


SERVERS = {
    "jvm": Server("hapi-fhir-jpaserver 8.8.0, H2", [], {
        **dict.fromkeys(("dwell records by patient number", "procedures by patient number",
                         "observations by patient number"), "search modifier :identifier is not known (HAPI-2498)"),
    }),
    "node": Server("@medplum/fhir-router 4.5.2, in memory", [
        (zeros_lost, "numbers become those of JavaScript: 2.50 comes back as 2.5, the same value"),
    ], {
        "all flushed from one lot, by pair": "composite search parameters are not known",
        **dict.fromkeys(("dwell records by patient number", "procedures by patient number",
                         "observations by patient number"), "search modifier :identifier finds nothing"),
        live.BY_PATIENT_NUMBER: "chained search parameters find nothing",
    }),
}


class Judgement:
    """What was checked against one server, and what differed for a reason that is known."""

    def __init__(self, server, client):
        self.server, self.client = server, client
        self.checks, self.reasons = verify.Checks(), Counter()
        self.known = set()  # "Type/id" of all that the server should hold

    def send(self, bundles, fresh):
        """Every transaction is taken; an entry is 201 where `fresh` and its resource is new, 200 otherwise."""
        wrong, count = [], 0
        for number, text in enumerate(bundles, 1):
            names = [fhir.name_of(entry["resource"]) for entry in fhir.read(text)["entry"]]
            try:
                statuses = self.client.send(text)
            except fhir.Refused as refusal:
                wrong.append(f"bundle {number}: {refusal}")
                continue
            expected = [201 if fresh and name not in self.known else 200 for name in names]
            if statuses != expected:
                wrong.append(f"bundle {number}: expected {expected}, got {statuses}")
            self.known.update(names)
            count += 1
        self.checks.equal("transactions taken", len(bundles), count)
        self.checks.equal("entries answered otherwise than 201 at first and 200 after", [], wrong[:verify.SHOWN])

    def unequal(self, newest):
        """"Type/id" -> what differs at the server, beyond what is tolerated."""
        found, tolerated = {}, Counter()
        for name, sent in newest.items():
            status, back = self.client.ask("GET", "/" + name)
            if status != 200:
                found[name] = [f"{status} when read"]
                continue
            for member in GIVEN_BY_SERVERS:
                back["meta"].pop(member)
            for path, one, other in fhir.differences(sent, back):
                reason = next((why for holds, why in self.server.tolerated if holds(one, other)), None)
                if reason:
                    tolerated[reason] += 1
                else:
                    found.setdefault(name, []).append(f"{path}: sent {one!r}, read {other!r}")
        return found, tolerated

    def read_back(self, what, newest):
        found, tolerated = self.unequal(newest)
        self.checks.same(f"{what}, read back", dict.fromkeys(newest, []), {**dict.fromkeys(newest, []), **found})
        return tolerated

    def counts(self, newest):
        """Nothing is there twice, nor beside what was sent."""
        expected = Counter(name.split("/")[0] for name in newest)
        self.checks.same("number of", dict(expected), {
            kind: int(self.client.get(f"/{kind}?_count=1&_total=accurate")["total"]) for kind in expected})

    def search(self, table, sent):
        for purpose, cases in table.items():
            self.search_for(purpose, list(cases(sent)))

    def search_for(self, purpose, cases):
        """Each (query, names) must find exactly these names; where the server cannot, it must show that it cannot."""
        if not any(expected for _, expected in cases):
            self.checks.failed.append(f"{purpose}: nothing to be found, so nothing is proven")
        reason = self.server.unsupported.get(purpose)
        for query, expected in cases:
            try:
                found = self.client.found(query)
            except fhir.Refused as refusal:
                found = [str(refusal)]
            if reason:
                self.reasons[f"not supported: {reason}"] += 1
                self.checks.equal(f"{purpose}, {query}: listed as not supported, but it is", False,
                                  sorted(expected) == sorted(found))
            else:
                self.checks.equal(f"{purpose}, {query}", sorted(expected), sorted(found))


def newest_of(bundles):
    """"Type/id" -> the resource as it was sent last."""
    return {fhir.name_of(entry["resource"]): entry["resource"]
            for text in bundles for entry in fhir.read(text)["entry"]}


def golden_insertions():
    """The golden bundles of R4 that place a line whose device identifier was scanned."""
    return [text for text in (path.read_text() for path in sorted(ROOT.glob("tests/golden/insertion/*/out.json")))
            if '"deviceIdentifier"' in text]


def judge_demo(judgement):
    bundles = (DEMO / "transactions.ndjson").read_text().splitlines()
    newest = newest_of(bundles)
    delivered = {fhir.name_of(resource) for path in (DEMO / "delivered").glob("*.ndjson")
                 for resource in stage.read_ndjson(path.read_text())}
    judgement.checks.equal("resources that the demo delivered, beside its transactions", set(),
                           delivered ^ newest.keys())
    judgement.send(bundles, fresh=True)
    judgement.reasons += judgement.read_back("sent once", newest)
    judgement.counts(newest)
    judgement.search(searches.DEMO, searches.Sent(newest))
    judgement.send(bundles, fresh=False)
    judgement.read_back("sent twice", newest)
    judgement.counts(newest)
    return newest


def judge_golden(judgement):
    """Bundles of which some have conditional references: those come back resolved, and all else as it was. They share
    resources, so each is read back before the next is sent."""
    bundles = golden_insertions()
    wanted = fhir.searched_for([fhir.read(text) for text in bundles])
    judgement.checks.equal("conditional references among the golden bundles", True, bool(wanted))
    references = live.admit(judgement.client, wanted)
    newest = {}
    for text in bundles:
        judgement.send([text], fresh=True)
        sent = fhir.resolved(newest_of([text]), references)
        judgement.reasons += judgement.read_back("golden", sent)
        newest |= sent
    judgement.search(searches.GOLDEN, searches.Sent(newest))
    return newest


def judge_itself(judgement, newest):
    """A resource that is altered at the server, or gone, is found; a search that finds too little is."""
    devices = [name for name in sorted(newest) if name.startswith("Device/")]
    altered = {**newest[devices[0]], "lotNumber": "ALTERED"}
    status, _ = judgement.client.ask("PUT", f"/{devices[0]}", fhir.write(altered))
    judgement.checks.equal("altering a resource at the server", 200, status)
    gone = next(name for name in sorted(newest) if name.startswith("Provenance/"))
    status, _ = judgement.client.ask("DELETE", f"/{gone}")
    judgement.checks.equal("deleting a resource at the server", True, status in (200, 204))
    found, _ = judgement.unequal({name: newest[name] for name in [*devices, gone]})
    judgement.checks.equal("what was altered and what is gone, and nothing else, is found",
                           {devices[0], gone}, set(found))
    judgement.checks.equal("the altered member is named", True, found[devices[0]][0].startswith(".lotNumber: sent"))
    probe = Judgement(judgement.server, judgement.client)
    probe.search_for("a line that is not there", [("Device?status=active", {"Device/nowhere"})])
    judgement.checks.equal("a search that finds other things fails", 1, len(probe.checks.failed))


def row(judgement, what, resources):
    print(json.dumps({"judge": f"server {judgement.server.title}", "input": what, "release": "4.0.1",
                      "resources": resources, "errors": len(judgement.checks.failed),
                      "warnings": sum(judgement.reasons.values()), "warnings_by_reason": judgement.reasons},
                     separators=(",", ":")))


def main(name, place, *command):
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that the server ends with us
    started, place = time.monotonic(), pathlib.Path(place)
    place.mkdir(parents=True, exist_ok=True)
    log = place / "log"
    log.unlink(missing_ok=True)
    program = stage.Program(name, command, log)
    program.start()
    try:
        base = address(program)
        fhir.until_up(base, START_MAX_S)
        up = time.monotonic()
        new = lambda: Judgement(SERVERS[name], fhir.Client(base))  # noqa: E731
        demo, golden, delivery = new(), new(), new()
        newest = judge_demo(demo)
        rows = [(demo, "demo", len(newest)), (golden, "golden insertions", len(judge_golden(golden))),
                (delivery, "live delivery", live.deliver(delivery, base, place / "live", ROOT / "build"))]
        judge_itself(demo, newest)
    finally:
        program.stop()
    for judgement, what, count in rows:
        for words in judgement.checks.failed:
            print(f"FAILED  {what}: {words}")
        row(judgement, what, count)
    print(f"{name}: up after {up - started:.0f} s, judged in {time.monotonic() - up:.0f} s")
    failed = sum(len(judgement.checks.failed) for judgement, _, _ in rows)
    print(f"{sum(judgement.checks.held for judgement, _, _ in rows)} passed, {failed} failed")
    return 1 if failed else 0


def address(program):
    """What the server printed when it began to listen."""
    until = time.monotonic() + START_MAX_S
    while time.monotonic() < until and program.require():
        found = [line for line in program.log.read_text(errors="replace").splitlines() if line.startswith("http://")]
        if found:
            return found[0]
        time.sleep(0.1)
    raise stage.Trouble(f"{program.name} said no address in {START_MAX_S} s")


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
