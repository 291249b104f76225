"""What goes wrong with records, and what the right answer is: wrong entries, corrections, repeats,
lateness, contradictions and plain nonsense. The statuses are those of the event contract.
"""
from datetime import timedelta

import bedside as b
import hospital as h
from hospital import local

CREATED, SAME, NOT_JSON, CONFLICT, REFUSED = 201, 200, 400, 409, 422


def wrong_patient(plot):
    wrong = plot.line("fern")
    entry = b.placed(wrong, "N104", happened=local(24, "10:05"))
    plot.send(entry, story="an insertion, written down for the wrong patient")
    plot.send(b.retraction(wrong, local(24, "10:40"), "N104", entry["id"], "wrong-patient"),
              story="noticed and retracted: that line never was")
    right = plot.line("fern", inserted=local(24, "10:05"), removed=local(26, "17:20"))
    plot.send(b.placed(right, "N104", written_after=41), story="and written down for the right one")
    plot.send(b.removal(right, right.removed, "N117"))


def wrong_removal(plot):
    stays = plot.line("heron", inserted=local(22, "18:40"), removed=local(25, "17:05"))
    goes = plot.line("heron", inserted=local(22, "19:05"), removed=local(23, "16:05"))
    plot.send(b.placed(stays, "N228"))
    plot.send(b.placed(goes, "N228"))
    slip = b.removal(stays, local(23, "16:05"), "N203")
    plot.send(slip, story="a removal, written down at the neighbour's line")
    plot.send(b.retraction(stays, local(23, "17:20"), "N203", slip["id"], "wrong-line"),
              story="retracted: the neighbour's line is still in")
    plot.send(b.removal(goes, goes.removed, "N203", written_after=80))
    plot.send(b.removal(stays, stays.removed, "N215"))


def corrections(plot):
    slip = plot.line("quartz", inserted=local(25, "16:10"))
    slip.course = {2: {"grade": 3, "story": "a grade 3 typed at a healthy site"}}
    plot.send(b.placed(slip, "N302"))
    plot.send(b.site_check(slip, local(26, "06:20"), "N302", grade=0, written_after=35,
                           replaces=f"{slip.id}-round-02"), story="corrected to 0: it need not come out")
    early = plot.line("fern", gauge=22, inserted=local(24, "19:10"))
    first = b.placed(early, "N121")
    plot.send(first)
    early.inserted, early.gauge = local(24, "17:10"), 20
    plot.send(b.placed(early, "N121", written_after=200, replaces=first["id"]),
              story="the time of an insertion is corrected by two hours: so is its limit")
    removed = plot.line("heron", inserted=local(23, "10:15"), removed=local(25, "18:05"))
    plot.send(b.placed(removed, "N203"))
    plot.send(b.removal(removed, removed.removed, "N215"))
    wrong = b.flush(removed, local(24, "11:10"), "N203")
    plot.send(wrong)
    plot.send(b.retraction(removed, local(24, "11:30"), "N203", wrong["id"], "not-done"),
              story="a flush that was not given is retracted")


def late_and_out_of_order(plot):
    late = plot.line("heron", inserted=local(24, "16:10"))
    late.course = {1: {"sent": local(25, "07:10"), "written_after": 7,
                       "story": "last night's check arrives after this morning's"}}
    plot.send(b.placed(late, "N203"))
    unknown = plot.line("quartz", inserted=local(25, "18:30"))
    unknown.course = {1: {"story": "a check of a line that nobody has told us about"}}
    plot.send(b.placed(unknown, "N309", written_after=310), story="its insertion is written down five hours late")


def repeats_and_contradictions(plot):
    line = plot.line("quartz", inserted=local(25, "11:10"))
    entry = b.placed(line, "N302")
    plot.send(entry)
    plot.send(entry, SAME, at=local(25, "11:40"), story="the tablet sends it twice: the same answer, nothing new")
    used = b.flush(line, local(25, "17:10"), "N309")
    plot.send(used)
    plot.send(dict(used, note="10 mL, I think"), CONFLICT, at=local(25, "17:30"),
              story="same id, other content: refused")
    plot.send(b.placed(line, "N302", happened=local(25, "12:10")), REFUSED,
              story="a second insertion for a line that is in: refused")
    plot.send(b.removal(line, local(24, "11:10"), "N302", written_after=26 * 60), REFUSED,
              story="a removal before its insertion: refused")
    plot.send(b.flush(line, local(26, "11:10"), "N302", written_after=26 * 60), CREATED)


def nonsense(plot):
    """Events that break the contract. Nothing of them may be stored."""
    line = plot.line("fern", inserted=local(26, "08:20"), removed=local(27, "10:10"))
    plot.send(b.placed(line, "N104"))
    plot.send(b.removal(line, line.removed, "N104"))
    at = local(26, "10:00")
    good = b.site_check(line, local(26, "09:50"), "N104", event_id=f"{line.id}-nonsense", grade=0)
    number = line.patient
    swapped = number[:-1] + str((int(number[-1]) + 1) % 10)
    broken = [
        (REFUSED, {"patient": {"system": h.NHS_SYSTEM, "value": swapped}}, "a patient number with a wrong check digit"),
        (REFUSED, {"happened_at": "2026-10-26T09:50:00"}, "a time without its offset"),
        (REFUSED, {"happened_at": "2026-02-30T09:50:00+00:00"}, "a day that no calendar has"),
        (REFUSED, {"still_neded": "yes"}, "a member misspelt"),
        (REFUSED, {"kind": "site-visit"}, "a kind of event that does not exist"),
        (REFUSED, {"staff": []}, "nobody who did it"),
        (REFUSED, {"happened_at": "2026-10-26T15:00:00+00:00", "recorded_at": "2026-10-26T15:01:00+00:00"},
         "a check in the future"),
    ]
    for number, (status, change, story) in enumerate(broken):
        plot.send(dict(good, **change), status, story, at=at + timedelta(minutes=5 * number))
    plot.send_text(h.dump(good)[:-20], "fern", "site-check", NOT_JSON, "half a message", local(26, "10:50"))


EVERYTHING = (wrong_patient, wrong_removal, corrections, late_and_out_of_order, repeats_and_contradictions, nonsense)


def play(plot):
    for mistake in EVERYTHING:
        mistake(plot)
