"""TLS that cannot be trusted: the attempt fails closed with a named reason, and nothing of a patient is shown."""
import pathlib
import socket
import ssl
import time
import warnings

import peer as p
from certificates import Authority
from rows import row


def server_side(certificate, key, asks_for=None):
    """What a server needs; `asks_for`: the authority of the client certificates that it demands."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    if asks_for:
        context.load_verify_locations(asks_for)
        context.verify_mode = ssl.CERT_REQUIRED
    return context


def fails_closed(scene, words, bad):
    """`bad` makes the first server context of (authority, scene); later the server is a good one."""
    authority = Authority(scene.folder, "authority")
    good = server_side(*authority.issue("good"))
    scene.set(endpoint_ca_file=authority.file)
    scene.open_endpoint()
    peer = scene.front(tls=good, name="localhost")
    peer.tls = bad(authority)
    scene.start()
    scene.send_lines(2, 2)
    scene.hears(words)
    scene.check(peer.posts == 0, "a bundle was sent to somebody who cannot be trusted")
    queue = scene.queue()
    scene.check(queue and all(one["attempts"] == 0 for one in queue), "it used up attempts of bundles")
    peer.tls = good
    return peer


@row("20a", "the endpoint's certificate has expired", "https, certificate of yesterday; then a good one", 6)
def expired(scene):
    fails_closed(scene, "certificate has expired",
                 lambda authority: server_side(*authority.issue("old", end="20210101000000Z")))


@row("20b", "the endpoint's certificate is not yet valid", "https, valid from 2048 on; then a good one", 6)
def not_yet(scene):
    fails_closed(scene, "certificate is not yet valid",
                 lambda authority: server_side(*authority.issue("new", start="20480101000000Z")))


@row("20c", "the endpoint's certificate is somebody else's", "https, another host's name; then a good one", 6)
def wrong_name(scene):
    fails_closed(scene, "hostname mismatch",
                 lambda authority: server_side(*authority.issue("other", host="record.example")))


@row("20d", "the endpoint's certificate is of an unknown authority", "https, another authority; then a good one", 6)
def unknown_authority(scene):
    fails_closed(scene, "unable to get local issuer certificate",
                 lambda _: server_side(*Authority(scene.folder, "stranger").issue("good")))


@row("20e", "the endpoint speaks TLS 1.0 only", "no downgrade; then a good one", 6)
def old_protocol(scene):
    def bad(authority):
        context = server_side(*authority.issue("old"))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)
            context.minimum_version = ssl.TLSVersion.TLSv1
            context.maximum_version = ssl.TLSVersion.TLSv1
        context.set_ciphers("ALL:@SECLEVEL=0")
        return context
    fails_closed(scene, "protocol version", bad)


@row("20f", "plain HTTP where TLS is expected", "a page in clear; then TLS", 6)
def plain(scene):
    fails_closed(scene, "TLS", lambda _: p.Greeting(p.answer(400, "text/html", "this is not TLS")))


@row("20g", "the endpoint says nothing in the handshake", "attempt time 1 s; then TLS", 6)
def silent(scene):
    fails_closed(scene, "TLS with localhost", lambda _: p.Greeting(b""))


@row("20h", "TLS is cut without its closing word",
     "the whole answer, without length, after the commit: may be cut short", 6)
def cut(scene):
    """Without close_notify an answer that ends with the connection may have been cut by anybody."""
    authority = Authority(scene.folder, "authority")
    scene.set(endpoint_ca_file=authority.file)
    scene.open_endpoint()

    def bad(talk):
        _, _, body = talk.relay().partition(b"\r\n\r\n")
        talk.send(b"HTTP/1.1 200 OK\r\nContent-Type: application/fhir+json\r\n\r\n" + body)
        return False  # closes the socket, and says no word of TLS

    peer = scene.front(p.at_first(2, bad), server_side(*authority.issue("good")), name="localhost")
    scene.start()
    scene.send_lines(2, 2)
    scene.wait_for("the peer to be well again", lambda: peer.posts > 2)
    scene.wait_for("all deliveries", scene.is_quiet)
    scene.check(scene.counts()["repeats"] >= 2, "an answer that may have been cut passed for whole")


def served_serial(scene, trusted):
    """The serial number of the certificate that the intake shows now."""
    with socket.create_connection(("127.0.0.1", scene.port), timeout=20) as plain_side:
        with trusted.wrap_socket(plain_side, server_hostname="localhost") as side:
            return side.getpeercert()["serialNumber"]


def replace(pair, by):
    for old, new in zip(pair, by):
        old.write_bytes(pathlib.Path(new).read_bytes())


@row("21a", "the intake's certificate is replaced under load", "no restart; a half-written pair first", 8)
def swap_intake(scene):
    """eclipse-mosquitto/mosquitto 1877, zrepl/zrepl 202: the renewed certificate was not used until a restart."""
    authority = Authority(scene.folder, "authority")
    pair, fresh = authority.issue("first"), authority.issue("second")
    trusted = ssl.create_default_context(cafile=str(authority.file))
    scene.set(intake_certificate=pair[0], intake_private_key=pair[1])
    scene.open()
    scene.devices_at_work(3, pause_s=0.01, tls=trusted)
    scene.wait_for("events to be taken", lambda: len(scene.acknowledged()) > 10)
    first = served_serial(scene, trusted)
    replace(pair[:1], fresh[:1])  # the certificate alone does not match the key
    time.sleep(1.2)
    scene.check(served_serial(scene, trusted) == first, "half a pair was taken")
    scene.wait_for("a word in the log", lambda: scene.log_lines("tls-files-not-usable"))
    replace(pair[1:], fresh[1:])
    scene.wait_for("the new certificate", lambda: served_serial(scene, trusted) != first)
    before = len(scene.acknowledged())
    scene.wait_for("events to be taken", lambda: len(scene.acknowledged()) > before + 10)


@row("21b", "the authorities that vouch for the endpoint are replaced",
     "the endpoint moves to another one; no restart", 8)
def swap_authority(scene):
    first, second = Authority(scene.folder, "first"), Authority(scene.folder, "second")
    trusted = scene.folder / "trusted.pem"
    trusted.write_bytes(first.file.read_bytes())
    scene.set(endpoint_ca_file=trusted)
    scene.open_endpoint()
    peer = scene.front(p.honest, server_side(*first.issue("endpoint")), name="localhost")
    scene.start()
    scene.send_lines(1, 2)
    scene.wait_for("deliveries", scene.is_quiet)
    peer.tls = server_side(*second.issue("endpoint"))
    peer.manner = lambda talk: talk.answer() and False  # so that the next one needs a new connection
    scene.send_lines(1, 2)
    scene.hears("certificate")
    peer.manner = p.honest
    trusted.write_bytes(second.file.read_bytes())


@row("21c", "our client certificate is replaced, under mutual TLS",
     "the endpoint then takes the new authority only", 8)
def swap_client(scene):
    server, first, second = (Authority(scene.folder, name) for name in ("server", "first", "second"))
    certificate, fresh = server.issue("endpoint"), second.issue("client")
    pair = first.issue("client")
    scene.set(endpoint_ca_file=server.file, endpoint_certificate=pair[0], endpoint_private_key=pair[1])
    scene.open_endpoint()
    peer = scene.front(lambda talk: talk.answer() and False, server_side(*certificate, asks_for=first.file),
                       name="localhost")
    scene.start()
    scene.send_lines(1, 2)
    scene.wait_for("deliveries", scene.is_quiet)
    peer.tls = server_side(*certificate, asks_for=second.file)
    scene.send_lines(1, 2)
    scene.wait_for("refused handshakes", lambda: peer.handshake_failures)
    replace(pair, fresh)
