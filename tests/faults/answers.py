"""Answers that are no answers: none of them may pass for delivered, none may lose or double."""
import gzip
import threading

import peer as p
import stage
from peers import play
from rows import row

FHIR = "application/fhir+json"
PAGE = "<!doctype html><title>Practice</title><p>Please sign in.</p>"


def instead(data):
    """A peer that does nothing and answers with these bytes."""
    def bad(talk):
        talk.send(data)
        return False
    return bad


def done_but(change):
    """A peer that does it and changes the bytes of the answer."""
    def bad(talk):
        talk.send(change(talk.relay()))
        return False
    return bad


@row("14a", "the answer is not HTTP", "bytes of another protocol", 5)
def garbage(scene):
    play(scene, instead(b"\x15\x03\x01\x00\x02\x02\x28 garbage\n\n"), "not acceptable HTTP")


@row("14b", "a sign-in page with 200", "HTML, nothing done", 5)
def page(scene):
    """awbx/fhir-dsl 18: the page with 200 passed for success."""
    play(scene, instead(p.answer(200, "text/html", PAGE)), "answered 200 without FHIR JSON")


@row("14c", "200 without a body", "nothing done", 5)
def empty(scene):
    play(scene, instead(p.answer(200, FHIR, "")), "answered 200 without legal JSON")


@row("14d", "half of the JSON, with a length that agrees", "after the commit", 5)
def half(scene):
    def cut(data):
        _, _, body = data.partition(b"\r\n\r\n")
        return p.answer(200, FHIR, body[:len(body) // 2])
    play(scene, done_but(cut), "answered 200 without legal JSON")


@row("14e", "the answer breaks off in the middle", "after the commit", 5)
def truncated(scene):
    play(scene, done_but(lambda data: data[:len(data) - 20]), "ended before it was complete")


@row("14f", "the right answer under a wrong content type", "text/plain, after the commit", 5)
def wrong_type(scene):
    play(scene, done_but(lambda data: data.replace(b"application/fhir+json", b"text/plain")),
         "answered 200 without FHIR JSON")


@row("14g", "an answer for another number of entries", "held for a person; released when the peer is well", 6)
def wrong_count(scene):
    held(scene, instead(p.answer(200, FHIR, '{"resourceType":"Bundle","type":"transaction-response","entry":[]}')),
         "for 0 entries instead of")


@row("14h", "204, which says nothing of the transaction", "held for a person; released when the peer is well", 6)
def no_content(scene):
    held(scene, instead(b"HTTP/1.1 204 No Content\r\n\r\n"), "which does not say what became of it")


def held(scene, bad, words):
    """One line's first bundle meets the bad answer and is held; others go on; a person releases it."""
    bad_at = threading.Event()

    def once(talk):
        if b"D0-L0" in talk.body and not bad_at.is_set():
            return bad(talk)
        return talk.answer()

    scene.open(manner=once)
    scene.send_lines(2, 2)
    scene.wait_for("the hold", lambda: scene.status()["deliveries"]["on-hold"])
    row = next(one for one in scene.queue() if one["state"] == "on-hold")
    scene.check(words in row["why"], f"held because: {row['why']}")
    scene.check(row.get("uncertain") is True, "that it may have arrived is not said")
    scene.wait_for("the other lines", lambda: sum(e.startswith("D1-") for e in scene.arrived()) == 10)
    bad_at.set()
    code, told = scene.dwell("release", str(row["delivery"]), "--by", "N1", "--why", "the endpoint is well again")
    scene.check(code == 0, f"release: {told}")


@row("26a", "an answer compressed although nobody asked", "gzip, after the commit", 5)
def compressed(scene):
    def pack(data):
        _, _, body = data.partition(b"\r\n\r\n")
        return p.answer(200, FHIR, gzip.compress(body), "Content-Encoding: gzip\r\n")
    peer = play(scene, done_but(pack), "compressed although that was not asked for")
    scene.check(all("accept-encoding: identity" in head.lower() for head in peer.heads),
                "identity is not asked for")


@row("26b", "a decompression bomb as answer", "10 MiB of zeros in 10 KiB", 5)
def bomb(scene):
    packed = gzip.compress(bytes(10 << 20))
    play(scene, instead(p.answer(200, FHIR, packed, "Content-Encoding: gzip\r\n")),
         "compressed although that was not asked for")


@row("29a", "redirects to another server", "301, 302, 307 and 308; the other server must never be asked", 8)
def redirects(scene):
    """deskhq/the-desk 554, gotempsh/temps PR 332: a redirect leads to where no request should go."""
    trap = p.Peer(scene.free_port(), scene.endpoint_port).open()
    scene.peers.append(trap)
    statuses = (301, 302, 307, 308)

    def redirect(talk):
        talk.send(p.answer(statuses[talk.number % 4], "text/html", PAGE,
                           f"Location: http://127.0.0.1:{trap.port}/fhir\r\n"))
        return False

    play(scene, redirect, "redirects", count=4)
    scene.check(trap.connections == 0, "a redirect was followed")


@row("14i", "every failure status once, with a page instead of an OperationOutcome",
     "408 425 429 500 502 503 504", 25)
def statuses(scene):
    codes = (408, 425, 429, 500, 502, 503, 504)

    def fail(talk):
        talk.send(p.answer(codes[talk.number - 1], "text/html", PAGE))
        return False

    peer = scene.open(manner=p.at_first(len(codes), fail))
    scene.devices_at_work(4, lines=1)
    scene.wait_for("the peer to be well again", lambda: peer.posts > len(codes), stage.PATIENCE_S)


@row("14j", "503 with Retry-After, in seconds and as a date", "no request meanwhile, then all", 10)
def retry_after(scene):
    """hashicorp/go-retryablehttp 144, acmesh-official/acme.sh 7201: dates were not understood."""
    import email.utils
    import time
    moments = []

    def busy(talk):
        moments.append(time.monotonic())
        if talk.number > 2:
            return talk.answer()
        later = "2" if talk.number == 1 else email.utils.formatdate(time.time() + 3, usegmt=True)
        talk.send(p.answer(503, "text/html", PAGE, f"Retry-After: {later}\r\n"))
        return False

    scene.set(endpoint_in_flight_max=1)
    peer = scene.open(manner=busy)
    scene.send_lines(1, 1)
    scene.wait_for("the peer to be well again", lambda: peer.posts > 2)
    scene.check(moments[1] - moments[0] > 1.9, f"asked again after {moments[1] - moments[0]:.1f} s instead of 2")
    scene.check(moments[2] - moments[1] > 1.9, f"asked again after {moments[2] - moments[1]:.1f} s instead of 3")
