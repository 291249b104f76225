"""What is personal or secret, planted everywhere, must not turn up where people look who need not know."""
import json
import re

import peer as p
from certificates import Authority
from intake import ask, post, status_of
from issuer import Issuer
from rows import row
from tls import server_side

PATIENT = "9990012341"


def planted(device, event):
    """The event with a canary in every field that may hold free text; and all the canaries."""
    canaries = {"note": "canary-note", "patient": event["patient"]["value"], "staff": "canary-staff",
                "ward": "canary-ward", "bay": "canary-bay", "bed": "canary-bed", "extra": "canary-extra",
                "encounter": "canary-encounter"}
    filled = {**event, "note": "canary-note \r\n\"}{ \u202e", "extra": {"canary-extra-name": "canary-extra"},
              "place": {"ward": "canary-ward", "bay": "canary-bay", "bed": "canary-bed"},
              "encounter": {"system": "https://faults.example/stay", "value": "canary-encounter"},
              "staff": [{"system": "https://faults.example/staff", "value": "canary-staff"}]}
    device.sent[filled["id"]] = filled
    return filled, canaries


@row("30", "personal data and secrets in logs and listings",
     "canaries in every field, head, address, token and answer", 12)
def canaries(scene):
    """The log has one JSON object a line and nothing planted; the listings name events and lines, not people."""
    authority = Authority(scene.folder, "authority")
    issuer = Issuer(scene, 2)
    scene.set(endpoint_ca_file=authority.file)
    scene.open_endpoint()
    outcome = json.dumps({"resourceType": "OperationOutcome", "issue": [
        {"severity": "error", "code": "processing", "diagnostics": "canary-outcome canary-note " + PATIENT}]})
    page = f"<p>canary-outcome {PATIENT}\n{{\"level\":\"error\"}}</p>"
    bad = [p.answer(503, "text/html", page, "Retry-After: canary-outcome\r\n"), p.answer(401, "text/html", page),
           p.answer(422, "application/fhir+json", outcome), b"HTTP/1.1 canary-outcome\r\n\r\n"]

    def complain(talk):
        if issuer.is_good(talk) and talk.number > len(bad):
            return talk.answer()
        talk.send(bad[(talk.number - 1) % len(bad)])
        return False

    peer = scene.front(complain, server_side(*authority.issue("endpoint")), name="localhost")
    scene.start()
    device = scene.poster()
    texts = set()
    for n in (0, 5, 10):  # three lines
        event, planted_here = planted(device, device.event(n))
        texts |= set(planted_here.values())
        answer, _ = ask(scene, post(json.dumps(event), "X-Canary: canary-head\r\nAuthorization: canary-head\r\n"))
        if scene.check(status_of(answer) == 201, f"not taken: {answer[-300:]!r}"):
            device.acknowledged.add(event["id"])
    for wrong in (post(json.dumps({**device.event(1), "note": "canary-note", "canary-name": PATIENT})),
                  post('{"canary-name": ' + PATIENT), b"GET /canary-address?patient=" + PATIENT.encode() +
                  b" HTTP/1.1\r\nHost: canary-head\r\nConnection: close\r\n\r\n"):
        ask(scene, wrong)
    scene.wait_for("the hold", lambda: scene.status()["deliveries"]["on-hold"] >= 1)
    scene.wait_for("the peer to be well again", lambda: peer.posts > len(bad) + 1, 60)
    told = {"the status": json.dumps(scene.rows("status")), "the queue": json.dumps(scene.rows("queue"))}
    code, told["dwell status"] = scene.dwell("status")
    code, told["dwell queue"] = scene.dwell("queue")
    scene.check(code == 0, "dwell queue does not work")
    _, told["/livez and /readyz"] = scene.intake().ask("GET", "/readyz")
    for path in ("/livez?verbose", "/readyz?verbose", "/metrics"):
        _, told[path] = scene.operations().ask("GET", path)
    scene.check("dwelld_bundles" in told["/metrics"], "there are no metrics")
    told["the log"] = scene.log.read_text(errors="replace")
    texts |= {PATIENT, "canary-head", "canary-outcome", "canary-name", "canary-address", "canary-token",
              "canary-extra-name", "PRIVATE KEY"}
    for where, text in told.items():
        found = sorted(one for one in texts if one in text)
        scene.check(not found, f"{where}: {found}")
        scene.check(not re.search(r"eyJ[\w-]{20,}\.", text), f"{where}: a signed statement")
    scene.check(all(isinstance(line, dict) for line in scene.log_lines()), "a line of the log is not one JSON object")
    for held in [one for one in scene.queue() if one["state"] == "on-hold"]:
        code, text = scene.dwell("release", str(held["delivery"]), "--by", "N1", "--why", "well again")
        scene.check(code == 0, f"release: {text}")
    scene.note(f"{len(texts)} canaries")


@row("28", "line ends and control characters on their way into a header",
     "in every text field; the heads that the peer gets", 6)
def splitting(scene):
    """What goes out in a head is only of our own making: nothing of an event is in it."""
    peer = scene.open(manner=p.honest)
    device = scene.poster()
    event = device.event(0)
    nasty = "a\r\nX-Injected: yes\r\n\r\nGET / HTTP/1.1"
    for place in ({"ward": nasty}, {"ward": "W", "bed": nasty}):
        ask(scene, post(json.dumps({**event, "id": nasty, "place": place})))
    for changed in ({"note": nasty}, {"line_id": nasty}, {"source": nasty},
                    {"patient": {"system": event["patient"]["system"], "value": nasty}}):
        body = {**event, **changed, "id": f"{event['id']}"}
        answer, _ = ask(scene, post(json.dumps(body)))
        if status_of(answer) == 201:
            device.sent[body["id"]] = body
            device.acknowledged.add(body["id"])
    scene.check(device.give(device.event(5)) == 201, "an ordinary event is not taken")
    scene.wait_for("deliveries", scene.is_quiet)
    wanted = {"host", "accept", "accept-encoding", "content-type", "content-length", "prefer", "user-agent",
              "x-request-id"}
    for head in peer.heads:
        names = {line.partition(":")[0].lower() for line in head.split("\r\n")[1:]}
        scene.check(names <= wanted, f"a head has {sorted(names - wanted)}")
        scene.check("Injected" not in head, "a head was split")
