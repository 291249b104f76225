"""Senders that are slow, greedy or garbled: refused with a reason, and the others are served."""
import json
import os
import socket
import threading
import time

import stage
from rows import NotTried, row


def ask(scene, data, patience_s=10):
    """Sends these bytes; what is answered until the end of the connection, or until nothing more comes."""
    answer = b""
    try:
        with socket.create_connection(("127.0.0.1", scene.port), timeout=patience_s) as connection:
            try:
                connection.sendall(data)
            except OSError:
                pass  # it need not read all of it
            while more := connection.recv(65536):
                answer += more
    except TimeoutError:
        return answer, False
    except OSError:
        pass  # closed hard, or nobody listens
    return answer, True


def post(body, fields=""):
    body = body if isinstance(body, bytes) else body.encode()
    return (f"POST /events HTTP/1.1\r\nHost: ward\r\nContent-Type: application/json\r\n{fields}"
            f"Content-Length: {len(body)}\r\nConnection: close\r\n\r\n").encode() + body


def status_of(answer):
    return int(answer.split(b" ", 2)[1]) if answer.startswith(b"HTTP/1.1 ") else None


def expect(scene, what, data, statuses, closes=True):
    answer, closed = ask(scene, data)
    scene.check(status_of(answer) in statuses, f"{what}: answered {answer[:80]!r}")
    scene.check(closed or not closes, f"{what}: the connection stays open")


def still_takes(scene, device, n):
    scene.check(device.give(device.event(n)) == 201, "an ordinary event is no longer taken")


@row("22", "500 senders of a byte a second, and one ordinary one",
     "slow heads, slow bodies, idle; cut off after 30 s", 40)
def slowloris(scene):
    scene.open()
    slow, cut = [], 0
    for number in range(500):
        connection = socket.create_connection(("127.0.0.1", scene.port), timeout=20)
        if number % 3 == 0:
            connection.sendall(b"POST /events HTTP/1.1\r\nHost: ward\r\nX-Slow: ")
        elif number % 3 == 1:
            connection.sendall(b"POST /events HTTP/1.1\r\nHost: ward\r\nContent-Type: application/json\r\n"
                               b"Content-Length: 60000\r\n\r\n{")
        connection.setblocking(False)
        slow.append(connection)
    device = scene.poster()
    times_s, number, until = [], 0, time.monotonic() + 33
    while time.monotonic() < until:
        for number, connection in enumerate(slow):
            if connection is None or number % 3 == 2:
                continue
            try:
                connection.send(b" ")
                if connection.recv(1024) == b"":
                    raise ConnectionError
            except BlockingIOError:
                pass
            except OSError:
                slow[number], cut = None, cut + 1
        for _ in range(5):
            started = time.monotonic()
            still_takes(scene, device, len(times_s))
            times_s.append(time.monotonic() - started)
        time.sleep(0.9)
    times_s.sort()
    at_95 = times_s[len(times_s) * 95 // 100]
    scene.check(at_95 < 1, f"95 of 100 ordinary events took up to {at_95:.2f} s")
    scene.check(cut >= 334, f"{cut} of 334 slow requests were cut off after 33 s")
    scene.note(f"the ordinary one: median {times_s[len(times_s) // 2] * 1000:.0f} ms, 95 % {at_95 * 1000:.0f} ms; "
               f"{cut} slow requests cut off")


@row("22b", "more connections than there may be", "700 at once: a reasoned 503 or closed; then free again", 8)
def too_many(scene):
    scene.open()
    device = scene.poster()
    still_takes(scene, device, 0)
    many = []
    for _ in range(700):
        connection = socket.socket()
        connection.settimeout(5)
        connection.connect(("127.0.0.1", scene.port))
        many.append(connection)
    heard = []
    for connection in many[512:]:
        try:
            heard.append(connection.recv(200)[:12])
        except OSError:
            heard.append(b"")
    scene.check(heard.count(b"HTTP/1.1 503") > 0, f"nobody was told why: {set(heard)}")
    still_takes(scene, device, 1)  # on its kept connection
    for connection in many:
        connection.close()
    device.hang_up()
    scene.wait_for("a free place", lambda: device.give(device.event(2)) in (200, 201))
    scene.note(f"{heard.count(b'HTTP/1.1 503')} heard 503, {heard.count(b'')} were closed")


@row("23", "too large: body, head, fields, target", "stated and streamed, 10,000 fields, 100 KiB target", 6)
def oversize(scene):
    scene.open()
    device = scene.poster()
    long = "a" * 100_000
    head = "POST /events HTTP/1.1\r\nHost: ward\r\nContent-Type: application/json\r\n"
    for what, data, statuses in (
            ("a body of 1 GiB, as stated", (head + "Content-Length: 1073741824\r\n\r\n").encode(), (413,)),
            ("a length that no number holds", (head + f"Content-Length: {'9' * 40}\r\n\r\n").encode(), (400, 413)),
            ("an endless chunked body", (head + "Transfer-Encoding: chunked\r\n\r\n").encode() +
             (b"100000\r\n" + b" " * 0x100000 + b"\r\n") * 8, (413,)),
            ("an event of 1 MiB", post(json.dumps({"note": "a" * (1 << 20)})), (413, 422)),
            ("a field of 100 KB", (head + f"X-Long: {long}\r\nContent-Length: 2\r\n\r\n{{}}").encode(), (431,)),
            ("10,000 fields", (head + "X: y\r\n" * 10_000 + "Content-Length: 2\r\n\r\n{}").encode(), (431,)),
            ("100 fields", (head + "X: y\r\n" * 100 + "Content-Length: 2\r\n\r\n{}").encode(), (431,)),
            ("a target of 100 KB", f"GET /events/{long} HTTP/1.1\r\nHost: ward\r\n\r\n".encode(), (414, 431)),
            ("a batch of 1001 events", post("{}\n" * 1001).replace(b"application/json", b"application/x-ndjson"),
             (413,))):
        expect(scene, what, data, statuses)
    peak = memory_mib(scene)
    scene.check(peak < 200, f"it used {peak} MiB")
    still_takes(scene, device, 0)
    scene.note(f"peak memory {peak} MiB")


def memory_mib(scene):
    for line in open(f"/proc/{scene.daemon.process.pid}/status"):
        if line.startswith("VmHWM"):
            return int(line.split()[1]) // 1024
    raise stage.Trouble("no VmHWM in /proc")


def changed(event, **members):
    return json.dumps({**event, **members})


@row("24", "JSON to choke on", "100,000 brackets, long numbers, arrays, keys, the same name twice", 6)
def choke(scene):
    scene.open()
    device = scene.poster()
    event = device.event(0)
    text = json.dumps(event)
    nested = lambda depth: "{\"a\":" * depth + "1" + "}" * depth  # noqa: E731
    for what, body in (
            ("100,000 open brackets", "[" * 100_000),
            ("30,000 closed brackets", "[" * 30_000 + "]" * 30_000),
            ("an extra of depth 200", text[:-1] + f', "extra": {nested(200)}}}'),
            ("an extra of 6000 values", changed(event, extra={"a": list(range(6000))})),
            ("the same name twice", text[:-1] + ', "id": "other"}'),
            ("the same name twice, one escaped", text[:-1] + ', "\\u0069d": "other"}'),
            ("two documents", text + text),
            ("a number that is none", text[:-1] + ', "extra": {"a": 1e}}'),
            ("NaN", text[:-1] + ', "extra": {"a": NaN}}'),
            ("half of it", text[:len(text) // 2]),
            ("nothing", ""),
            ("a comment", "/* */" + text)):
        expect(scene, what, post(body), (400, 413, 422))
    # A number of any length is a number: kept as it is, under "extra".
    answer, _ = ask(scene, post(text[:-1] + ', "extra": {"a": ' + "1" * 5000 + "e999}}"))
    if status_of(answer) == 201:
        device.sent[event["id"]] = event
        device.acknowledged.add(event["id"])
    else:
        scene.check(status_of(answer) in (400, 422), f"a long number: {answer[:80]!r}")
        still_takes(scene, device, 0)


@row("25", "text that is none", "bad UTF-8, lone surrogates, U+0000, BOM; nothing of it raw in the log", 6)
def text(scene):
    scene.open()
    device = scene.poster()
    plain = json.dumps({**device.event(0), "note": "MARK"}).encode()
    for what, raw in (
            ("a byte 0xFF", plain.replace(b"MARK", b"\xff")),
            ("an overlong slash", plain.replace(b"MARK", b"\xc0\xaf")),
            ("a surrogate in UTF-8", plain.replace(b"MARK", b"\xed\xa0\x80")),
            ("beyond U+10FFFF", plain.replace(b"MARK", b"\xf4\x90\x80\x80")),
            ("cut in a character", plain.replace(b"MARK", b"\xe2\x82")),
            ("a lone surrogate, escaped", plain.replace(b"MARK", b"\\ud800")),
            ("surrogates in the wrong order", plain.replace(b"MARK", b"\\udc00\\ud800")),
            ("U+0000, escaped", plain.replace(b"MARK", b"a\\u0000b")),
            ("a raw control character", plain.replace(b"MARK", b"a\x01b")),
            ("a BOM", b"\xef\xbb\xbf" + plain),
            ("UTF-16", plain.decode().encode("utf-16"))):
        expect(scene, what, post(raw), (400, 422))
    still_takes(scene, device, 0)
    log = scene.log.read_bytes()
    scene.check(all(0x20 <= byte < 0x7f or byte == 0x0a for byte in log), "the log has bytes that are no plain text")
    scene.check(all(isinstance(line, dict) for line in scene.log_lines()), "a line of the log is not one JSON object")


@row("26c", "a compressed body", "gzip, deflate, br, two of them, a bomb: 415 before it is read", 5)
def compressed(scene):
    import gzip
    scene.open()
    device = scene.poster()
    bomb = gzip.compress(bytes(10 << 20))
    for encoding in ("gzip", "deflate", "br", "gzip, gzip", "x-unknown"):
        expect(scene, encoding, post(bomb, f"Content-Encoding: {encoding}\r\n"), (415,))
    peak = memory_mib(scene)
    scene.check(peak < 200, f"it used {peak} MiB")
    still_takes(scene, device, 0)


@row("35a", "no file descriptors left", "ulimit -n 64, 100 connections; then they are closed", 8)
def descriptors(scene):
    scene.open_endpoint()
    scene.start(before=["prlimit", "--nofile=64:64"])
    device = scene.poster()
    still_takes(scene, device, 0)
    many = [socket.create_connection(("127.0.0.1", scene.port), timeout=5) for _ in range(100)]
    cpu = processor_time_s(scene)
    time.sleep(1.5)
    spent = processor_time_s(scene) - cpu
    scene.check(spent < 0.5, f"{spent:.2f} s of processor time in 1.5 s: it spins")
    scene.check(scene.daemon.running(), "it ended")
    still_takes(scene, device, 1)  # on its kept connection
    for connection in many:
        connection.close()
    device.hang_up()
    scene.wait_for("a place for a new connection", lambda: device.give(device.event(2)) in (200, 201))


def processor_time_s(scene):
    words = open(f"/proc/{scene.daemon.process.pid}/stat").read().rsplit(")", 1)[1].split()
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")


@row("35b", "no memory left", "address space limited under load, tighter each time: may end, loses nothing", 12)
def memory(scene):
    """Nothing half-written, whatever allocation fails."""
    scene.open_endpoint()
    ends = []
    for mib in (400, 300, 250, 200, 170, 150, 130, 110):
        daemon = scene.start(wait=False, before=["prlimit", f"--as={mib << 20}"])
        until = time.monotonic() + 1.2
        sender = scene.device(pause_s=0.001)
        sender.start()
        threading.Thread(target=ask, args=(scene, post("[" * (3 << 20))), daemon=True).start()
        while daemon.running() and time.monotonic() < until:
            time.sleep(0.01)
        sender.ending.set()
        sender.join(stage.PATIENCE_S)
        ends.append(scene.stop())
    fine = [end for end in ends if end == 0]
    if len(fine) == len(ends):
        raise NotTried("no limit of memory that lets the program start makes it fail")
    scene.note(f"ended with {ends}")
