#!/usr/bin/env python3
"""The practice ward's scenario is what it claims to be: same bytes every time, legal where it says so,
with every kind of event and mishap in it. Judged with the Python standard library's zone data and
calendar, published check-digit examples, and the jsonschema package (draft 04)."""
import collections
import json
import pathlib
import sys
import unittest
from datetime import datetime, timedelta, timezone

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.dont_write_bytecode = True
sys.path.insert(0, str(ROOT / "deploy/practice-ward"))

import jsonschema  # noqa: E402
import hospital as h  # noqa: E402
import scenario  # noqa: E402


def instant(text):
    return datetime.fromisoformat(text)


class Hospital(unittest.TestCase):
    def test_check_digits_are_those_of_published_examples(self):
        # 401 023 2137: NHS Information Authority check-digit page, archived 2005.
        # 943 476 5919: worked sum in the article "NHS number". 943 476 5870: python-stdnum's documentation.
        for number in ("4010232137", "9434765919", "9434765870"):
            self.assertEqual(h.check_digit(number[:9]), number[9])
        self.assertIsNone(h.check_digit("999000000"))  # remainder 1: no such number

    def test_rounds_are_wall_time_through_both_clock_changes(self):
        # UK rule: last Sunday of October 01:00 UTC (Summer Time Act 1972): that night is an hour longer.
        evening = datetime(2026, 10, 24, 21, tzinfo=timezone.utc)
        self.assertEqual(h.next_round(evening) - evening, timedelta(hours=9))
        spring = datetime(2026, 3, 28, 22, tzinfo=timezone.utc)
        self.assertEqual(h.next_round(spring) - spring, timedelta(hours=7))
        self.assertEqual(h.next_round(evening - timedelta(seconds=1)), evening)

    def test_numbers_keep_their_text(self):
        self.assertEqual(h.dump({"mL": h.Number("2.50"), "why": "é\"2.50"}), '{"mL":2.50,"why":"é\\"2.50"}')


class Scenario(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.plot = scenario.build()
        cls.timeline = cls.plot.timeline()
        cls.events = [(entry, json.loads(entry["body"])) for entry in cls.timeline if entry["expect"] != 400]
        cls.good = [event for entry, event in cls.events if entry["expect"] == 201]
        files = {path.name: json.loads(path.read_text()) for path in (ROOT / "schemas/event").glob("*.schema.json")}
        store = {f"https://contract.example/{name}": schema for name, schema in files.items()}
        del files["common.schema.json"]
        cls.schemas = {name.split(".")[0]: schema for name, schema in files.items()}
        cls.judges = {  # Debian 12's jsonschema knows no other way to find a neighbouring file
            kind: jsonschema.Draft4Validator(
                schema, resolver=jsonschema.RefResolver(f"https://contract.example/{kind}.schema.json", schema, store=store))
            for kind, schema in cls.schemas.items()}

    def violations(self, event):
        return [f"{event['id']}: {error.json_path}: {error.message}"
                for error in self.judges[event["kind"]].iter_errors(event)]

    def test_is_the_same_every_time(self):
        self.assertEqual(self.timeline, scenario.build().timeline())

    def test_is_in_order_of_sending_and_nothing_is_sent_before_it_was_written_down(self):
        sent = [entry["at"] for entry in self.timeline]
        self.assertEqual(sent, sorted(sent))
        for entry, event in self.events:
            if entry["expect"] in (201, 200):
                self.assertLessEqual(instant(event["recorded_at"]), instant(entry["at"]), event["id"])
                self.assertLessEqual(instant(event["happened_at"]), instant(event["recorded_at"]), event["id"])

    def test_events_that_should_be_taken_fulfil_the_published_contract(self):
        self.assertEqual(len(self.schemas), 6)
        self.assertEqual([found for event in self.good for found in self.violations(event)], [])

    def test_patients_have_test_numbers_with_right_check_digits(self):
        for event in self.good:
            value = event["patient"]["value"]
            self.assertRegex(value, "^999[0-9]{7}$")
            self.assertEqual(h.check_digit(value[:9]), value[9])

    def test_nothing_points_outside_reserved_domains(self):
        for system in {member["system"] for event in self.good for member in event["staff"] + [event["encounter"]]}:
            self.assertRegex(system, r"^https://([a-z]+\.)?(staff|thistlewick)\.example/")  # RFC 2606

    def test_three_wards_and_sixty_lines(self):
        self.assertEqual(len({event["place"]["ward"] for event in self.good}), 3)
        self.assertGreaterEqual(len({event["line_id"] for event in self.good}), 60)

    def test_every_kind_of_event_and_of_line_and_every_outcome_occurs(self):
        self.assertEqual({event["kind"] for event in self.good}, set(self.schemas))
        insertions = [event for event in self.good if event["kind"] == "insertion"]
        self.assertEqual({event["outcome"] for event in insertions}, {"placed", "failed", "declined", "not-attempted"})
        kinds = collections.Counter(event["line"]["kind"] for event in insertions if "line" in event)
        self.assertGreaterEqual(len(kinds), 5)
        self.assertGreater(kinds["peripheral-cannula"], sum(kinds.values()) * 3 / 4)

    def test_every_mishap_occurs(self):
        seen = collections.Counter(entry["expect"] for entry in self.timeline)
        for status in (200, 400, 409, 422):
            self.assertGreater(seen[status], 0, status)
        checks = [event for event in self.good if event["kind"] == "site-check"]
        self.assertTrue(any("not-assessable" in event["signs"].values() for event in checks))
        grades = {event["grade"]["value"] for event in checks if "grade" in event}
        self.assertLessEqual({0, 1, 2, 3}, grades)
        self.assertTrue(any(event.get("replaces") for event in self.good))
        self.assertTrue(any(event.get("flush", {}).get("swelling") == "present" for event in self.good))
        self.assertIn("swelling-on-flush",
                      {attempt["reason"] for event in self.good for attempt in event.get("attempts", ())})

    def test_one_event_arrives_after_a_later_one_of_its_line_and_one_before_its_insertion(self):
        newest, overtaken, placed, orphans = {}, 0, set(), 0
        for event in self.good:
            at, line = instant(event["happened_at"]), event["line_id"]
            overtaken += at < newest.get(line, at) and event["kind"] == "site-check" and "replaces" not in event
            newest[line] = max(at, newest.get(line, at))
            if event["kind"] == "insertion":
                placed.add(line)
            orphans += line not in placed
        self.assertEqual((overtaken, orphans), (1, 1))

    def test_it_crosses_the_end_of_summer_time_with_an_insertion_in_each_doubled_hour(self):
        doubled = [event["happened_at"] for event in self.good if event["happened_at"].startswith("2026-10-25T01:30")]
        self.assertEqual(sorted(doubled), ["2026-10-25T01:30:00+00:00", "2026-10-25T01:30:00+01:00"])

    def test_what_should_be_refused_is_one_fault_away_from_a_legal_event(self):
        refused = [event for entry, event in self.events
                   if entry["expect"] == 422 and event["kind"] in ("site-check", "site-visit")]
        self.assertGreaterEqual(len(refused), 6)
        for event in refused:
            legal = next(good for good in self.good if good["kind"] == "site-check" and "grade" in good)
            changed = {name for name in set(event) | set(legal) if name not in legal or name not in event}
            self.assertLessEqual(len(changed - {"encounter"}), 1, event)


if __name__ == "__main__":
    outcome = unittest.TextTestRunner(stream=sys.stderr, warnings="ignore").run(
        unittest.defaultTestLoader.loadTestsFromModule(sys.modules["__main__"]))
    failed = len(outcome.failures) + len(outcome.errors)
    print(f"{outcome.testsRun - failed} passed, {failed} failed")
    sys.exit(failed != 0)
