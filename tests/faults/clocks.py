"""The wall clock jumps, or stands at an odd date. Waiting goes by the steady clock, which stays true."""
import calendar
import signal
import time

from rows import row

HOUR_S, YEAR_S = 3600, 365 * 86400
BACKOFF_MAX_S = 900  # limits::kBackoffMax


def wait_s(row):
    """How long a waiting bundle of the queue's listing waits from now on."""
    until = calendar.timegm(time.strptime(row["not_before"][:19], "%Y-%m-%dT%H:%M:%S"))
    return until - time.time()


@row("10a", "the wall clock jumps while all goes well, and back", "+1 h, -1 h, +10 y, -10 y under load", 10)
def jumps(scene):
    """Nobody vouches for it: nothing falls due early, no event is from the future, and it is told."""
    faults = scene.faulty()
    scene.open()
    sent = 0
    for ahead_s in (HOUR_S, 0, -HOUR_S, 0, 10 * YEAR_S, 0, -10 * YEAR_S, 0):
        faults.clock_ahead(ahead_s)
        sent += sum(len(one.acknowledged) for one in scene.send_lines(2, 2))
        scene.wait_for(f"deliveries at {ahead_s:+} s", scene.is_quiet, 20)
        told = scene.status().get("wall_clock_ahead_s", 0)
        scene.check(abs(told - ahead_s) <= 2, f"at {ahead_s:+} s the status says {told}")
    steps = [line["ahead_s"] for line in scene.log_lines("wall-clock-not-followed")]
    scene.check(len(steps) == 4, f"the log tells of {steps}")
    told = scene.metrics()
    steps_told = told["dwelld_clock_steps_total",]
    scene.check(steps_told == 8, f"the metrics tell of {steps_told} steps")
    scene.check(told["dwelld_wall_clock_ahead_seconds",] == 0, "the metrics say that the clock is not right again")
    made = scene.status()["deliveries"]["completed"]
    scene.check(made == sent, f"{made} deliveries of {sent} events: the clock made some, too")
    scene.note(f"{sent} events, {made} deliveries, steps told: {steps}")


@row("10e", "the wall clock is put right while all goes well", "+1 h, and the time service vouches for it", 5)
def put_right(scene):
    faults = scene.faulty()
    scene.open()
    faults.clock_ahead(HOUR_S, vouched=True)
    scene.send_lines(2, 2, clock_ahead_s=HOUR_S)
    scene.wait_for("deliveries", scene.is_quiet, 20)
    scene.check("wall_clock_ahead_s" not in scene.status(), "the step was not followed")
    scene.check(len(scene.log_lines("wall-clock-set")) == 1, "the log does not tell of it")


def jump_while_waiting(scene, ahead_s):
    """Bundles are put off under one clock, and the next start finds another."""
    faults = scene.faulty()
    scene.open_endpoint()
    faults.clock_ahead(ahead_s)
    scene.start()
    scene.mood(mood="status", status=500, outcome=True, next=-1)
    scene.send_lines(4, 1, clock_ahead_s=ahead_s)
    scene.wait_for("attempts", lambda: scene.status()["attempts"]["again"] >= 4)
    again = scene.status()["attempts"]["again"]
    scene.stop(signal.SIGKILL)
    faults.clock_ahead(0)
    scene.start()
    requests = scene.counts()["requests"]
    time.sleep(1)
    flood = scene.counts()["requests"] - requests
    scene.check(flood <= 12, f"{flood} requests in the second after the jump")
    scene.mood()
    scene.note(f"{again} attempts failed before the jump, {flood} requests in the second after it")
    return faults


@row("10b", "the wall clock falls back while bundles wait", "10 y back, restart; they must not wait as long", 20)
def falls_back(scene):
    """Metaswitch/chronos 85, pocoproject/poco 40: a step fires all timers or none."""
    faults = jump_while_waiting(scene, 10 * YEAR_S)
    longest_s = max(wait_s(row) for row in scene.rows("queue") if "not_before" in row)
    scene.check(longest_s <= BACKOFF_MAX_S, f"one still waits for {longest_s} s")
    scene.stop()
    faults.clock_ahead(BACKOFF_MAX_S)
    scene.start()
    scene.wait_for("deliveries when that time is over", scene.is_quiet, 20)


@row("10c", "the wall clock leaps ahead while bundles wait", "10 y ahead, restart; they must not all come at once", 20)
def leaps_ahead(scene):
    jump_while_waiting(scene, -10 * YEAR_S)
    scene.wait_for("deliveries", scene.is_quiet, 45)


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
