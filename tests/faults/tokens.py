"""Access tokens that end, an issuer that is away, clocks that differ: costs nobody an attempt, holds nothing."""
import json
import time

import peer as p
from issuer import Issuer
from rows import row

PAGE = "<p>who are you?</p>"


def behind_a_door(scene, lifetime_s, refusal=401):
    """An endpoint that wants good tokens; (issuer, list of the moments at which it refused)."""
    issuer = Issuer(scene, lifetime_s)
    refused = []

    def door(talk):
        if issuer.is_good(talk):
            return talk.answer()
        refused.append(time.monotonic())
        return talk.send(p.answer(refusal, "text/html", PAGE))

    scene.open_endpoint()
    scene.front(door)
    return issuer, refused


def attempts_of(scene, device):
    """The most attempts that a delivery of the device's events took."""
    most = 0
    for event in device.acknowledged:
        status, body = scene.intake().ask("GET", f"/events/{event}?source=fault-ward")
        scene.check(status == 200, f"GET of {event}: {status}")
        most = max([most] + [one["attempts"] for one in json.loads(body)["deliveries"]])
    return most


@row("31a", "tokens of two seconds, for many times that",
     "8 s under load (--long: 60 s); RS384 statements checked by openssl", 12)
def short_tokens(scene):
    """frappe/ecommerce_integrations PR 442, otavanopisto/pyramus 409: fetched once, or by all at once."""
    issuer, refused = behind_a_door(scene, 2)
    scene.start()
    scene.devices_at_work(4, pause_s=0.02)
    time.sleep(60 if scene.long else 8)
    scene.end_devices()
    scene.wait_for("deliveries", scene.is_quiet)
    scene.check(issuer.given >= 4, f"{issuer.given} tokens only")
    scene.check(issuer.asking_max == 1, f"{issuer.asking_max} asked for a token at the same time")
    scene.check(not issuer.faults, f"statements were refused: {issuer.faults[:3]}")
    scene.check(attempts_of(scene, scene.devices[0]) == 1, "an ended token used up an attempt")
    scene.note(f"{issuer.given} tokens, {len(refused)} requests with one that had just ended")


@row("31b", "the issuer is away", "3 s, with tokens of two seconds: delays, and nothing else", 12)
def issuer_down(scene):
    issuer, _ = behind_a_door(scene, 2)
    scene.start()
    scene.devices_at_work(2, pause_s=0.05)
    scene.wait_for("deliveries", lambda: len(scene.arrived()) > 5)
    issuer.peer.close()
    time.sleep(3)
    scene.hears("token")
    scene.check(scene.status()["deliveries"]["on-hold"] == 0, "something is held because the issuer is away")
    issuer.peer.open()


@row("31c", "a token ends before its time",
     "the endpoint forgets all tokens, 3 times: one renewal, one more request", 10)
def forgotten(scene):
    issuer, refused = behind_a_door(scene, 300)
    scene.start()
    device = scene.poster()
    for n in range(4):
        scene.check(device.give(device.event(n)) == 201, "not accepted")
        scene.wait_for("the delivery", scene.is_quiet)
        given = issuer.given
        issuer.end_all()
    scene.check(given == 4, f"{given} tokens for 4 deliveries, each with a token of its own")
    scene.check(len(refused) == 3, f"{len(refused)} refusals")
    scene.check(attempts_of(scene, device) == 1, "an ended token used up an attempt")


@row("31d", "an endpoint that says 400 when a token has ended",
     "tokens of two seconds, 6 s under load: it never comes to that", 10)
def says_400(scene):
    """jsforce/jsforce 130: 400 instead of 401. Renewing early is what helps."""
    _, refused = behind_a_door(scene, 2, refusal=400)
    scene.start()
    scene.devices_at_work(2, pause_s=0.02)
    time.sleep(6)
    scene.end_devices()
    scene.check(not refused, f"{len(refused)} requests with a token that had ended")


def skewed(scene, ahead_s):
    faults = scene.faulty()
    faults.clock_ahead(ahead_s)
    issuer, _ = behind_a_door(scene, 300)
    scene.start()
    scene.send_lines(2, 1, clock_ahead_s=ahead_s)
    scene.wait_for("a word in the log", lambda: scene.log_lines("clock-differs-from-token-endpoint"))
    told = scene.log_lines("clock-differs-from-token-endpoint")[0]["ahead_s"]
    scene.check(abs(told - ahead_s) <= 2, f"the log says {told} s")
    scene.wait_for("the status to say so", lambda: abs(scene.status().get("clock_ahead_s", 0) - ahead_s) <= 2, 20)
    return issuer


@row("31e", "our clock is 90 s ahead of the issuer's",
     "a strict issuer; the log and the status name the difference", 8)
def ahead(scene):
    """keycloak/keycloak 8966, bluesky-social/atproto 4474: refused for a second of difference."""
    issuer = skewed(scene, 90)
    scene.note(f"refused {len(issuer.faults)} times first: {issuer.faults[:1]}")
    scene.wait_for("deliveries", scene.is_quiet, 20)  # not after the pause that a refusal is worth otherwise


@row("31f", "our clock is 90 s behind the issuer's", "a strict issuer; the log and the status name the difference", 8)
def behind(scene):
    issuer = skewed(scene, -90)
    scene.check(not issuer.faults, f"refused: {issuer.faults}")


@row("31g", "a bearer token in a file is replaced", "the endpoint takes the new one only; no restart", 8)
def file_token(scene):
    file = scene.folder / "token"
    file.write_text("first-token\n")
    file.chmod(0o600)
    wanted = ["Bearer first-token"]

    def door(talk):
        if talk.fields().get("authorization") == wanted[0]:
            return talk.answer()
        return talk.send(p.answer(401, "text/html", PAGE))

    scene.set(endpoint_bearer_file=file)
    scene.open(manner=door)
    scene.send_lines(1, 1)
    scene.wait_for("deliveries", scene.is_quiet)
    wanted[0] = "Bearer second-token"
    scene.send_lines(1, 1)
    scene.hears("does not accept our credentials")
    file.write_text("second-token\n")
