#!/usr/bin/env python3
"""Plays the practice ward through the real daemon, and checks what came of it.

    play.py [--build DIR] [--check]     --check: no story, only the verdict

Starts a practice FHIR endpoint and dwelld with a clock that is turned by hand, sends five and a half days of ward
events over HTTP, takes the endpoint away for a night, waits until nothing waits, writes what was delivered to
DIR/demo/, and compares it with what must be true. Exit code 0 only if everything holds.
"""
import argparse
import json
import pathlib
import shutil
import signal
import subprocess
import sys
import time
from datetime import timedelta

import hospital as h
import scenario
import stage
import story
import truth
import verify
import ward_device

HERE = pathlib.Path(__file__).resolve()
OUTAGE = h.local(24, "19:40"), h.local(25, "03:20")
HOUR = timedelta(hours=1)


class Theatre:
    """The two programs, the clock, and where things are kept."""

    def __init__(self, build):
        self.build = pathlib.Path(build).resolve()
        self.demo = self.build / "demo"
        self.run = self.demo / "run"
        shutil.rmtree(self.demo, ignore_errors=True)
        self.run.mkdir(parents=True)
        self.delivered = self.demo / "delivered"
        self.delivered.mkdir()
        self.endpoint_port, self.intake_port = stage.free_port(), stage.free_port()
        self.config = stage.write_config(self.run, h.SITE_NAMESPACE, self.intake_port, self.endpoint_port)
        self.clock = stage.Clock(self.run / "clock")
        self.clock.set(scenario.START)
        self.endpoint = stage.Program(
            "practice_endpoint", [self.build / "tests/practice_endpoint", "--port", str(self.endpoint_port),
                                  "--bodies", self.demo / "transactions.ndjson"],
            self.run / "endpoint.log")
        self.daemon = stage.Program(
            "dwelld_practice", [self.build / "tests/dwelld_practice", "--config", str(self.config)],
            self.run / "dwelld.log", {"DWELL_PRACTICE_CLOCK": str(self.clock.path)})
        self.fhir, self.intake = stage.Http(self.endpoint_port), stage.Http(self.intake_port)
        self.admin = stage.Admin(self.run / "admin.socket")

    def open(self):
        self.endpoint.start()
        stage.wait_for("the endpoint to listen", lambda: self.endpoint.require() and self.fhir.up())
        self.daemon.start()
        stage.wait_for("the daemon to listen", lambda: self.daemon.require() and self.intake.up())

    def close(self):
        self.endpoint.stop()
        return self.daemon.stop()

    def endpoint_goes(self, there):
        """The endpoint closes its port, or opens it again; what it holds stays."""
        self.endpoint.process.send_signal(signal.SIGUSR2 if there else signal.SIGUSR1)
        self.fhir.connection = None
        stage.wait_for("the endpoint to come and go", lambda: self.fhir.up() == there)

    def turn_clock(self, moment):
        """Moves the daemon's time, and waits until everything that fell due meanwhile was made."""
        self.clock.set(moment)

        def caught_up():
            self.daemon.require()
            at = self.admin.status().get("caught_up_to")
            return at and truth.instant(at) >= moment

        stage.wait_for(f"the daemon to catch up to {h.stamp_utc(moment)}", caught_up)

    def waiting(self):
        deliveries = self.admin.status()["deliveries"]
        return deliveries["ready"] + deliveries["in-progress"] + deliveries["on-hold"]

    def overdue(self):
        """In words, oldest first."""
        found = [(due["due_at"], f"{line['line_id']} {due['rule']} since "
                  f"{story.wall(truth.instant(due['due_at']))}")
                 for line in self.admin.rows("lines") for due in line.get("dues", ()) if due["stage"] == "overdue"]
        return [words for _, words in sorted(found)]

    def command(self, *words):
        """What the operator's command prints."""
        done = subprocess.run([self.build / "daemon/dwell", "--config", str(self.config), *words],
                              capture_output=True, text=True, timeout=stage.PATIENCE_S, check=False)
        if done.returncode != 0:
            raise stage.Trouble(f"dwell {words[0]} ended with {done.returncode}: {done.stderr[:300]}")
        return done.stdout

    def get(self, path):
        status, text = self.fhir.ask("GET", path)
        if status != 200:
            raise stage.Trouble(f"the endpoint answered {status} to {path}: {text[:200]}")
        return text


def play(theatre, device, teller):
    timeline = scenario.build().timeline()
    sent_at = {}
    for entry in timeline:
        sent_at.setdefault(truth.instant(entry["at"]), []).append(entry)
    hours = {scenario.START + HOUR * n for n in range(int((scenario.END - scenario.START) / HOUR) + 1)}
    rounds, at = set(), h.next_round(scenario.START)
    while at < scenario.END:
        rounds.add(at)
        at = h.next_round(at)
    teller.shift(scenario.START)
    for moment in sorted(hours | rounds | set(sent_at) | set(OUTAGE) | {scenario.END}):
        theatre.turn_clock(moment)
        if moment in OUTAGE:
            theatre.endpoint_goes(moment == OUTAGE[1])
            teller.happening(moment, "the FHIR endpoint is " + (
                f"back; {theatre.waiting()} deliveries wait" if moment == OUTAGE[1] else "down: nobody answers"))
        if moment in rounds:
            end_of_shift(theatre, teller, moment)
            teller.shift(moment)
        before = len(device.answers)
        device.send(sent_at.get(moment, ()))
        teller.answers(moment, device.answers[before:])
    end_of_shift(theatre, teller, scenario.END)


def end_of_shift(theatre, teller, moment):
    if not OUTAGE[0] <= moment < OUTAGE[1]:  # what is under way may arrive; what waits for a later try may not
        until = time.monotonic() + 2
        while theatre.waiting() and time.monotonic() < until:
            time.sleep(0.01)
    deliveries = theatre.admin.status()["deliveries"]
    teller.end_of_shift(theatre.overdue(), deliveries["completed"], theatre.waiting())


def wait_until_delivered(theatre):
    """Turns the clock on by minutes, so that what waits for another try gets it."""
    until = time.monotonic() + stage.PATIENCE_S
    while theatre.waiting() and time.monotonic() < until:
        theatre.turn_clock(theatre.clock.now + timedelta(minutes=1))
        time.sleep(0.02)


def write_results(theatre, accepted):
    """What was taken, what arrived, one file a type, and the listings as the operator sees them."""
    (theatre.demo / "events.ndjson").write_text("".join(body + "\n" for body in accepted))
    resources = {}
    for resource in stage.read_ndjson(theatre.get("/_practice/dump")):
        resources.setdefault(resource["resourceType"], []).append(resource)
    for kind, held in resources.items():
        (theatre.delivered / f"{kind}.ndjson").write_text(theatre.get(f"/_practice/dump?type={kind}"))
    for listing in ("lines", "queue", "handover"):
        (theatre.demo / f"{listing}.txt").write_text(theatre.command(listing))
    (theatre.demo / "handover.html").write_text(theatre.command("handover", "--html"))
    (theatre.demo / "status.json").write_text(json.dumps(theatre.admin.status(), indent=2) + "\n")
    return resources


def check(theatre, device, resources):
    checks = verify.Checks()
    checks.equal("answers that were not the right ones", [], device.wrong())
    checks.equal("repeats that were answered otherwise than at first", [], device.repeats_differ)
    status = theatre.admin.status()
    waiting = {state: count for state, count in status["deliveries"].items() if state != "completed" and count}
    checks.equal("deliveries that still wait, by state", {}, waiting)
    checks.equal("events stored", len(device.accepted()), status["events"])
    now = truth.instant(status["now"])
    stories = verify.by_line((truth.instant(entry["at"]), json.loads(entry["body"]))
                             for entry, answer, _ in device.answers if answer == 201)
    counts = json.loads(theatre.get("/_practice/counts"))
    for name in ("overlaps", "repeats", "created_again", "deleted", "refused", "unchanged"):
        checks.equal(f"counted at the endpoint: {name}", 0, counts[name])
    checks.equal("transactions at the endpoint", status["deliveries"]["completed"], counts["transactions"])
    verify.check_structure(checks, resources)
    verify.check_provenance(checks, resources, device.accepted())
    verify.check_events(checks, resources, stories)
    in_place = verify.check_lines(checks, resources, stories)
    overdue = verify.check_tasks(checks, resources, stories, now, lambda kind, name, version: json.loads(
        theatre.get(f"/fhir/{kind}/{name}/_history/{version}")))
    return checks, counts, in_place, overdue


def summary(device, resources, checks, counts, in_place, overdue, seconds):
    answers = ", ".join(f"{count} x {status}" for status, count in sorted(device.by_status().items()))
    print(f"\nIn {seconds:.0f} s: {len(device.answers)} events sent, answered {answers}.")
    print(f"Delivered in {counts['transactions']} transactions ({counts['requests']} requests): "
          + ", ".join(f"{len(held)} {kind}" for kind, held in sorted(resources.items())) + ".")
    print(f"Lines in place at the end: {in_place}. Told as overdue at some time: "
          + (", ".join(f"{count} {rule}" for rule, count in sorted(overdue.items()) if count) or "nothing") + ".")
    for words in checks.failed:
        print(f"FAILED  {words}")
    print(f"{checks.held} passed, {len(checks.failed)} failed")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--build", default=HERE.parents[2] / "build")
    parser.add_argument("--check", action="store_true", help="no story, only the verdict")
    options = parser.parse_args()
    theatre = Theatre(options.build)
    device = ward_device.Device(theatre.intake)
    teller = story.Story(out=(lambda line: None) if options.check else print)
    started = time.monotonic()
    try:
        theatre.open()
        play(theatre, device, teller)
        wait_until_delivered(theatre)
        resources = write_results(theatre, device.accepted_bodies())
        checks, counts, in_place, overdue = check(theatre, device, resources)
        checks.equal("exit code of the daemon", 0, theatre.close())
    except stage.Trouble as trouble:
        print(f"FAILED  {trouble}\nThe logs are in {theatre.run}.")
        return 1
    finally:
        theatre.close()
    summary(device, resources, checks, counts, in_place, overdue, time.monotonic() - started)
    return 1 if checks.failed else 0


if __name__ == "__main__":
    sys.exit(main())
