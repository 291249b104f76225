"""A ward device: sends the events of its lines in order, each until it is acknowledged, and keeps what was."""
import http.client
import json
import threading
import time

import hospital as h

STEPS = ("insertion", "site-check", "flush", "site-check", "removal")
BODIES = {
    "insertion": {"outcome": "placed", "line": {"kind": "peripheral-cannula", "gauge": 20},
                  "site": {"place": "forearm", "side": "left"}, "setting": "planned"},
    "site-check": {"signs": {"pain": "absent", "erythema": "absent"}},
    "flush": {"flush": {"fluid": "sodium-chloride-0.9", "mL": 5, "swelling": "absent"}},
    "removal": {"reason": "no-longer-required"},
}
ANSWER_TIME_MAX_S = 30
SOURCE = "fault-ward"


def patient(n):
    """The n-th number of the test range whose check digit exists."""
    while True:
        nine = f"999{n % 1000000:06d}"
        digit = h.check_digit(nine)
        if digit is not None:
            return f"{nine}{digit}"
        n += 1


class Device(threading.Thread):
    """Sends until it is told to end, or all events of `lines` lines. `pause_s` passes between two events."""

    def __init__(self, number, port, lines=None, pause_s=0.0, tls=None, clock_ahead_s=0):
        super().__init__(daemon=True)
        self.number, self.port, self.lines, self.pause_s, self.tls = number, port, lines, pause_s, tls
        self.connection = None
        self.sent, self.acknowledged, self.odd = {}, set(), []
        self.repeats = self.refused_503 = 0
        self.retry_after = set()  # what came with 503
        self.ending = threading.Event()
        self.start_s = time.time() + clock_ahead_s - 7200

    def event(self, n):
        line, step = divmod(n, len(STEPS))
        at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(self.start_s + step * 600))
        return {"kind": STEPS[step], "id": f"D{self.number}-{n}", "source": SOURCE, "happened_at": at,
                "recorded_at": at, "patient": {"system": h.NHS_SYSTEM, "value": patient(self.number * 50000 + line)},
                "place": {"ward": f"W{self.number}"}, "staff": [{"system": h.STAFF_SYSTEM, "value": "N1"}],
                "line_id": f"D{self.number}-L{line}", **BODIES[STEPS[step]]}

    def run(self):
        n = 0
        while not self.ending.is_set() and (self.lines is None or n < self.lines * len(STEPS)):
            status = self.give(self.event(n))
            if status in (200, 201):
                n += 1
                self.ending.wait(self.pause_s)
            elif status is None or status == 503:
                self.ending.wait(0.002 if status is None else 0.05)
            else:
                return  # nothing that a device should ever hear

    def give(self, event):
        """Sends one event once; its status, None without an answer."""
        self.sent[event["id"]] = event
        status = self.post(json.dumps(event))
        if status in (200, 201):
            self.acknowledged.add(event["id"])
            self.repeats += status == 200
        elif status == 503:
            self.refused_503 += 1
        elif status is not None:
            self.odd.append((event["id"], status))
        return status

    def post(self, body):
        try:
            if self.connection is None:
                self.connection = self.connect()
            self.connection.request("POST", "/events", body.encode(), {"Content-Type": "application/json"})
            answer = self.connection.getresponse()
            answer.read()
            if answer.status == 503:
                self.retry_after.add(answer.getheader("Retry-After"))
            return answer.status
        except (OSError, http.client.HTTPException):
            self.hang_up()
            return None  # not known whether it was stored

    def hang_up(self):
        if self.connection is not None:
            self.connection.close()
        self.connection = None

    def connect(self):
        if self.tls:
            return http.client.HTTPSConnection("localhost", self.port, timeout=ANSWER_TIME_MAX_S, context=self.tls)
        return http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_TIME_MAX_S)
