"""The lines with a story: one small function each, told in the order of its events.

A line's `course` says what its nth round finds; scenario.py goes the rounds.
"""
from datetime import timedelta

import bedside as b
import hospital as h
from hospital import local


def nobody_came(line, at):
    """Rounds that were cut short: Fern on Saturday afternoon, Heron on the last one."""
    if line.ward == "fern" and at == local(24, "14:00"):
        return line.id > "L12"
    return line.ward == "heron" and at == local(27, "14:00") and line.id > "L30"


def swelling_on_first_flush(plot):
    line = plot.line("heron", gauge=22, side="right", inserted=local(22, "08:20"), removed=local(24, "16:35"))
    tried = b.failed_attempt(line, local(22, "08:12"), "dorsum-of-hand", "swelling-on-flush")
    plot.send(b.placed(line, "N203", attempts=[tried]),
              story="first stab at the left hand swells on flushing; the second, right forearm, holds")
    plot.send(b.removal(line, line.removed, "N215"))


def two_stabs_then_a_doctor(plot):
    line = plot.line("quartz", gauge=18, place="antecubital-fossa", vein="basilic",
                     inserted=local(22, "09:40"), removed=local(25, "08:10"))
    tried = [b.failed_attempt(line, local(22, "09:10"), "dorsum-of-hand", "no-flashback"),
             b.failed_attempt(line, local(22, "09:20"), "wrist", "vein-lost")]
    plot.send(b.placed(line, "D041", attempts=tried), story="two failed attempts, then a doctor places it")
    plot.send(b.removal(line, line.removed, "N302"),
              story="out after 71.5 hours: the clocks went back in between, and the limit counts hours")


def never_got_in(plot):
    line = plot.line("fern")
    at = local(23, "11:05")
    tried = [b.failed_attempt(line, at - timedelta(minutes=12), "dorsum-of-hand", "vein-lost"),
             b.failed_attempt(line, at - timedelta(minutes=5), "forearm", "no-flashback")]
    plot.send(b.not_placed(line, at, "N104", "failed", "vein-not-found", tried),
              story="both attempts fail; a midline is asked for")
    midline = plot.line("fern", kind="midline", place="upper-arm", vein="basilic", side="right",
                        patient=line.patient, inserted=local(23, "15:30"))
    plot.send(b.placed(midline, "D041"), story="the midline goes in")


def declined_and_not_attempted(plot):
    plot.send(b.not_placed(plot.line("fern"), local(22, "16:10"), "N117", "declined", "patient-declined"),
              story="the patient declines a cannula")
    plot.send(b.not_placed(plot.line("heron"), local(23, "09:10"), "N228", "not-attempted", "vein-not-found"),
              story="no vein fit to try: not attempted")


def emergencies(plot):
    good = plot.line("quartz", gauge=16, place="antecubital-fossa", vein="basilic",
                     inserted=local(22, "07:25"), removed=local(23, "06:55"))
    plot.send(b.placed(good, "D041", emergency=True), story="placed in an emergency: 24 hours, not 72")
    plot.send(b.removal(good, good.removed, "N302", reason="time-expired"), story="and out in time")
    late = plot.line("quartz", gauge=16, inserted=local(23, "02:15"), removed=local(24, "05:20"))
    plot.send(b.placed(late, "D041", emergency=True), story="another emergency, at night")
    plot.send(b.removal(late, late.removed, "N309", reason="time-expired"), story="out three hours over its limit")


def phlebitis_rises(plot):
    line = plot.line("fern", inserted=local(22, "10:15"), removed=local(23, "23:10"))
    line.course = {3: {"present": ("erythema",), "grade": 1, "action": ("observe",), "story": "slight redness, grade 1"},
                   4: {"present": ("erythema",), "grade": 1, "action": ("observe",)},
                   5: {"present": ("pain", "erythema"), "grade": 2, "action": ("remove-planned",),
                       "story": "pain and redness, grade 2: it must come out now"}}
    plot.send(b.placed(line, "N104"))
    plot.send(b.removal(line, line.removed, "N121", reason="phlebitis", present=("pain", "erythema"), grade=2),
              story="removed for phlebitis within the hour")


def phlebitis_after_a_missed_round(plot):
    line = plot.line("heron", inserted=local(22, "11:30"), removed=local(23, "15:05"))
    signs = ("pain", "erythema", "induration")
    line.course = {3: {"missed": True},
                   4: {"present": signs, "grade": 3, "action": ("remove-planned", "physician-told"),
                       "story": "nobody looked in the morning; now grade 3"}}
    plot.send(b.placed(line, "N203"))
    plot.send(b.removal(line, line.removed, "N215", reason="phlebitis", present=signs, grade=3, laboratory="yes"),
              story="removed, tip to the laboratory")
    plot.send(b.site_check(line, local(24, "10:20"), "N203", present=("pain",), grade=1, **b.NO_LINE),
              story="the site is looked at again the day after")


def swelling_later(plot):
    line = plot.line("quartz", inserted=local(23, "08:45"), removed=local(23, "18:50"))
    plot.send(b.placed(line, "N302"))
    plot.send(b.flush(line, local(23, "18:20"), "N309", swelling="present", resistance="present"),
              story="swelling on flush: the line has failed")
    plot.send(b.removal(line, line.removed, "N309", reason="infiltration", present=("swelling",)))

    seen = plot.line("heron", inserted=local(24, "09:15"), removed=local(24, "22:55"))
    seen.course = {2: {"present": ("swelling",), "grade": None, "infiltration_grade": 1, "patency": "sluggish",
                       "flush": b.flush_given(seen, "present", "present", "2.50"), "action": ("remove-planned",),
                       "story": "swells on the flush of the round"}}
    plot.send(b.placed(seen, "N215"))
    plot.send(b.removal(seen, seen.removed, "N215", reason="infiltration", present=("swelling",)))


def not_assessable(plot):
    line = plot.line("quartz", inserted=local(24, "01:20"), removed=local(26, "11:00"))
    line.course = {1: {"unknown": ("pain",), "grade": None, "story": "sedated: pain cannot be assessed"},
                   2: {"unknown": ("pain", "induration", "erythema"), "grade": None},
                   3: {"unknown": ("pain",), "present": ("erythema",), "grade": 1, "action": ("observe",)}}
    plot.send(b.placed(line, "N309"))
    plot.send(b.removal(line, line.removed, "N302"))


def dressings(plot):
    line = plot.line("fern", inserted=local(23, "12:30"), removed=local(26, "10:30"))
    line.course = {3: {"condition": "damp", "action": ("observe",), "story": "the dressing is damp"},
                   6: {"condition": "loose", "action": ("observe",), "story": "loose again, and nobody has time"}}
    plot.send(b.placed(line, "N117"))
    plot.send(b.dressing_change(line, local(24, "06:50"), "N104", "damp"))
    plot.send(b.dressing_change(line, local(25, "11:20"), "N104", "loose"))
    plot.send(b.removal(line, line.removed, "N104", reason="time-expired"))


def central_lines(plot):
    """Lines whose dressing, not whose dwell, has a limit; one was in before anybody told us."""
    picc = plot.line("fern", kind="picc", place="upper-arm", vein="basilic", side="right", inserted=local(16, "11:00"))
    picc.course = {1: {"missed": True}}
    plot.send(b.placed(picc, "D041", written_after=6 * 24 * 60 - 130),
              story="a PICC that went in six days ago is told only now")
    plot.send(b.dressing_change(picc, local(23, "10:20"), "N104", "intact"), story="its dressing is changed in time")
    theatre = plot.line("heron", kind="cvc", place="neck", vein="internal-jugular", side="right",
                        inserted=local(22, "15:30"), removed=local(26, "12:15"))
    plot.send(b.placed(theatre, "D041"))
    plot.send(b.removal(theatre, theatre.removed, "D041"))
    artery = plot.line("quartz", kind="arterial-line", place="wrist", vein="",
                       inserted=local(24, "15:10"), removed=local(26, "16:20"))
    plot.send(b.placed(artery, "D041"))
    plot.send(b.removal(artery, artery.removed, "D041"))


def a_kind_nobody_has_rules_for(plot):
    line = plot.line("quartz", kind="intraosseous-needle", place="lower-leg", vein="",
                     inserted=local(26, "03:10"), removed=local(26, "09:05"))
    plot.send(b.placed(line, "D041", emergency=True), story="a kind of line that no policy knows: a person must decide")
    plot.send(b.removal(line, line.removed, "D041"))


def out_too_late(plot):
    line = plot.line("heron", inserted=local(22, "13:10"), removed=local(25, "16:40"))
    plot.send(b.placed(line, "N228"))
    plot.send(b.removal(line, line.removed, "N203", reason="time-expired"), story="out four and a half hours late")
    forgotten = plot.line("fern", inserted=local(23, "17:30"))
    plot.send(b.placed(forgotten, "N117"), story="this one is forgotten")


def no_longer_needed(plot):
    line = plot.line("fern", inserted=local(24, "08:05"), removed=local(25, "17:10"))
    line.course = {4: {"needed": "no", "action": ("remove-planned",), "story": "no longer needed: out with it"}}
    plot.send(b.placed(line, "N104"))
    plot.send(b.removal(line, line.removed, "N121"))
    blocked = plot.line("quartz", inserted=local(25, "19:10"), removed=local(26, "15:15"))
    blocked.course = {3: {"patency": "blocked", "action": ("remove-planned",)}}
    plot.send(b.placed(blocked, "N302"))
    plot.send(b.removal(blocked, blocked.removed, "N302", reason="occlusion"))


def night_of_the_clocks(plot):
    first = plot.line("quartz", gauge=18, inserted=local(25, "01:30"), removed=local(26, "00:20"))
    plot.send(b.placed(first, "D041", emergency=True), story="01:30, summer time: an emergency")
    plot.send(b.removal(first, first.removed, "N309", reason="time-expired"))
    second = plot.line("heron", inserted=local(25, "01:30", fold=1))
    plot.send(b.placed(second, "N215"), story="01:30 again, an hour later: the clocks went back")


EVERYONE = (swelling_on_first_flush, two_stabs_then_a_doctor, never_got_in, declined_and_not_attempted, emergencies,
            phlebitis_rises, phlebitis_after_a_missed_round, swelling_later, not_assessable, dressings, central_lines,
            a_kind_nobody_has_rules_for, out_too_late, no_longer_needed, night_of_the_clocks)


def play(plot):
    for story in EVERYONE:
        story(plot)
