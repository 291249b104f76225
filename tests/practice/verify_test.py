#!/usr/bin/env python3
"""The demo's own verdict can fail: resources made from what must be true pass it, and every damage to
them is noticed. And the times that it expects are those of published tables."""
import copy
import json
import pathlib
import sys
import unittest
from datetime import timedelta

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.dont_write_bytecode = True
sys.path.insert(0, str(ROOT / "deploy/practice-ward"))

import hospital as h  # noqa: E402
import scenario  # noqa: E402
import truth  # noqa: E402
import verify  # noqa: E402

NOW = scenario.END


def good_events():
    return [(truth.instant(entry["at"]), json.loads(entry["body"]))
            for entry in scenario.build().timeline() if entry["expect"] == 201]


def as_delivered(stories):
    """The least that an endpoint would hold if all went well."""
    held = {"Device": [], "DeviceUseStatement": [], "Procedure": [], "Observation": [], "Task": [], "Provenance": []}
    for (kind, name), status in verify.expected_of_events(stories).items():
        held[kind].append({"id": name, "status": status, "meta": {"versionId": "1"}})
    for name, words in verify.expected_tasks(stories, NOW).items():
        status, _, rest = words.partition(" ")
        task = {"id": name, "status": status, "meta": {"versionId": "1"}}
        if rest:
            rule, due = rest.split(" ")
            task.update(code={"coding": [{"code": rule}]}, restriction={"period": {"end": due}})
        held["Task"].append(task)
    return held


class Verdict(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.stories = verify.by_line(good_events())
        cls.held = as_delivered(cls.stories)

    def failures(self, damage):
        held = copy.deepcopy(self.held)
        damage(held)
        checks = verify.Checks()
        verify.check_events(checks, held, self.stories)
        tasks = {task["id"]: verify.task_words(task) for task in held["Task"]}
        checks.same("Task", verify.expected_tasks(self.stories, NOW), tasks)
        return checks.failed

    def test_what_is_as_it_must_be_passes(self):
        self.assertEqual(self.failures(lambda held: None), [])

    def test_a_missing_resource_of_any_type_is_noticed(self):
        for kind in ("Device", "DeviceUseStatement", "Procedure", "Observation", "Task"):
            self.assertEqual(len(self.failures(lambda held, kind=kind: held[kind].pop())), 1, kind)

    def test_a_resource_too_many_is_noticed(self):
        extra = {"id": "dwell-extra", "status": "final"}
        self.assertEqual(len(self.failures(lambda held: held["Observation"].append(extra))), 1)

    def test_a_wrong_status_is_noticed(self):
        self.assertEqual(len(self.failures(lambda held: held["Device"][0].update(status="unknown"))), 1)

    def test_a_due_instant_that_is_an_hour_off_is_noticed(self):
        def damage(held):
            period = next(task for task in held["Task"] if "restriction" in task)["restriction"]["period"]
            period["end"] = h.stamp_utc(truth.instant(period["end"]) + timedelta(hours=1))
        self.assertEqual(len(self.failures(damage)), 1)

    def test_a_provenance_twice_or_never_is_noticed(self):
        def told(event_id):
            return {"entity": [{"role": "source", "what": {"identifier": {"value": event_id}}}]}
        for ids, expected in ((("a",), 0), (("a", "a"), 1), ((), 1), (("a", "b"), 1)):
            checks = verify.Checks()
            verify.check_provenance(checks, {"Provenance": [told(one) for one in ids]}, [{"id": "a"}])
            self.assertEqual(len(checks.failed), expected, ids)

    def test_an_id_twice_is_noticed(self):
        checks, held = verify.Checks(), copy.deepcopy(self.held)
        held["Device"].append(held["Device"][0])
        verify.check_structure(checks, held)
        self.assertTrue(any("no id twice" in words for words in checks.failed))


class Times(unittest.TestCase):
    def test_limits_count_hours_and_not_wall_time(self):
        # Summer Time Act 1972 (end of summer time: last Sunday of October, 01:00 UTC): in at 10:00 BST on
        # 23 October 2026, 72 hours later it is 09:00 GMT on the 26th.
        self.assertEqual(h.stamp(h.local(23, "10:00") + truth.DWELL["peripheral-cannula"][0]),
                         "2026-10-26T09:00:00+00:00")
        self.assertEqual(h.stamp(h.local(25, "00:30") + truth.DWELL["peripheral-cannula"][1]),
                         "2026-10-25T23:30:00+00:00")


if __name__ == "__main__":
    outcome = unittest.TextTestRunner(stream=sys.stderr).run(
        unittest.defaultTestLoader.loadTestsFromModule(sys.modules["__main__"]))
    failed = len(outcome.failures) + len(outcome.errors)
    print(f"{outcome.testsRun - failed} passed, {failed} failed")
    sys.exit(failed != 0)
