"""The searches that a clinician or a records department would make, and what each must find, worked out here from the
resources that were sent. Search parameters: R4 searchparameter-registry.html."""
from datetime import datetime, timezone

from fhir import name_of, token

OWN = "https://dwelld.example/fhir/CodeSystem/line-care"
SNOMED = "http://snomed.info/sct"
SAMPLES = 4  # lines asked about one by one
BY_PATIENT_NUMBER = "by the patient's number, chained"
DAY = "2026-10-26T00:00:00Z"


def codings(concept):
    return {(coding.get("system"), coding.get("code")) for coding in concept.get("coding", ())}


def references(part):
    return {one["reference"] for one in (part if isinstance(part, list) else [part]) if "reference" in one}


class Sent:
    """The newest version of each resource that was sent, by "Type/id"."""

    def __init__(self, newest):
        self.newest = newest

    def of(self, kind):
        return [resource for name, resource in sorted(self.newest.items()) if name.startswith(kind + "/")]

    def where(self, kind, holds):
        return {name_of(resource) for resource in self.of(kind) if holds(resource)}


def has_status(status):
    return lambda resource: resource["status"] == status


def has_code(member, system, code):
    return lambda resource: (system, code) in codings(resource.get(member, {}))


def both(*holds):
    return lambda resource: all(one(resource) for one in holds)


def from_lot(system, lot):
    """Observations with a component whose value is the lot."""
    return lambda resource: any((system, lot) in codings(component.get("valueCodeableConcept", {}))
                                for component in resource.get("component", ()))


def lots(sent):
    """(system, lot) of every flush lot that was sent."""
    return sorted({coding for resource in sent.of("Observation") for component in resource.get("component", ())
                   if (OWN, "flush-lot") in codings(component["code"])
                   for coding in codings(component.get("valueCodeableConcept", {}))})


def not_before(moment):
    at = datetime.fromisoformat(moment.replace("Z", "+00:00"))
    return lambda resource: datetime.fromisoformat(resource["effectiveDateTime"]).astimezone(timezone.utc) >= at


def by_reference(kind, parameter, member, target):
    """One search for each of some targets of that type."""
    def cases(sent):
        for name in [name_of(resource) for resource in sent.of(target)][:SAMPLES]:
            yield (f"{kind}?{parameter}={name}",
                   sent.where(kind, lambda resource: name in references(resource.get(member, []))))
    return cases


def by_identifier(kind, wanted):
    """One search for each of some identifiers whose system ends with that word."""
    def cases(sent):
        found = sorted({(i["system"], i["value"]) for resource in sent.of(kind) for i in resource["identifier"]
                        if i["system"].endswith(wanted)})
        for system, value in found[:SAMPLES]:
            yield (f"{kind}?identifier={token(system, value)}", sent.where(kind, lambda resource: any(
                i["system"] == system and i["value"] == value for i in resource["identifier"])))
    return cases


def by_patient_number(kind, modifier):
    """The patient by the number that every reference of ours carries."""
    def cases(sent):
        member = {"Device": "patient", "Task": "for"}.get(kind, "subject")
        number = sent.of("DeviceUseStatement")[0]["subject"]["identifier"]
        yield (f"{kind}?patient{modifier}={token(number['system'], number['value'])}",
               sent.where(kind, lambda resource: resource[member]["identifier"] == number))
    return cases


def flush_lot(parameter):
    """All flushed from one lot, for every lot; and for a lot that nobody used, none."""
    def cases(sent):
        known = lots(sent)
        for system, lot in known + [(known[0][0], "LOT-OF-NOBODY")]:
            code = f"{token(OWN, 'flush-lot')}$" if parameter.startswith("component-code") else ""
            yield (f"Observation?{parameter}={code}{token(system, lot)}",
                   sent.where("Observation", from_lot(system, lot)))
    return cases


def plain(query, kind, holds):
    return lambda sent: [(f"{kind}?{query}", sent.where(kind, holds))]


def by_device_number(sent):
    """Every device identifier of a UDI."""
    numbers = {carrier["deviceIdentifier"] for device in sent.of("Device") for carrier in device.get("udiCarrier", ())
               if "deviceIdentifier" in carrier}
    for number in sorted(numbers):
        yield (f"Device?udi-di={number}", sent.where("Device", lambda device: any(
            carrier.get("deviceIdentifier") == number for carrier in device.get("udiCarrier", ()))))


SECURITY = "http://terminology.hl7.org/CodeSystem/v3-ActReason"

DEMO = {  # what it is for: cases of the demo's resources
    "lines in place now": plain("status=active", "Device", has_status("active")),
    "not due yet": plain("status=requested", "Task", has_status("requested")),
    "due now": plain("status=ready", "Task", has_status("ready")),
    "overdue, by rule": plain(f"business-status={token(OWN, 'overdue')}&code={token(OWN, 'site-check-due')}", "Task",
                              both(has_code("businessStatus", OWN, "overdue"), has_code("code", OWN, "site-check-due"))),
    "withdrawn": plain("status=entered-in-error", "Task", has_status("entered-in-error")),
    "what is due for a line": by_reference("Task", "focus", "focus", "DeviceUseStatement"),
    "what was seen at a line": by_reference("Observation", "focus", "focus", "Device"),
    "grades of a score": plain(f"code={token(OWN, 'visual-infusion-phlebitis')}", "Observation",
                               has_code("code", OWN, "visual-infusion-phlebitis")),
    "dwell times since a day": plain(f"code={token(OWN, 'dwell-time')}&date=ge{DAY}", "Observation",
                                     both(has_code("code", OWN, "dwell-time"), not_before(DAY))),
    "all flushed from one lot": flush_lot("component-value-concept"),
    "all flushed from one lot, by pair": flush_lot("component-code-value-concept"),
    "dwell record of a line": by_reference("DeviceUseStatement", "device", "device", "Device"),
    "a line by its own number": by_identifier("Device", "/line"),
    "a dwell record by its line's number": by_identifier("DeviceUseStatement", "/line"),
    "a procedure by its number": by_identifier("Procedure", "/resource"),
    "insertions": plain(f"code={token(SNOMED, '429446009')}", "Procedure", has_code("code", SNOMED, "429446009")),
    "part of a procedure": by_reference("Observation", "part-of", "partOf", "Procedure"),
    "where a record came from": by_reference("Provenance", "target", "target", "Observation"),
    "test data": plain(f"_security={token(SECURITY, 'HTEST')}", "Observation", lambda resource: any(
        label["code"] == "HTEST" for label in resource["meta"].get("security", ()))),
    "dwell records by patient number": by_patient_number("DeviceUseStatement", ":identifier"),
    "procedures by patient number": by_patient_number("Procedure", ":identifier"),
    "observations by patient number": by_patient_number("Observation", ":identifier"),
}

GOLDEN = {  # of the golden pairs with a scanned device identifier
    "a device by its UDI": by_device_number,
}
