"""Sends the timeline as ward devices do, and keeps what was answered against what is right."""
import json
from collections import Counter
from dataclasses import dataclass, field

import stage


@dataclass
class Device:
    """`answers` pairs each entry of the timeline with the status that it got, in order of sending."""
    http: stage.Http
    answers: list = field(default_factory=list)
    bodies: dict = field(default_factory=dict)  # (source, id) -> answers of success, to compare repeats
    repeats_differ: list = field(default_factory=list)

    def send(self, entries):
        """Entries of one moment: one event by itself, several of a ward together as a batch."""
        for ward in dict.fromkeys(entry["ward"] for entry in entries):
            group = [entry for entry in entries if entry["ward"] == ward]
            if len(group) == 1:
                status, text = self.http.ask("POST", "/events", group[0]["body"])
                self.note(group[0], status, text)
            else:
                self.send_batch(group)

    def send_batch(self, group):
        body = "".join(entry["body"] + "\n" for entry in group)
        status, text = self.http.ask("POST", "/events", body, "application/x-ndjson")
        rows = stage.read_ndjson(text) if status == 200 else []
        if [row.get("line") for row in rows] != list(range(1, len(group) + 1)):
            raise stage.Trouble(f"a batch of {len(group)} events got {status} with {len(rows)} answers: {text[:200]}")
        for entry, row in zip(group, rows):
            row.pop("line")
            self.note(entry, row.pop("status"), json.dumps(row))

    def note(self, entry, status, text):
        self.answers.append((entry, status, text))
        if status in (200, 201):
            answer = json.loads(text)
            first = self.bodies.setdefault((answer["source"], answer["id"]), answer)
            if answer != first:
                self.repeats_differ.append((first, answer))

    def accepted_bodies(self):
        return [entry["body"] for entry, status, _ in self.answers if status == 201]

    def accepted(self):
        return [json.loads(body) for body in self.accepted_bodies()]

    def by_status(self):
        return Counter(status for _, status, _ in self.answers)

    def wrong(self):
        """In words: every answer that was not the right one."""
        return [f"{entry['at']} {entry['kind']} ({entry['story'] or json.loads(entry['body'])['id']}): "
                f"expected {entry['expect']}, got {status} {text[:300]}"
                for entry, status, text in self.answers if status != entry["expect"]]
