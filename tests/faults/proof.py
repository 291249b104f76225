"""The account itself: it must see what it is there to see."""
import json

from rows import row

FHIR = "application/fhir+json"


@row("0", "the account sees a loss, a double and an invention", "all three planted, and taken away again", 4)
def account(scene):
    scene.open()
    device = scene.send_lines(1, 1)[0]
    scene.wait_for("deliveries", scene.is_quiet)
    twice = {**scene.resources("Device")[0], "id": "copy"}
    invented = {**scene.resources("Provenance")[0], "id": "invented"}
    invented["entity"][0]["what"]["identifier"]["value"] = "never-sent"
    for resource in (twice, invented):
        status, text = scene.endpoint.ask("PUT", f"/fhir/{resource['resourceType']}/{resource['id']}",
                                          json.dumps(resource), FHIR)
        scene.check(status in (200, 201), f"the endpoint did not take it: {text}")
    device.acknowledged.add("never-delivered")
    outcome, before = scene.outcome, list(scene.outcome.failures)
    scene.account()
    seen, outcome.failures = " ".join(outcome.failures), before
    for words in ("lost: ['never-delivered']", "doubled: [('Device'", "never sent: ['never-sent']"):
        scene.check(words in seen, f"not seen: {words}; seen: {seen}")
    scene.check((outcome.lost, outcome.doubled) == (1, 1), f"lost {outcome.lost}, doubled {outcome.doubled}")
    device.acknowledged.remove("never-delivered")
    for resource in (twice, invented):
        status, text = scene.endpoint.ask("DELETE", f"/fhir/{resource['resourceType']}/{resource['id']}")
        scene.check(status in (200, 204), f"the endpoint did not delete it: {text}")
