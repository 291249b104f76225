"""Alive outside and stuck inside: a thread that does not move, and what the service manager hears of it."""
import socket
import threading
import time

from rows import row

WATCHDOG_S = 4


class Manager(threading.Thread):
    """What a service manager hears by sd_notify(3), with the time at which it heard it."""

    def __init__(self, path):
        super().__init__(daemon=True)
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(str(path))
        self.heard = []

    def run(self):
        while True:
            try:
                message = self.socket.recv(4096).decode()
            except OSError:
                return
            self.heard.append((time.monotonic(), message))

    def pings(self, since_s=0.0):
        return sum(at >= since_s and message == "WATCHDOG=1" for at, message in self.heard)


@row("37", "a thread that is stuck", "syncs of the store do not come back; a service manager listens", 45)
def stuck(scene):
    """Both doors say 503, the log names the thread, the watchdog hears nothing; when it moves again all is well."""
    faults = scene.faulty()
    manager = Manager(scene.folder / "notify")
    manager.start()
    scene.settings |= {"NOTIFY_SOCKET": str(scene.folder / "notify"), "WATCHDOG_USEC": str(WATCHDOG_S * 1_000_000)}
    scene.open()
    scene.send_lines(2, 1)
    scene.wait_for("pings", lambda: manager.pings() >= 2)
    doors = scene.operations()
    for path in ("/livez", "/readyz"):
        scene.check(doors.ask("GET", path)[0] == 200, f"{path} is not 200 while all is well")

    faults.stall()
    device = scene.devices_at_work(1, lines=1)[0]
    scene.wait_for("/livez to say 503", lambda: doors.ask("GET", "/livez")[0] == 503)
    silent_since = time.monotonic()
    status, text = doors.ask("GET", "/livez?verbose")
    scene.check(status == 503 and "FAIL thread store: stuck" in text, f"/livez?verbose: {text}")
    scene.check("ok   thread net: moves" in text, f"the others move: {text}")
    scene.check(doors.ask("GET", "/readyz")[0] == 503, "/readyz is not 503")
    for path in ("/livez", "/readyz"):
        scene.check(scene.intake().ask("GET", path)[0] == 503, f"the intake's {path} is not 503")
    told = scene.metrics()
    scene.check(told["dwelld_thread_stuck", ("thread", "store")] == 1, "the metrics do not say so")
    scene.check(told["dwelld_store_answers",] == 0 and ("dwelld_store_events",) not in told,
                "the metrics invent what the store's thread knows")
    named = [line for line in scene.log_lines("thread-stuck") if line.get("thread") == "store"]
    scene.check(len(named) == 1, f"the log names it {len(named)} times")
    time.sleep(1.5 * WATCHDOG_S)
    scene.check(manager.pings(silent_since) == 0, "the watchdog hears that all is well")
    scene.check(not device.acknowledged, "an event was acknowledged that was not synced")

    faults.stall(False)
    scene.wait_for("/livez and /readyz to be well again",
                   lambda: doors.ask("GET", "/livez")[0] == 200 and doors.ask("GET", "/readyz")[0] == 200)
    scene.wait_for("pings again", lambda: manager.pings(silent_since) >= 2)
    scene.check(scene.log_lines("thread-moves"), "the log does not say that it moves again")
    scene.finish()
    messages = [message for _, message in manager.heard]
    scene.check(messages[0].startswith("READY=1") and any(m.startswith("STOPPING=1") for m in messages),
                f"the service manager heard {messages[:1]}")
    manager.socket.close()
    scene.note(f"{manager.pings()} pings in all, none while it was stuck")
