"""Events twice, out of order, poisonous or together: each once, in order, and nobody waits for a stranger."""
import errno
import json
import threading
import time

import device as d
import peer as p
import stage
from rows import row


def together(posters, event):
    """All send it in the same moment; their statuses, sorted."""
    statuses = []
    threads = [threading.Thread(target=lambda one=one: statuses.append(one.give(event))) for one in posters]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(statuses)


@row("15", "the same event comes again", "8 at once, after delivery, after a restart; other content under its id", 6)
def duplicates(scene):
    scene.open()
    posters = [scene.poster() for _ in range(8)]
    events = [posters[0].event(n) for n in range(10)]
    for event in events:
        statuses = together(posters, event)
        scene.check(statuses == [200] * 7 + [201], f"8 at once got {statuses}")
    scene.wait_for("deliveries", scene.is_quiet)
    scene.check([posters[1].give(event) for event in events] == [200] * 10, "after delivery")
    scene.stop()
    scene.start()
    for poster in posters:
        poster.hang_up()
    scene.check([posters[2].give(event) for event in events] == [200] * 10, "after a restart")
    changed = {**events[1], "place": {"ward": "another"}}
    scene.check(posters[3].post(json.dumps(changed)) == 409, "other content under a known id is taken")
    scene.wait_for("deliveries", scene.is_quiet)
    scene.check(scene.counts()["repeats"] == 0, "something was sent twice although all went well")


@row("18", "many events of few lines at once, at a slow endpoint",
     "8 devices on 4 lines, 30 ms an answer: no overlap", 8)
def overlaps(scene):
    scene.open()
    scene.mood(latency_ms=30)
    posters = [scene.poster() for _ in range(8)]
    lines = [[posters[number].event(n) for n in range(5)] for number in range(4)]
    for step in range(5):
        threads = [threading.Thread(target=poster.give, args=(lines[number % 4][step],))
                   for number, poster in enumerate(posters)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    scene.wait_for("deliveries", scene.is_quiet)
    most = scene.counts()["in_flight_max"]
    scene.check(most > 1, "nothing was ever in flight together, so nothing was shown")
    scene.check(most <= 4, f"{most} in flight for 4 lines")
    scene.note(f"at most {most} in flight")


@row("16a", "an endpoint that wants what is referred to first",
     "referential integrity at the endpoint, 2 devices, 4 lines", 6)
def parents_first(scene):
    """synthetichealth/synthea 1005: a child sent before its parent is refused."""
    scene.open("--referential")
    scene.send_lines(2, 4)
    scene.wait_for("deliveries", scene.is_quiet)
    scene.check(scene.counts()["refused"] == 0, "something was sent before what it refers to")


@row("16b", "the endpoint does not know the patient yet", "looked up by number; registered 3 s later", 12)
def patient_missing(scene):
    scene.set(references_patient="resolved", references_cached_for_h=0)
    scene.open()
    device = scene.send_lines(1, 1)[0]
    scene.hears("the endpoint knows none of that identifier yet")
    time.sleep(3)
    queue = scene.queue()
    scene.check(queue and all(one["state"] == "ready" for one in queue), "what waits for a patient is held")
    known_as = device.event(0)["patient"]
    status, text = scene.endpoint.ask("PUT", "/fhir/Patient/p1", json.dumps({
        "resourceType": "Patient", "id": "p1", "active": True, "identifier": [known_as]}), "application/fhir+json")
    scene.check(status in (200, 201), f"the endpoint did not take the patient: {text}")


def wait_for_others(scene, poison):
    others = {event for event in scene.acknowledged() if not event.startswith(poison)}
    scene.wait_for("the others", lambda: not others - set(scene.arrived()))


@row("17a", "one poison among 100 lines", "refused for good; the others pass; a person releases it later", 10)
def poison(scene):
    """redpanda-data/connect 415: one bad message stopped the house."""
    scene.open()
    scene.mood(mood="refuse", next=-1, containing='"D0-7/')
    scene.send_lines(4, 25)
    wait_for_others(scene, "D0-")
    scene.wait_for("the hold", lambda: scene.status()["deliveries"]["on-hold"] == 1)
    before = scene.counts()["requests"]
    time.sleep(1.5)
    scene.check(scene.counts()["requests"] - before <= 1, "it is sent again and again")
    arrived = set(scene.arrived())
    missing = scene.acknowledged() - arrived
    scene.check(missing == {"D0-7", "D0-8", "D0-9"}, f"held back: {sorted(missing)}")
    scene.mood()
    held = next(one for one in scene.queue() if one["state"] == "on-hold")
    code, told = scene.dwell("release", str(held["delivery"]), "--by", "N1", "--why", "the endpoint takes it now")
    scene.check(code == 0, f"release: {told}")


@row("17b", "a poison that cannot even be written down as held",
     "refused while no write succeeds: waits, does not spin", 10)
def poison_unwritten(scene):
    """Particular/NServiceBus PR 4788: the error queue failed too, and it was retried at full speed for ever."""
    faults = scene.faulty()

    def refuse_and_break(talk):
        faults.arm("write", count=1 << 40, error=errno.ENOSPC)
        return talk.send(p.answer(422, "application/fhir+json",
                                  '{"resourceType":"OperationOutcome","issue":[{"severity":"error",'
                                  '"code":"processing"}]}'))

    peer = scene.open(manner=refuse_and_break)
    scene.device(lines=1).start()
    scene.wait_for("the refusal", lambda: peer.posts)
    logged, cpu = len(scene.log_lines()), processor_time_s(scene)
    time.sleep(3)
    spent = processor_time_s(scene) - cpu
    scene.check(peer.posts <= 2, f"{peer.posts} requests in 3 s")
    scene.check(spent < 0.6, f"{spent:.2f} s of processor time in 3 s: it spins")
    scene.check(len(scene.log_lines()) - logged < 10, "it floods the log")
    faults.disarm()
    peer.manner = p.honest
    scene.wait_for("the hold", lambda: scene.status()["deliveries"]["on-hold"] == 1)
    held = next(one for one in scene.queue() if one["state"] == "on-hold")
    code, told = scene.dwell("release", str(held["delivery"]), "--by", "N1", "--why", "tried again")
    scene.check(code == 0, f"release: {told}")


def processor_time_s(scene):
    words = open(f"/proc/{scene.daemon.process.pid}/stat").read().rsplit(")", 1)[1].split()
    return (int(words[11]) + int(words[12])) / 100


@row("16c", "events come in the wrong order", "each line's five events backwards, removal first", 6)
def backwards(scene):
    """Each is accepted or refused with a reason, and what is accepted ends where it belongs."""
    scene.open()
    poster = scene.poster()
    taken = []
    for line in range(4):
        events = [poster.event(line * len(d.STEPS) + step) for step in range(len(d.STEPS))]
        taken += [poster.give(event) for event in reversed(events)]
    scene.check(set(taken) == {201}, f"answers: {taken}")
    scene.wait_for("deliveries", scene.is_quiet, stage.PATIENCE_S)
    ends = [one for one in scene.resources("DeviceUseStatement") if one["status"] == "completed"]
    scene.check(len(ends) == 4, f"{len(ends)} of 4 lines are over at the endpoint")
