"""The invented hospital of the practice ward: its zone, rounds, patients, staff, and how it writes events.

Nothing here is real. Patient numbers come from the range that the NHS never issues, with right check
digits (rule: NHS Data Model and Dictionary, NHS NUMBER); staff codes use a reserved example domain.
"""
import json
import re
from datetime import datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

NAME = "Thistlewick Infirmary"
SOURCE = "thistlewick-wards"
SITE_NAMESPACE = "https://thistlewick.example/lines"
ZONE = ZoneInfo("Europe/London")
NHS_SYSTEM = "https://fhir.nhs.uk/Id/nhs-number"
STAFF_SYSTEM = "https://staff.example/thistlewick"
STAY_SYSTEM = "https://thistlewick.example/stay"
ROUNDS = (time(6), time(14), time(22))

WARDS = {  # code: (what it is, the staff who do most of the work there)
    "fern": ("Fern, medicine", ("N104", "N117", "N121")),
    "heron": ("Heron, surgery", ("N203", "N215", "N228")),
    "quartz": ("Quartz, admissions", ("N302", "N309", "D041")),
}


def local(day, clock, fold=0):
    """The instant of a wall time in October 2026; `fold` 1 is the second 01:30 of the 25th.

    Every instant in these scripts is kept on the UTC line: arithmetic on wall times is not elapsed time.
    """
    hour, minute = clock.split(":")
    wall = datetime(2026, 10, day, int(hour), int(minute), tzinfo=ZONE, fold=fold)
    return wall.astimezone(timezone.utc)


def stamp(moment):
    """RFC 3339 with the offset at the hospital, as its devices write it."""
    return moment.astimezone(ZONE).isoformat(timespec="seconds")


def stamp_utc(moment):
    """RFC 3339 in UTC, as the program writes it."""
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def next_round(after):
    """The first round strictly after an instant: wall time, whatever the length of the night."""
    day = after.astimezone(ZONE).date()
    while True:
        for clock in ROUNDS:
            at = datetime.combine(day, clock, ZONE).astimezone(timezone.utc)
            if at > after:
                return at
        day += timedelta(days=1)


def check_digit(nine):
    """The tenth digit of an NHS number, or None when there is none for these nine."""
    total = sum(int(digit) * weight for digit, weight in zip(nine, range(10, 1, -1)))
    digit = (11 - total % 11) % 11
    return None if digit == 10 else str(digit)


def nhs_numbers():
    """Test numbers in rising order, from 999 000 1xxx on."""
    nine = 999_000_100
    while True:
        digit = check_digit(str(nine))
        if digit is not None:
            yield f"{nine}{digit}"
        nine += 1


class Number:
    """A number that must keep its text: Number("2.50") is written 2.50."""

    def __init__(self, text):
        self.text = text


def dump(event):
    """One line of JSON, as a ward device would send it."""
    text = json.dumps(event, ensure_ascii=False, separators=(",", ":"),
                      default=lambda number: f"\u0001{number.text}\u0001")
    return re.sub(r'"\\u0001([0-9.]+)\\u0001"', r"\1", text)
