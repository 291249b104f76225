"""The disk: full, failing, or failing at exactly the n-th call."""
import errno
import os
import shutil
import signal
import subprocess
import time

import stage
from rows import NotTried, row

MIB = 1 << 20
EX_IOERR = 74
STEPS_SHORT = 10  # of the n that are tried


def walk(scene, faults, call, error, first):
    """One store's whole life, in which the `first`th call of that sort fails. Returns how it ended at the fault:
    None when it was not hit, or the exit code; how many calls there were; whether it had started by then."""
    scene.set(store_path=scene.folder / f"{call}-{first}/store.db")
    (scene.folder / f"{call}-{first}").mkdir()
    log_start = scene.log.stat().st_size
    faults.arm(call, first=first, error=error)
    daemon = scene.start(wait=False)
    device = scene.devices_at_work(1, lines=1)[0]
    while daemon.running() and device.is_alive():
        time.sleep(0.005)
    if daemon.running():
        scene.wait_for("all deliveries or the end", lambda: not daemon.running() or is_quiet(scene))
        time.sleep(0.6)  # until the quiet store moves its log
    was_up = "started" in scene.log.read_text()[log_start:]
    ended, seen = (scene.stop() if daemon.running() else daemon.process.wait()), faults.seen()
    was_hit = faults.failed() > 0
    faults.disarm()
    if was_hit and ended not in (0, EX_IOERR):
        scene.check(False, f"{call} {first} failed: ended with {ended}")
    if not was_hit:
        scene.check(ended == 0, f"{call} {first} did not fail, and yet it ended with {ended}")
    scene.start()
    device.join(stage.PATIENCE_S)
    scene.wait_for("all deliveries", scene.is_quiet)
    scene.check(scene.stop() == 0, f"{call} {first}: did not end well afterwards")
    shutil.rmtree(scene.folder / f"{call}-{first}")
    return ended if was_hit else None, seen, was_up


def is_quiet(scene):
    try:
        return scene.is_quiet()
    except (OSError, stage.Trouble):
        return False  # it ends under our hands


def every_call(scene, call, error):
    """SQLite's own method: the first call fails, then the second, until there are no more."""
    scene.open_endpoint()
    faults = scene.faulty()
    not_hit, calls, _ = walk(scene, faults, call, error, 1 << 40)
    scene.check(not_hit is None and calls > 0, f"no {call} was seen at all")
    numbers = range(1, calls + 1)
    if not scene.long and calls > STEPS_SHORT:
        # The first ones make the file; the others fall anywhere.
        numbers = [1, 2, 3, *sorted(scene.chance.sample(range(4, calls + 1), STEPS_SHORT - 3))]
    ends = []
    for number in numbers:
        ended, seen, was_up = walk(scene, faults, call, error, number)
        ends.append(ended)
        if call == "sync" and ended == EX_IOERR and was_up:
            scene.check(seen == number, f"sync {number} failed and {seen - number} more were tried")
    scene.settings.pop("DWELLD_STORE_PATH")
    hit = [ended for ended in ends if ended is not None]
    scene.check(hit, "no call failed")
    told = "could not be" in scene.log.read_text() or "no space" in scene.log.read_text()
    scene.check(told, "the log does not say why it ended")
    scene.note(f"{len(hit)} of {calls} calls failed: ended {hit.count(EX_IOERR)} times with 74")


@row("5a", "the n-th sync fails (EIO)", "own system call layer; restart; no second sync is tried", 25)
def sync_fails(scene):
    """PostgreSQL's lesson of 2018: after a failed sync the page cache cannot be trusted."""
    every_call(scene, "sync", errno.EIO)


@row("5b", "the n-th write fails in the middle (EIO)", "own system call layer, half of it written; restart", 25)
def write_fails(scene):
    every_call(scene, "write", errno.EIO)


@row("5c", "the n-th read fails (EIO)", "own system call layer; restart", 25)
def read_fails(scene):
    every_call(scene, "read", errno.EIO)


@row("5d", "the n-th truncation fails (EIO)", "own system call layer; restart", 10)
def truncate_fails(scene):
    every_call(scene, "truncate", errno.EIO)


@row("5e", "the n-th opening of a file fails (EMFILE)", "own system call layer; restart", 10)
def open_fails(scene):
    every_call(scene, "open", errno.EMFILE)


@row("6a", "the n-th write finds no space (ENOSPC)", "own system call layer, half of it written", 25)
def write_full(scene):
    every_call(scene, "write", errno.ENOSPC)


@row("6b", "no space for any write for 3 s, under load", "own system call layer; must recover without a restart", 8)
def full_for_a_while(scene):
    faults = scene.faulty()
    scene.open()
    devices = scene.devices_at_work(4, pause_s=0.01)
    scene.wait_for("events to be taken", lambda: len(scene.acknowledged()) > 20)
    faults.arm("write", count=1 << 40, error=errno.ENOSPC)
    time.sleep(3)
    refused = sum(one.refused_503 for one in devices)
    faults.disarm()
    before = len(scene.acknowledged())
    scene.wait_for("events to be taken again", lambda: len(scene.acknowledged()) > before + 20)
    scene.check(refused > 0 and faults.failed() > 0, "nobody was refused")
    scene.check(all(value for one in devices for value in one.retry_after), "503 without Retry-After")
    scene.note(f"{faults.failed()} writes failed, {refused} events were answered 503 meanwhile")


@row("6c", "little space left: refuses before the disk is full", "statvfs tells 60 MiB; deliveries go on", 5)
def floor(scene):
    faults = scene.faulty()
    scene.open()
    device = scene.poster()
    scene.check(device.give(device.event(0)) == 201, "not taken while there is room")
    scene.mood(mood="status", status=503, next=3)
    device.give(device.event(1))
    faults.free_bytes(60 * MIB)
    scene.wait_for("a refusal", lambda: device.give(device.event(2)) == 503)
    scene.check(device.retry_after <= {"5"} and device.retry_after, f"Retry-After {device.retry_after}")
    scene.check(device.give(device.event(1)) == 200, "a repeat is not recognised without room")
    scene.mood()
    scene.wait_for("delivery without room", scene.is_quiet)
    faults.free_bytes(None)
    scene.wait_for("events to be taken again", lambda: device.give(device.event(2)) == 201)


class Namespace:
    """Mounts that only the daemon sees; a sleeping process keeps them."""

    def __init__(self, mounts):
        way = ["unshare", "-m"] if os.geteuid() == 0 else ["unshare", "-U", "-r", "-m"]
        script = " && ".join([*mounts, "echo there", "exec sleep 1000"])
        self.holder = subprocess.Popen([*way, "sh", "-c", script], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                       stdin=subprocess.DEVNULL, text=True)
        if self.holder.stdout.readline() != "there\n":
            why = self.holder.stderr.read().strip().splitlines()
            raise NotTried(f"mounts of its own are not permitted here: {why[-1] if why else '?'}")
        user = [] if os.geteuid() == 0 else ["-U", "--preserve-credentials"]
        self.inside = ["nsenter", "-t", str(self.holder.pid), "-m", *user, "--"]

    def close(self):
        self.holder.send_signal(signal.SIGKILL)
        self.holder.wait()


class Disk(Namespace):
    """A small file system."""

    def __init__(self, scene, mib):
        self.folder = scene.folder / "disk"
        self.folder.mkdir()
        super().__init__([f"mount -t tmpfs -o size={mib}m none '{self.folder}'"])

    def run(self, script):
        return subprocess.run([*self.inside, "sh", "-c", f"cd '{self.folder}' && {script}"], capture_output=True,
                              text=True, stdin=subprocess.DEVNULL).stdout

    def free_mib(self):
        return int(self.run("df -B1 --output=avail . | tail -n 1")) / MIB


@row("6d", "the disk fills up for real", "tmpfs of 96 MiB: below the floor, then full to the last byte", 12)
def disk_full(scene):
    disk = Disk(scene, 96)
    try:
        scene.set(store_path=disk.folder / "store.db")
        scene.open_endpoint()
        scene.start(before=disk.inside)
        devices = scene.devices_at_work(4, pause_s=0.01)
        scene.wait_for("events to be taken", lambda: len(scene.acknowledged()) > 20)
        disk.run("head -c 40M /dev/zero > ballast")
        scene.wait_for("a refusal", lambda: any(one.refused_503 for one in devices))
        scene.check(disk.free_mib() > 40, "it went on until the disk was full")
        scene.mood(mood="status", status=503, next=1)
        disk.run("cat /dev/zero > more")
        time.sleep(2)
        scene.check(disk.free_mib() == 0, "the disk is not full")
        scene.check(scene.daemon.running(), "it ended because the disk was full")
        disk.run("rm more ballast")
        before = len(scene.acknowledged())
        scene.wait_for("events to be taken again", lambda: len(scene.acknowledged()) > before + 20)
        scene.end_devices()
        scene.check(all(value for one in devices for value in one.retry_after), "503 without Retry-After")
        scene.wait_for("all deliveries", scene.is_quiet)
        scene.note(f"{sum(one.refused_503 for one in devices)} events were answered 503 meanwhile")
        scene.finish()
    finally:
        scene.stop(signal.SIGKILL)
        disk.close()
