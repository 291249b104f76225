"""The wall clock jumps, or stands at an odd date. Waiting goes by the steady clock, which stays true."""
import calendar
import time

from rows import row

HOUR_S, YEAR_S = 3600, 365 * 86400


@row("10a", "the wall clock jumps while all goes well, and back", "+1 h, -1 h, +10 y, -10 y under load", 10)
def jumps(scene):
    faults = scene.faulty()
    scene.open()
    for ahead_s in (HOUR_S, 0, -HOUR_S, 0, 10 * YEAR_S, 0, -10 * YEAR_S, 0):
        faults.clock_ahead(ahead_s)
        scene.send_lines(2, 2, clock_ahead_s=ahead_s)
        scene.wait_for(f"deliveries at {ahead_s:+} s", scene.is_quiet, 20)
    scene.note(f"{scene.counts()['transactions']} transactions")


def jump_while_waiting(scene, ahead_s):
    """Bundles that were put off under one clock come due under the other: neither at once nor never."""
    faults = scene.faulty()
    scene.open()
    faults.clock_ahead(ahead_s)
    scene.mood(mood="status", status=500, outcome=True, next=-1)
    scene.send_lines(4, 1, clock_ahead_s=ahead_s)
    scene.wait_for("attempts", lambda: scene.status()["attempts"]["again"] >= 4)
    faults.clock_ahead(0)
    requests, again = scene.counts()["requests"], scene.status()["attempts"]["again"]
    time.sleep(1)
    flood = scene.counts()["requests"] - requests
    scene.check(flood <= 12, f"{flood} requests in the second after the jump")
    scene.mood()
    scene.wait_for(f"deliveries after a jump back from {ahead_s:+} s", scene.is_quiet, 45)
    scene.note(f"{again} attempts failed before the jump, {flood} requests in the second after it")


@row("10b", "the wall clock falls back while bundles wait", "10 y back; they must not wait as long", 20)
def falls_back(scene):
    """Metaswitch/chronos 85, pocoproject/poco 40: a step fires all timers or none."""
    jump_while_waiting(scene, 10 * YEAR_S)


@row("10c", "the wall clock leaps ahead while bundles wait", "10 y ahead; they must not all come at once", 20)
def leaps_ahead(scene):
    jump_while_waiting(scene, -10 * YEAR_S)


@row("10d", "odd dates", "leap day, both nights of clock change, 2038, 2100, restart between", 10)
def dates(scene):
    faults = scene.faulty()
    scene.open_endpoint()
    moments = ("2028-02-29T11:59:58Z", "2026-10-25T00:59:59Z", "2027-03-28T00:59:59Z", "2038-01-19T03:14:07Z",
               "2100-02-28T23:59:59Z")
    for moment in sorted(moments):
        at = calendar.timegm(time.strptime(moment, "%Y-%m-%dT%H:%M:%SZ"))
        ahead_s = at - time.time()
        faults.clock_ahead(ahead_s)
        scene.start()
        scene.send_lines(1, 2, clock_ahead_s=ahead_s)
        scene.wait_for(f"deliveries at {moment}", scene.is_quiet, 20)
        told = scene.status()["now"]
        scene.check(abs(calendar.timegm(time.strptime(told[:19], "%Y-%m-%dT%H:%M:%S")) - at) < 60,
                    f"at {moment} it says {told}")
        scene.check(scene.stop() == 0, f"at {moment} it did not end well")
