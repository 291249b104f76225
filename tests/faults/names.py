"""The endpoint's name: it moves, it has several addresses, nobody knows it."""
import os
import socket
import time

import peer as p
from disk import Namespace
from rows import NotTried, row

HOST = "record.faults.example"


class Names:
    """The daemon's own /etc/hosts; asks nobody else unless there is a name server."""

    def __init__(self, scene, server=None):
        self.file = scene.folder / "hosts"
        self.file.write_text("127.0.0.1 localhost\n")
        (scene.folder / "nsswitch").write_text("hosts: files" + (" dns\n" if server else "\n"))
        (scene.folder / "resolv").write_text(f"nameserver {server or '127.0.0.1'}\noptions timeout:30 attempts:1\n")
        self.space = Namespace([f"mount --bind '{scene.folder / name}' /etc/{real}" for name, real in
                                (("hosts", "hosts"), ("nsswitch", "nsswitch.conf"), ("resolv", "resolv.conf"))])

    def are(self, *addresses):
        self.file.write_text("127.0.0.1 localhost\n" + "".join(f"{one} {HOST}\n" for one in addresses))


def with_names(scene, play, server=None):
    names = Names(scene, server)
    try:
        scene.open_endpoint()
        play(names)
        scene.finish()
    finally:
        scene.daemon and scene.daemon.process and scene.daemon.process.kill()
        names.space.close()


@row("32a", "the endpoint moves to another address", "hosts file swapped, the old address is gone; no restart", 8)
def moves(scene):
    """influxdata/telegraf 13487, eclipse-vertx/vert.x 6251: the address was resolved once for ever."""
    def play(names):
        names.are("127.0.0.2")
        old = scene.front(p.honest, host="127.0.0.2")
        scene.set(endpoint_url=f"http://{HOST}:{old.port}/fhir")
        scene.start(before=names.space.inside)
        scene.send_lines(1, 2)
        scene.wait_for("deliveries", scene.is_quiet)
        new = p.Peer(old.port, scene.endpoint_port, host="127.0.0.3").open()
        scene.peers.append(new)
        names.are("127.0.0.3")
        old.close()
        old.manner = lambda talk: talk.reset()
        scene.send_lines(1, 2)
        scene.wait_for("deliveries at the new address", lambda: new.posts > 0)
    with_names(scene, play)


@row("32b", "nobody knows the endpoint's name", "not in the hosts file for 2 s, then it is", 8)
def unknown(scene):
    def play(names):
        peer = scene.front(p.honest)
        scene.set(endpoint_url=f"http://{HOST}:{peer.port}/fhir")
        scene.start(before=names.space.inside)
        scene.send_lines(1, 2)
        scene.hears(HOST)
        time.sleep(2)
        names.are("127.0.0.1")
    with_names(scene, play)


@row("32c", "several addresses, the first ones dead",
     "one refuses, one never answers; the third serves within the attempt", 8)
def several(scene):
    def play(names):
        peer = scene.front(p.honest, host="127.0.0.4")
        names.are("127.0.0.2", "127.0.0.3", "127.0.0.4")
        scene.set(endpoint_url=f"http://{HOST}:{peer.port}/fhir", endpoint_attempt_time_max_s=4)
        scene.start(before=names.space.inside)
        scene.send_lines(1, 2)
        scene.wait_for("deliveries", scene.is_quiet)
        scene.check(scene.status()["attempts"]["again"] == 0, "an attempt failed although one address serves")
    with_names(scene, play)


@row("32d", "the name server says nothing",
     "a look-up of 30 s, attempt time 1 s: the daemon goes on and ends at once", 10)
def silent_server(scene):
    if os.geteuid() != 0:
        raise NotTried("port 53 is for root")
    server = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        server.bind(("127.0.0.79", 53))
    except OSError as error:
        raise NotTried(f"no name server of our own: {error}") from error

    def play(names):
        peer = scene.front(p.honest)
        scene.set(endpoint_url=f"http://{HOST}:{peer.port}/fhir")
        scene.start(before=names.space.inside)
        scene.send_lines(1, 2)
        scene.hears("the look-up was not done in time")
        started = time.monotonic()
        ended = scene.stop()
        took_s = time.monotonic() - started
        scene.check(ended == 0 and took_s < 10, f"ended with {ended} after {took_s:.1f} s")
        names.are("127.0.0.1")
        scene.start(before=names.space.inside)
    try:
        with_names(scene, play, server="127.0.0.79")
    finally:
        server.close()
