#!/usr/bin/env python3
"""Five and a half days on three invented wards, as a timeline of ward events: always the same bytes.

    scenario.py > timeline.ndjson

One JSON object a line: `at` (the instant it is sent), `body` (the bytes sent), `expect` (the HTTP status
that is right), `ward`, `kind`, and `story` where a person should hear of it.
"""
import json
import random
from datetime import timedelta

import bedside as b
import cast
import hospital as h
import mistakes

START = h.local(22, "05:30")
END = h.local(27, "15:00")
LINES = 60
SLOT = timedelta(minutes=5)  # what ward devices wait before they send


class Plot:
    """Collects what is sent, and gives out patients, beds and line ids."""

    def __init__(self):
        self.entries = []
        self.lines = []
        self.patients = h.nhs_numbers()
        self.beds = {ward: 0 for ward in h.WARDS}

    def line(self, ward, **details):
        bed = self.beds[ward]
        self.beds[ward] += 1
        details.setdefault("patient", next(self.patients))
        made = b.Line(id=f"L{len(self.lines) + 1:02d}", ward=ward, bay=str(bed // 6 + 1), bed=str(bed % 6 + 1),
                      **details)
        self.lines.append(made)
        return made

    def send(self, event, expect=201, story=None, at=None):
        """Sends an event at the first slot after it was written down, or `at` a told instant."""
        if at is None:
            written = h.datetime.fromisoformat(event["recorded_at"]).astimezone(h.timezone.utc)
            at = written + (START - written) % SLOT
        return self.send_text(h.dump(event), event["place"]["ward"], event["kind"], expect, story, at)

    def send_text(self, body, ward, kind, expect, story, at):
        entry = {"at": h.stamp_utc(at), "expect": expect, "ward": ward, "kind": kind, "story": story, "body": body}
        self.entries.append(entry)
        return entry

    def timeline(self):
        return sorted(self.entries, key=lambda entry: entry["at"])  # stable: order of telling within a slot


def busy_with_rounds(moment):
    """Whether staff are about to go round, or on it: nothing else happens then."""
    ahead = h.next_round(moment - timedelta(minutes=35))
    return moment - timedelta(minutes=35) <= ahead <= moment + timedelta(minutes=15)


def free_moment(moment):
    while busy_with_rounds(moment):
        moment += timedelta(minutes=5)
    return moment


def ordinary_lines(plot, rng):
    """Cannulas that do their work and come out in time: most of a hospital's lines."""
    wards = tuple(h.WARDS)
    places = (("forearm", "cephalic"), ("dorsum-of-hand", "metacarpal"), ("antecubital-fossa", "basilic"))
    while len(plot.lines) < LINES:
        number = len(plot.lines)
        place, vein = places[int(rng.random() * 3)]
        line = plot.line(wards[number % 3], gauge=(18, 20, 22)[int(rng.random() * 3)], place=place, vein=vein,
                         side=("left", "right")[int(rng.random() * 2)])
        line.inserted = free_moment(START + timedelta(minutes=100 + 5 * int(rng.random() * 1300)))
        out = free_moment(line.inserted + timedelta(minutes=60 * 20 + 5 * int(rng.random() * 590)))
        nurse = h.WARDS[line.ward][1][number % 2]
        plot.send(b.placed(line, nurse))
        if number % 3 == 0:
            used = free_moment(line.inserted + timedelta(hours=3))
            plot.send(b.flush(line, used, nurse))
        if out < END - timedelta(minutes=10):
            line.removed = out
            plot.send(b.removal(line, out, nurse))


def go_round(plot, ward, at):
    """One round on one ward: a look at every line that is in place, a minute each."""
    nurses = h.WARDS[ward][1]
    minute = 3
    for line in plot.lines:
        if line.ward != ward or not line.inserted or line.inserted >= at:
            continue
        if line.removed and line.removed <= at + timedelta(minutes=30):
            continue
        number = line.course["rounds"] = line.course.get("rounds", 0) + 1
        minute += 1
        special = dict(line.course.get(number, {}))
        if special.pop("missed", False) or cast.nobody_came(line, at):
            continue
        happened = at + timedelta(minutes=special.pop("late", minute))
        expect_sent, story = special.pop("sent", None), special.pop("story", None)
        special.setdefault("grade", 0)
        check = b.site_check(line, happened, nurses[number % 2], event_id=f"{line.id}-round-{number:02d}", **special)
        plot.send(check, at=expect_sent, story=story)


def last_looks(plot):
    """The site is watched for 48 hours after a removal; for one line in five nobody comes."""
    for number, line in enumerate(plot.lines):
        if not line.removed or number % 5 == 0:
            continue
        at = line.removed + timedelta(hours=47, minutes=20)
        if at < END - timedelta(minutes=10):
            plot.send(b.site_check(line, at, h.WARDS[line.ward][1][number % 2], grade=0, **b.NO_LINE))


def build():
    plot = Plot()
    cast.play(plot)
    mistakes.play(plot)
    ordinary_lines(plot, random.Random(20261022))
    at = h.next_round(START)
    while at < END:
        for ward in h.WARDS:
            go_round(plot, ward, at)
        at = h.next_round(at)
    last_looks(plot)
    return plot


def main():
    for entry in build().timeline():
        print(json.dumps(entry, ensure_ascii=False))


if __name__ == "__main__":
    main()
