"""Tells the play in a form that a person can follow: shift by shift, the highlights and the counts."""
from collections import Counter

import hospital as h

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
OVERDUE_SHOWN = 4


def wall(moment):
    return moment.astimezone(h.ZONE).strftime("%H:%M")


class Story:
    """Prints one block per shift; quiet where nothing special happened."""

    def __init__(self, out=print):
        self.out = out
        self.counts = Counter()

    def shift(self, moment):
        here = moment.astimezone(h.ZONE)
        self.out(f"\n{DAYS[here.weekday()]} {here.day} October, from {here:%H:%M} ({here:%Z})")

    def answers(self, moment, answered):
        """What was sent at this moment, and what the daemon said."""
        for entry, status, _ in answered:
            self.counts[entry["kind"]] += 1
            self.counts["taken" if status < 300 else "refused"] += 1
            if entry["story"]:
                self.out(f"  {wall(moment)}  {entry['ward']:7} {entry['kind']:15} {status}  {entry['story']}")

    def happening(self, moment, text):
        self.out(f"  {wall(moment)}  {text}")

    def end_of_shift(self, overdue, delivered, waiting):
        kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self.counts.items())
                          if kind not in ("taken", "refused"))
        self.out(f"         sent: {kinds or 'nothing'}; taken {self.counts['taken']}, refused {self.counts['refused']}")
        if overdue:
            shown = "; ".join(overdue[:OVERDUE_SHOWN])
            more = len(overdue) - OVERDUE_SHOWN
            self.out(f"         overdue: {shown}" + (f"; and {more} more" if more > 0 else ""))
        self.out(f"         delivered so far {delivered}, waiting {waiting}")
        self.counts.clear()
