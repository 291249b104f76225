"""What staff do at a line, as ward events (contract version 1, schemas/event/)."""
from dataclasses import dataclass, field
from datetime import timedelta

import hospital as h

SIGNS = ("pain", "erythema", "swelling", "induration", "palpable_cord", "pyrexia", "pus", "leakage")
NO_LINE = {"needed": None, "condition": None, "patency": None}  # a look at a site whose line is out
FLUSH_LOTS = {"fern": "SAL26-114", "heron": "SAL26-121", "quartz": "SAL26-130"}  # each ward opens its own box
ROLES = {"N": "registered-nurse", "D": "physician"}


@dataclass
class Line:
    """A line that the scenario follows. `course` says what is special at its nth round (from 1)."""
    id: str
    ward: str
    bay: str
    bed: str
    patient: str
    kind: str = "peripheral-cannula"
    gauge: int = 20
    place: str = "forearm"
    side: str = "left"
    vein: str = "cephalic"
    inserted: object = None
    removed: object = None
    course: dict = field(default_factory=dict)
    written: int = 0

    def next_id(self, word):
        self.written += 1
        return f"{self.id}-{self.written:02d}-{word}"

    def site(self):
        made = {"place": self.place, "side": self.side}
        if self.vein:
            made["vein"] = self.vein
        return made


def staff(code):
    return {"system": h.STAFF_SYSTEM, "value": code, "role": ROLES[code[0]]}


def event(kind, line, happened, by, /, written_after=2, event_id=None, **body):
    """The members that every event has, then its own. Written down `written_after` minutes later."""
    made = {
        "kind": kind,
        "id": event_id or line.next_id(kind),
        "source": h.SOURCE,
        "happened_at": h.stamp(happened),
        "recorded_at": h.stamp(happened + timedelta(minutes=written_after)),
        "patient": {"system": h.NHS_SYSTEM, "value": line.patient},
        "encounter": {"system": h.STAY_SYSTEM, "value": f"stay-{line.patient[4:9]}"},
        "place": {"ward": line.ward, "bay": line.bay, "bed": line.bed},
        "staff": [staff(by)],
        "line_id": line.id,
    }
    made.update({name: value for name, value in body.items() if value is not None})
    return made


def flush_given(line, swelling="absent", resistance="absent", ml="10"):
    return {"fluid": "sodium-chloride-0.9", "mL": h.Number(ml), "lot": FLUSH_LOTS[line.ward], "expiry": "2028-03",
            "checked_by_two": "yes", "swelling": swelling, "resistance": resistance}


def preparation(touched="no"):
    return {
        "identity_checked": "yes", "consent": "yes", "hands_decontaminated": "yes", "gloves": "yes",
        "apron": "yes", "equipment_in_date": "yes", "surface_cleaned": "yes",
        "surface_dried_min": h.Number("1.5"), "skin_antiseptic": "chlorhexidine-2-alcohol-70",
        "skin_dried_s": h.Number("30"), "site_touched_again": touched, "key_parts_untouched": "yes",
        "hub_disinfected": "yes",
    }


def device(line):
    made = {"kind": line.kind, "lot": f"LT{line.id[-2:]}26", "expiry": "2029-06-30"}
    if line.kind == "peripheral-cannula":
        made.update(gauge=line.gauge, length_mm=h.Number("32"))
    elif line.kind in ("midline", "picc"):
        made.update(french=h.Number("4.0"), length_mm=h.Number("200" if line.kind == "midline" else "450"))
    return made


def placed(line, by, emergency=False, attempts=(), happened=None, **more):
    """A placed insertion with its aseptic steps and first flush."""
    return event(
        "insertion", line, happened or line.inserted, by, outcome="placed", line=device(line), site=line.site(),
        setting="emergency" if emergency else "planned", attempts=list(attempts) or None,
        preparation=preparation(), flush=flush_given(line), blood_on_entry="present", blood_on_advance="present",
        extension={"primed": "yes", "clamped": "yes"}, dressing={"type": "transparent", "condition": "intact"},
        date_label="yes", patient_told="yes", **more)


def failed_attempt(line, happened, place, reason, side="left"):
    return {"site": {"place": place, "side": side, "vein": "cephalic"}, "reason": reason, "at": h.stamp(happened)}


def not_placed(line, happened, by, outcome, reason, attempts=(), **more):
    return event("insertion", line, happened, by, outcome=outcome, reason=reason, setting="planned",
                 attempts=list(attempts) or None, **more)


def site_check(line, happened, by, present=(), unknown=(), grade=None, needed="yes", action=("none",),
               condition="intact", patency="patent", flush=None, **more):
    """A look at the site: the signs named are present or not assessable, all others absent."""
    signs = {sign: "present" if sign in present else "not-assessable" if sign in unknown else "absent"
             for sign in SIGNS}
    return event(
        "site-check", line, happened, by, signs=signs,
        grade=None if grade is None else
        {"scale": "visual-infusion-phlebitis", "version": "1998", "value": grade},
        dressing={"type": "transparent", "condition": condition} if condition else None, patency=patency, flush=flush,
        still_needed=needed, action=list(action), **more)


def flush(line, happened, by, swelling="absent", resistance="absent", ml="5", **more):
    return event("flush", line, happened, by, flush=flush_given(line, swelling, resistance, ml),
                 patency="patent" if swelling == resistance == "absent" else "sluggish", **more)


def dressing_change(line, happened, by, found, **more):
    return event("dressing-change", line, happened, by, found=found, type="transparent", lot="DRS26-09",
                 skin_antiseptic="chlorhexidine-2-alcohol-70", site_cleaned="yes", **more)


def removal(line, happened, by, reason="no-longer-required", present=(), grade=None, laboratory="no", **more):
    signs = {sign: "present" if sign in present else "absent" for sign in SIGNS[:5]}
    return event(
        "removal", line, happened, by, reason=reason, tip_complete="yes", signs=signs,
        grade=None if grade is None else
        {"scale": "visual-infusion-phlebitis", "version": "1998", "value": grade},
        bleeding_stopped="yes", tip_to_laboratory=laboratory, **more)


def retraction(line, happened, by, retracts, reason, **more):
    return event("retraction", line, happened, by, retracts=retracts, reason=reason, **more)
