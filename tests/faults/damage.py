"""The store's files: torn, damaged, foreign, or in somebody else's hands."""
import json
import shutil
import signal
import sqlite3
import subprocess

from rows import row

PAGE_BYTES = 8192
WAL_HEADER_BYTES, FRAME_BYTES = 32, PAGE_BYTES + 24  # SQLite file format, sections 4.1 and 4.2
EX_DATAERR, EX_CANTCREAT, EX_IOERR = 65, 73, 74


def written_store(scene, lines):
    """A store with undelivered events, as a kill leaves it; (file, log, device). The endpoint was away."""
    scene.start()
    device = scene.send_lines(1, lines)[0]
    scene.stop(signal.SIGKILL)
    device.hang_up()
    path = scene.folder / "store.db"
    return path.read_bytes(), (scene.folder / "store.db-wal").read_bytes(), device


def lay_out(scene, name, file, log):
    """A folder with these as its store, which the next daemon will use."""
    folder = scene.folder / name
    folder.mkdir()
    if file is not None:
        (folder / "store.db").write_bytes(file)
    if log is not None:
        (folder / "store.db-wal").write_bytes(log)
    scene.set(store_path=folder / "store.db")
    return folder


def tear(chance, log):
    """The log as a disk may leave that lied about its syncs; and how, in words."""
    at = chance.randrange(WAL_HEADER_BYTES, len(log))
    how = chance.choice(("cut", "cut", "flip", "sector"))
    if how == "cut":
        return log[:at], f"cut at {at}"
    if how == "flip":
        return log[:at] + bytes([log[at] ^ 1 << chance.randrange(8)]) + log[at + 1:], f"bit flipped at {at}"
    start = at // 512 * 512
    return log[:start] + bytes(512) + log[start + 512:], f"sector of zeros at {start}"


@row("4", "the log is torn: cut, flipped or zeroed anywhere",
     "12 places (--long: 200); what is left is a prefix, events come again", 15)
def torn_log(scene):
    """Whatever stands after the damage is as if it had never been sent; nothing is half there."""
    scene.settings["DWELLD_ENDPOINT_URL"] = f"http://127.0.0.1:{scene.free_port()}/fhir"  # away for now
    file, log, device = written_store(scene, lines=3)
    events = list(device.sent.values())
    scene.settings.pop("DWELLD_ENDPOINT_URL")
    kept = []
    for number in range(200 if scene.long else 12):
        torn, how = tear(scene.chance, log)
        folder = lay_out(scene, f"torn-{number}", file, torn)
        scene.open_endpoint()  # each damage is a history of its own
        scene.start()
        answers = [device.give(event) for event in events]
        prefix = answers.count(200)
        kept.append(prefix)
        scene.check(answers == [200] * prefix + [201] * (len(events) - prefix), f"{how}: answers {answers}")
        scene.wait_for("all deliveries", scene.is_quiet)
        arrived = scene.arrived()
        scene.check(sorted(arrived) == sorted(device.sent) and set(arrived.values()) == {1}, f"{how}: {arrived}")
        scene.check(scene.stop() == 0, f"{how}: did not end well")
        scene.receiver.stop()
        device.hang_up()
        shutil.rmtree(folder)
    scene.check(min(kept) < max(kept), f"the damage made no difference: {kept}")
    scene.note(f"of {len(events)} events {min(kept)} to {max(kept)} were left")
    lay_out(scene, "whole", file, log)
    scene.open_endpoint()


def start_and_end(scene):
    """How the daemon ends by itself; None: it does not."""
    daemon = scene.start(wait=False)
    try:
        return daemon.process.wait(20)
    except subprocess.TimeoutExpired:
        daemon.stop(signal.SIGKILL)
        return None


def refuses(scene, what, name, file, log, codes):
    """The daemon must end with one of `codes` and say why, and leave the files as they are."""
    folder = lay_out(scene, name, file, log)
    before = scene.log.stat().st_size
    ended = start_and_end(scene)
    told = scene.log.read_text(errors="replace")[before:]
    scene.check(ended in codes, f"{what}: ended with {ended}")
    scene.check("store" in told, f"{what}: says {told!r}")
    after = {path.name: path.read_bytes() for path in folder.iterdir() if path.suffix in (".db", ".db-wal")}
    scene.check(after.get("store.db") == file, f"{what}: the file was changed")
    scene.check(log is None or after.get("store.db-wal") == log, f"{what}: the log was changed")
    shutil.rmtree(folder)


def good_store(scene):
    """The bytes of a store that was closed cleanly, with everything still to be delivered."""
    scene.settings["DWELLD_ENDPOINT_URL"] = f"http://127.0.0.1:{scene.free_port()}/fhir"
    scene.start()
    scene.send_lines(1, 3)
    scene.stop()
    scene.settings.pop("DWELLD_ENDPOINT_URL")
    return (scene.folder / "store.db").read_bytes()


def put_back(scene, file):
    """The good file again: everything in it must arrive."""
    lay_out(scene, "back", file, None)
    scene.open_endpoint()
    scene.start()


@row("8a", "the store's file is somebody else's", "text, another SQLite file, another application's id, a folder", 6)
def foreign(scene):
    file = good_store(scene)
    other = scene.folder / "other.db"
    with sqlite3.connect(other) as database:
        database.execute("CREATE TABLE notes (text)")
    database.close()
    refuses(scene, "text", "text", b"somebody's notes\n" * 1000, None, (EX_DATAERR,))
    refuses(scene, "another SQLite file", "other", other.read_bytes(), None, (EX_DATAERR,))
    refuses(scene, "another application's id", "id", file[:68] + b"\0\0\0\x2a" + file[72:], None, (EX_DATAERR,))
    refuses(scene, "an empty file", "empty", b"", None, (EX_DATAERR,))
    folder = lay_out(scene, "folder", None, None)
    (folder / "store.db").mkdir()
    scene.check(start_and_end(scene) == EX_DATAERR, "a folder in its place is taken")
    put_back(scene, file)


@row("8b", "the store is newer than the program", "a version from the future in the header, and in the log only", 6)
def newer(scene):
    """Going back to an older package: it must leave the newer store untouched."""
    file = good_store(scene)
    refuses(scene, "in the header", "header", file[:60] + b"\0\0\x03\xe7" + file[64:], None, (EX_DATAERR,))
    folder = lay_out(scene, "log", file, None)
    database = sqlite3.connect(folder / "store.db", isolation_level=None)
    database.execute("PRAGMA user_version = 999")
    log = (folder / "store.db-wal").read_bytes()  # before closing moves it into the file
    database.close()
    shutil.rmtree(folder)
    refuses(scene, "in the log", "log", file, log, (EX_DATAERR,))
    put_back(scene, file)


@row("8c", "the store's file is damaged",
     "cut short; every page's kind overwritten, one after another; the file gone", 12)
def damaged(scene):
    file = good_store(scene)
    log = b"\x37\x7f\x06\x82" + bytes(28)
    codes = (EX_DATAERR, EX_IOERR)
    refuses(scene, "cut short", "short", file[:len(file) // 2], None, codes)
    refuses(scene, "the file is gone and its log is there", "gone", None, log, codes)
    pages = [at for at in range(PAGE_BYTES, len(file), PAGE_BYTES) if file[at] in (2, 5, 10, 13)]  # b-trees
    chosen = pages if scene.long else scene.chance.sample(pages, min(8, len(pages)))
    for at in chosen:
        refuses(scene, f"page at {at}", f"page-{at}", file[:at] + b"\x07" + file[at + 1:], None, codes)
    scene.note(f"{len(chosen)} of {len(pages)} pages")
    put_back(scene, file)


def bodies_in(path, file):
    """Where in the file the packed bodies begin, and how much of each lies there in one piece."""
    database = sqlite3.connect(path)
    bodies = [body for (body,) in database.execute("SELECT packed FROM body")]
    database.close()
    for body in bodies:
        at = file.find(body[:64])
        piece = next((size for size in range(len(body), 63, -1) if file[at:at + size] == body[:size]), 0)
        if at > 0 and piece:
            yield at, piece


def committed(scene, name):
    """A fresh endpoint; gives a function that tells the bodies that it took since, byte for byte."""
    if scene.receiver:
        scene.receiver.stop()
    file = scene.folder / f"{name}.bodies"
    scene.open_endpoint("--bodies", file)
    return lambda: set(file.read_bytes().splitlines())


def names(scene):
    """What the endpoint holds, but for the Provenances, which are of one making each."""
    return {f"{each['resourceType']}/{each['id']}" for each in scene.resources()
            if each["resourceType"] != "Provenance"}


@row("8d", "the disk gives back another bit of what is to be sent",
     "one bit, 12 places (--long: 100): that delivery is held, all others go, released it is made anew", 25)
def flipped_bit(scene):
    """No check of SQLite's sees it, and a patient's number or a sign would be another."""
    file = good_store(scene)
    places = list(bodies_in(scene.folder / "store.db", file))
    scene.check(len(places) > 5, f"{len(places)} bodies found in the file")
    taken = committed(scene, "whole")
    lay_out(scene, "whole", file, None)
    scene.start()
    scene.wait_for("deliveries", scene.is_quiet)
    right, whole = taken(), names(scene)
    scene.stop()
    for number in range(100 if scene.long else 12):
        start, size = scene.chance.choice(places)
        at = start + scene.chance.randrange(size)
        damaged_file = file[:at] + bytes([file[at] ^ 1 << scene.chance.randrange(8)]) + file[at + 1:]
        taken = committed(scene, f"bit-{number}")
        folder = lay_out(scene, f"bit-{number}", damaged_file, None)
        scene.start()
        held = scene.wait_for(f"the delivery with byte {at} to be held",
                              lambda: [row for row in scene.queue() if row["state"] == "on-hold"])
        lines = {row["line"] for row in held}
        scene.wait_for("the other lines", lambda: {row["line"] for row in scene.queue()} == lines)
        scene.check(len(held) == 1 and "damaged" in held[0]["why"], f"byte {at}: held {held}")
        scene.check(taken() < right, f"byte {at}: something else was told, or all of it")
        code, told = scene.dwell("release", str(held[0]["delivery"]), "--by", "N1", "--why", "the disk changed it")
        scene.check(code == 0, f"byte {at}: release: {told}")
        scene.wait_for("the line made anew", lambda: not scene.queue())
        missing = whole - names(scene)
        scene.check(not missing, f"byte {at}: lost {sorted(missing)[:3]}")
        scene.check(scene.stop() == 0, f"byte {at}: did not end well")
        shutil.rmtree(folder)
    scene.receiver.stop()
    put_back(scene, file)


@row("8e", "the disk gives back another bit of a stored event",
     "one bit in each of 3 lines' insertion: their lines are named, others go on, sent again all follows", 10)
def flipped_event(scene):
    """The line is derived from it: another sign, or another day, would be told as if a ward had said so."""
    scene.open_endpoint()
    scene.start()
    device = scene.send_lines(1, 6)[0]
    scene.wait_for("deliveries", scene.is_quiet)
    scene.stop()
    file = (scene.folder / "store.db").read_bytes()
    first = {}  # of each line
    for event in device.sent.values():
        first.setdefault(event["line_id"], event)
    damaged = list(first.items())[:3]
    for _, event in damaged:
        raw = json.dumps(event).encode()
        at = file.find(raw)
        scene.check(at > 0, "an event does not stand in the file in one piece")
        at += raw.find(b'"recorded_at"') + 22  # a digit of the date
        file = file[:at] + bytes([file[at] ^ 1]) + file[at + 1:]
    lay_out(scene, "event", file, None)
    scene.start()
    device.hang_up()  # from the daemon of before
    answers = [device.give(event) for _, event in damaged]
    scene.check(answers == [200] * 3, f"sent again: {answers}")
    scene.check(len(scene.log_lines("event-mended")) == 3, "an event was not mended")
    scene.wait_for("the lines to be whole", lambda: len(scene.log_lines("line-whole-again")) == 3)
    code, told = scene.dwell("lines", "--all")
    scene.check(code == 0 and "cannot be read" not in told, f"lines: {told}")


@row("9", "two daemons on one store", "the second started 3 times under load; on another port too", 5)
def two_daemons(scene):
    scene.open()
    scene.devices_at_work(4, pause_s=0.005)
    first = scene.daemon
    for port in (scene.port, scene.free_port(), scene.free_port()):
        scene.settings["DWELLD_INTAKE_PORT"] = str(port)
        second = scene.start(wait=False)
        ended = second.process.wait(20)
        scene.check(ended == EX_CANTCREAT, f"the second ended with {ended}")
    scene.settings.pop("DWELLD_INTAKE_PORT")
    scene.daemon = first
    before = len(scene.acknowledged())
    scene.wait_for("the first to go on", lambda: first.require() and len(scene.acknowledged()) > before + 20)
