#!/usr/bin/env python3
"""Sends the demo's transactions to one FHIR server, reads everything back and searches as a clinician would.

    judge.py NAME PLACE COMMAND...     NAME: a row of SERVERS; COMMAND starts it; PLACE is for logs

Prints a table of the searches, what failed, {"judge":"server ...",...} for each input, then "N passed, N failed".
"""
import json
import pathlib
import signal
import sys
import time

ROOT = pathlib.Path(__file__).resolve().parents[3]
sys.dont_write_bytecode = True
sys.path.insert(0, str(ROOT / "deploy/practice-ward"))

import fhir  # noqa: E402
import live  # noqa: E402
import searches  # noqa: E402
import stage  # noqa: E402
import truth  # noqa: E402
from judgement import SERVERS, Judgement  # noqa: E402

DEMO = ROOT / "build/demo"
START_MAX_S = 300


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
    judge_lots(judgement, newest)
    judgement.send(bundles, fresh=False)
    judgement.read_back("sent twice", newest)
    judgement.counts(newest)
    return newest


def flushed_from(events):
    """Lot -> numbers of the patients who had it, by what the events say: not by any resource."""
    lives, found = {}, {}
    for event in events:
        lives.setdefault(event["line_id"], []).append(event)
    for entry in (entry for life in lives.values() for entry in truth.derive(life).entries if not entry.retracted):
        lot = entry.event.get("flush", {}).get("lot")
        if lot:
            found.setdefault(lot, set()).add(entry.event["patient"]["value"])
    return found


def judge_lots(judgement, newest):
    """The recall of a lot: from the server's answer to the patients whom the wards' events name."""
    expected = flushed_from(stage.read_ndjson((DEMO / "events.ndjson").read_text()))
    found = {}
    for system, lot in searches.lots(searches.Sent(newest)):
        records = [newest[name] for name in judgement.client.found(
            f"Observation?component-value-concept={fhir.token(system, lot)}")]
        found[lot] = {record["subject"]["identifier"]["value"] for record in records
                      if record["status"] != "entered-in-error"}
    judgement.checks.equal("more than one lot in the demo", True, len(expected) > 1)
    judgement.checks.same("patients flushed from lot", expected, found)


def judge_golden(judgement):
    """Bundles of which some have conditional references: those come back resolved, and all else as it was. They share
    resources, so each is read back and searched for before the next is sent."""
    bundles = golden_insertions()
    wanted = fhir.searched_for([fhir.read(text) for text in bundles])
    judgement.checks.equal("conditional references among the golden bundles", True, bool(wanted))
    references = live.admit(judgement.client, wanted)
    newest = {}
    for text in bundles:
        judgement.send([text], fresh=True)
        sent = fhir.resolved(newest_of([text]), references)
        judgement.reasons += judgement.read_back("golden", sent)
        judgement.search(searches.GOLDEN, searches.Sent(sent))
        newest |= sent
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
        judgement.print_searches(what)
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
