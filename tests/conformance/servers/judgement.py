"""Checks one FHIR server against what was sent to it: answers, what is read back, counts, searches."""
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal

import fhir
import searches
import verify

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
        searches.BY_PATIENT_NUMBER: "chained search parameters find nothing",
    }),
}


class Judgement:
    """What was checked against one server, and what differed for a reason that is known."""

    def __init__(self, server, client):
        self.server, self.client = server, client
        self.checks, self.reasons = verify.Checks(), Counter()
        self.known = set()  # "Type/id" of all that the server should hold
        self.searched = {}  # purpose -> [queries, resources to be found, verdict]

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
        reason, failed = self.server.unsupported.get(purpose), len(self.checks.failed)
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
        so_far = self.searched.setdefault(purpose, [0, 0, f"not supported: {reason}" if reason else "found"])
        so_far[0] += len(cases)
        so_far[1] += sum(len(expected) for _, expected in cases)
        if len(self.checks.failed) > failed:
            so_far[2] = "FAILED"

    def print_searches(self, what):
        """A row for each purpose: queries, resources that they must find, and whether exactly these were."""
        for purpose, (queries, resources, verdict) in self.searched.items():
            print(f"{what}: {purpose:36} {queries:4} {'query' if queries == 1 else 'queries':7} "
                  f"{resources:5} to find  {verdict}")
