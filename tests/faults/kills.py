"""The process ends, or stands still, at any moment."""
import signal
import threading
import time

import peer as p
import stage
from rows import row

DEVICES = 8
LIFE_MS = (5, 500)  # how long a daemon lives before it is killed


@row("1", "killed with -9 at any moment, again and again", "50 rounds (--long: 200), 8 devices at full speed", 60)
def kill(scene):
    """Public reports of the symptom: django-salesforce/django-salesforce 159, tuskyapp/Tusky 2951."""
    rounds = 200 if scene.long else 50
    scene.open_endpoint()
    scene.devices_at_work(DEVICES)
    for number in range(rounds):
        # Odd rounds: counted from when it answers; even ones may die while starting.
        scene.start(wait=number % 2 == 1)
        time.sleep(scene.chance.uniform(*LIFE_MS) / 1000)
        scene.stop(signal.SIGKILL)
    scene.start()
    scene.end_devices()
    scene.check(len(scene.acknowledged()) > rounds, "fewer events were accepted than there were rounds")
    scene.note(f"{rounds} rounds, {sum(one.repeats for one in scene.devices)} events sent again got 200")


@row("2", "killed between sending and settling", "the peer commits, the daemon dies before the answer, 10 times", 6)
def kill_before_settling(scene):
    rounds = 50 if scene.long else 10
    committed = threading.Event()

    def commit_and_wait(talk):
        talk.relay()
        committed.set()
        talk.wait_for_end()
        return False

    peer = scene.open(manner=commit_and_wait)
    for _ in range(rounds):
        committed.clear()
        scene.send_lines(1, 1)
        if not committed.wait(stage.PATIENCE_S):
            raise stage.Trouble("nothing was sent to the peer")
        scene.stop(signal.SIGKILL)
        scene.start()
    peer.manner = p.honest
    scene.wait_for("all deliveries", scene.is_quiet)
    repeats = scene.counts()["repeats"]
    scene.check(repeats > 0, "no request was repeated byte for byte")
    scene.note(f"{repeats} requests repeated byte for byte, each harmless")


@row("33a", "SIGTERM at any moment, also while starting or recovering",
     "20 rounds (--long: 100), 4 devices; now and then kill -9 before", 25)
def terminate(scene):
    rounds = 100 if scene.long else 20
    scene.open_endpoint()
    scene.devices_at_work(4, pause_s=0.001)
    codes = []
    for number in range(rounds):
        if number % 5 == 4:  # so that the next start has a log to recover
            scene.start()
            scene.stop(signal.SIGKILL)
        daemon = scene.start(wait=number % 3 != 0)
        time.sleep(scene.chance.uniform(0, 0.3))
        was_up = scene.is_up()
        codes.append(scene.stop())
        # Before its handlers stand the system ends the process as it does any.
        fine = (0,) if was_up else (0, -signal.SIGTERM)
        scene.check(codes[-1] in fine, f"round {number}: ended with {codes[-1]}")
        scene.check(not daemon.running(), "it runs on")
    scene.check(codes.count(0) > rounds // 2, f"too few rounds got beyond the start: {codes}")
    scene.note(f"{rounds} rounds, {codes.count(0)} ended with 0, {codes.count(-15)} before the handlers stood")


@row("33b", "a second SIGTERM while the first waits for a silent peer", "4 bundles in flight, attempt time 60 s", 6)
def terminate_twice(scene):
    def silent(talk):
        talk.wait_for_end()
        return False

    scene.set(endpoint_attempt_time_max_s=60)
    peer = scene.open(manner=silent)
    scene.send_lines(4, 1)
    scene.wait_for("requests on their way", lambda: peer.posts >= 4)
    started = time.monotonic()
    scene.daemon.process.send_signal(signal.SIGTERM)
    scene.wait_for("the drain", lambda: scene.log_lines("draining"))
    time.sleep(0.3)  # the second is to come when the intake is closed and delivery waits
    ended = scene.stop()
    took_s = time.monotonic() - started
    scene.check(ended == 75, f"ended with {ended} instead of 75")
    scene.check(took_s < 10, f"the second signal did not hurry it: {took_s:.1f} s")
    peer.manner = p.honest
    scene.note(f"ended with {ended} after {took_s:.1f} s")


@row("11", "the process stands still for longer than an attempt",
     "SIGSTOP 3 s, SIGCONT, attempt time 1 s, 3 times", 15)
def stand_still(scene):
    """As a machine that is suspended: peers give us up meanwhile, and what was on its way is uncertain."""
    def slow(talk):
        data = talk.relay()
        time.sleep(0.3)
        return talk.send(data)

    scene.open(manner=slow)
    scene.devices_at_work(4, pause_s=0.02)
    for _ in range(3):
        time.sleep(0.5)
        scene.daemon.process.send_signal(signal.SIGSTOP)
        time.sleep(3)
        scene.daemon.process.send_signal(signal.SIGCONT)
    before = len(scene.acknowledged())
    scene.wait_for("more events to be taken", lambda: len(scene.acknowledged()) > before + 10)
