"""Peers that cannot be reached, break off, stall or drip. Each does so for the first posts and is well again then."""
import signal
import socket
import time

import peer as p
import stage
from rows import row

BAD_POSTS = 3


def play(scene, bad, words, count=BAD_POSTS):
    """A peer that is `bad` at first; the operator hears of it in `words`; other lines are sent meanwhile."""
    peer = scene.open(manner=p.at_first(count, bad))
    devices = scene.devices_at_work(2, lines=2, pause_s=0.01)
    scene.hears(words)
    scene.wait_for("the peer to be well again", lambda: peer.posts > count)
    for one in devices:
        one.join(stage.PATIENCE_S)
    scene.wait_for("all deliveries", scene.is_quiet)
    return peer


@row("12a", "the endpoint refuses connections", "nobody listens for 2 s, then somebody", 6)
def refuses(scene):
    scene.open()
    scene.receiver.process.send_signal(signal.SIGUSR1)
    scene.send_lines(2, 2)
    scene.hears("refused")
    time.sleep(2)
    attempts = scene.status()["attempts"]["again"]
    scene.check(attempts < 30, f"{attempts} attempts while it was down: that is a stampede")
    queue = scene.queue()
    scene.check(queue and all(one["attempts"] == 0 for one in queue), "a pause used up attempts of bundles")
    scene.receiver.process.send_signal(signal.SIGUSR2)


@row("12b", "the endpoint resets the connection, nothing done", "RST after reading the request", 6)
def resets_before(scene):
    def reset(talk):
        talk.reset()
        return False
    play(scene, reset, "waiting for the answer")


@row("12c", "the endpoint commits, then resets", "RST instead of the answer", 6)
def resets_after(scene):
    def reset(talk):
        talk.relay()
        talk.reset()
        return False
    play(scene, reset, "waiting for the answer")
    repeats = scene.counts()["repeats"]
    scene.check(repeats >= 1, "the same bytes were not sent again")


@row("12d", "nobody takes the connection: no answer to SYN", "a listener whose queue is full", 10)
def unreachable(scene):
    scene.open_endpoint()
    port = scene.free_port()
    full = socket.socket()
    full.bind(("127.0.0.1", port))
    full.listen(0)
    waiting = []
    for _ in range(4):  # fill the queue
        waiting.append(socket.socket())
        waiting[-1].setblocking(False)
        waiting[-1].connect_ex(("127.0.0.1", port))
    scene.set(endpoint_url=f"http://127.0.0.1:{port}/fhir")
    scene.start()
    scene.send_lines(2, 2)
    scene.hears("timed out")
    for one in (full, *waiting):
        one.close()
    scene.peers.append(p.Peer(port, scene.endpoint_port).open())


@row("13a", "the endpoint accepts and never answers, nothing done", "black hole, attempt time 1 s", 8)
def black_hole(scene):
    def silent(talk):
        talk.wait_for_end()
        return False
    play(scene, silent, "no complete answer in time")


@row("13b", "the endpoint commits and never answers", "black hole after the commit", 8)
def black_hole_after(scene):
    def silent(talk):
        talk.relay()
        talk.wait_for_end()
        return False
    play(scene, silent, "no complete answer in time")
    scene.check(scene.counts()["repeats"] >= 1, "the same bytes were not sent again")


@row("13c", "the endpoint commits and drips its answer",
     "one byte a second: each read is in time, the whole never", 8)
def drips(scene):
    def drip(talk):
        for byte in talk.relay():
            talk.send(bytes([byte]))
            time.sleep(1)
        return False
    play(scene, drip, "no complete answer in time")


@row("13d", "endless head of the answer", "fields without end", 8)
def endless_head(scene):
    def stream(talk):
        talk.send(b"HTTP/1.1 200 OK\r\n")
        while True:
            talk.send(b"X-More: and more of it\r\n" * 50)
    play(scene, stream, "the answer is not acceptable HTTP")


@row("13e", "endless body of the answer", "without a length, at full speed", 8)
def endless_body(scene):
    def stream(talk):
        talk.send(b"HTTP/1.1 200 OK\r\nContent-Type: application/fhir+json\r\n\r\n")
        while True:
            talk.send(b" " * 65536)
    play(scene, stream, "the answer is not acceptable HTTP")
    peak = int(next(line for line in open(f"/proc/{scene.daemon.process.pid}/status")
                    if line.startswith("VmHWM")).split()[1]) // 1024
    scene.check(peak < 400, f"the daemon used {peak} MiB")
    scene.note(f"peak memory {peak} MiB")


@row("13f", "endless interim answers", "100 Continue without end", 8)
def endless_interim(scene):
    def stream(talk):
        while True:
            talk.send(b"HTTP/1.1 100 Continue\r\n\r\n")
    play(scene, stream, "the answer is not acceptable HTTP")


@row("19a", "a kept connection is closed just as the next request comes",
     "the peer closes 0 to 3 ms after each answer", 8)
def stale(scene):
    """golang/go 22158, psf/requests 4937: neither failed nor blindly sent twice."""
    def close_soon(talk):
        talk.answer()
        time.sleep(scene.chance.uniform(0, 0.003))
        return False
    scene.open(manner=close_soon)
    scene.send_lines(2, 20, pause_s=0.004)


@row("19b", "a kept connection is closed at its idle limit",
     "the peer closes after 50 ms, sends come after 40 to 60 ms", 10)
def idle_limit(scene):
    def wait_shortly(talk):
        talk.answer()
        talk.connection.settimeout(0.05)
        return True
    scene.open(manner=wait_shortly)
    device = scene.poster()
    for n in range(60):
        scene.check(device.give(device.event(n)) == 201, "not accepted")
        scene.wait_for("the delivery", scene.is_quiet)
        time.sleep(scene.chance.uniform(0.02, 0.05))


@row("19c", "the peer reads the whole request, then resets a kept connection", "every third answer is a RST", 8)
def reset_kept(scene):
    def reset_third(talk):
        if talk.number % 3:
            return talk.answer()
        talk.reset()
        return False
    scene.open(manner=reset_third)
    scene.send_lines(2, 2)


@row("12e", "an endpoint that is away for a while, with a backlog",
     "down 3 s under load; in flight when it comes back", 12)
def no_stampede(scene):
    """While it is away everything waits together; when it comes back one request probes."""
    at_once = []

    def count(talk):
        at_once.append(time.monotonic())
        return talk.answer()

    peer = scene.open(manner=count)
    peer.close()
    scene.send_lines(20, 1)
    time.sleep(3)
    at_once.clear()
    peer.open()
    scene.wait_for("all deliveries", scene.is_quiet, stage.PATIENCE_S)
    first = sum(moment < at_once[0] + 0.002 for moment in at_once)
    scene.check(first <= 4, f"{first} requests within 2 ms of the first: a stampede")
