"""The programs of a bench on a real daemon, what they keep in one folder, and how they are looked at."""
import os
import pathlib
import re
import signal
import sys
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "deploy/practice-ward"))
import stage  # noqa: E402

TICKS_S = os.sysconf("SC_CLK_TCK")
MIB = 1 << 20
# tests/bench/events.lua plays 400 lines at a time, step by step: no more events may be in flight, or two
# of one line could overtake each other.
CONNECTIONS, BATCH, BLOCK_LINES, STEPS = 64, 4, 400, 6
SILENCE_S = 300  # without any progress


class Figures:
    """Lines of the table, each printed at once too."""

    def __init__(self):
        self.lines, self.began = [], time.monotonic()

    def add(self, name, text):
        self.lines.append(f"{name:<34}{text}")
        print(f"{time.monotonic() - self.began:7.0f} s  {self.lines[-1]}", flush=True)


def of_process(program):
    """Resident memory in MiB and seconds of CPU so far."""
    root = pathlib.Path(f"/proc/{program.process.pid}")
    kib = int(re.search(r"VmRSS:\s+(\d+)", (root / "status").read_text())[1])
    fields = (root / "stat").read_text().rsplit(")", 1)[1].split()
    return kib / 1024, (int(fields[11]) + int(fields[12])) / TICKS_S


def cpu_of_threads_s(program):
    """Seconds of CPU of the threads that it has now, finer than the ticks of the above."""
    tasks = pathlib.Path(f"/proc/{program.process.pid}/task").glob("*/schedstat")
    return sum(int(task.read_text().split()[0]) for task in tasks) / 1e9


def waiting(status):
    deliveries = status["deliveries"]
    return deliveries["ready"] + deliveries["in-progress"] + deliveries["on-hold"]


class Site:
    """The programs of one run, and what they keep in its folder."""

    def __init__(self, work):
        self.work, self.port, self.endpoint_port = work, stage.free_port(), stage.free_port()
        self.config = stage.write_config(work, "https://bench.example/lines", self.port, self.endpoint_port)
        text = self.config.read_text()
        self.operate_port = stage.free_port()
        self.config.write_text(text.replace("[admin]", "keep_delivered_days = 1\nkeep_closed_lines_days = 1\n[admin]")
                               + f'[operate]\nlisten = "127.0.0.1:{self.operate_port}"\n')
        self.events = work / "events.txt"
        self.endpoint = stage.Program("practice_endpoint", [
            ROOT / "build/tests/practice_endpoint", "--port", str(self.endpoint_port), "--keep", "nothing",
            "--events", self.events], work / "endpoint.log")
        self.clock = stage.Clock(work / "clock")
        self.daemon, self.admin = None, None

    def start(self, program="daemon/dwelld"):
        """Seconds until it answers."""
        self.daemon = stage.Program("dwelld", [ROOT / "build" / program, "--config", self.config],
                                    self.work / "dwelld.log", {"DWELL_PRACTICE_CLOCK": str(self.clock.path)})
        began = time.monotonic()
        self.daemon.start()
        self.admin = stage.Admin(self.work / "admin.socket")
        stage.wait_for("the daemon", lambda: self.daemon.require() and self.admin.up())
        return time.monotonic() - began

    def stop(self, how=signal.SIGTERM):
        """Seconds until it has ended."""
        began = time.monotonic()
        self.daemon.stop(how)
        return time.monotonic() - began

    def watch(self, enough, measure):
        """Asks for the status every half second until `enough` of it; `measure` must not stand still."""
        last, since = None, time.monotonic()
        while True:
            self.daemon.require()
            status = self.admin.status()
            if enough(status):
                return status
            now = measure(status)
            if now != last:
                last, since = now, time.monotonic()
            if time.monotonic() - since > SILENCE_S:
                raise stage.Trouble(f"no progress for {SILENCE_S} s: {status}")
            time.sleep(0.5)

    def file_bytes(self):
        return sum(path.stat().st_size for path in self.work.glob("store.db*") if path.is_file())


def check_order(path):
    """Reads what arrived: different events, events that came again, and pairs out of order in their line."""
    last, again, disorder, distinct = {}, 0, 0, set()
    for text in path.read_text().split():
        if text == "-":
            continue  # made by the clock, of no event
        thread, number = (int(part) for part in text.rsplit("-", 2)[1:])
        block, within = divmod(number, BLOCK_LINES * STEPS)
        line = (thread, block * BLOCK_LINES + within % BLOCK_LINES)
        if text in distinct:
            again += 1
        distinct.add(text)
        disorder += number < last.get(line, -1)
        last[line] = number
    return distinct, again, disorder
