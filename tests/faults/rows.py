"""The table itself: what rows there are, and what became of one."""
from dataclasses import dataclass, field

ROWS = []


class NotTried(Exception):
    """This machine or this user cannot try the row; the text says why."""


@dataclass
class Row:
    number: str
    hazard: str
    how: str
    act: object = None  # takes a Scene; None: nothing is tried here
    seconds: float = 5  # about so long it takes: the longest start first
    suite: str = ""     # a file of the tree that tests it instead, and the name of the test
    test: str = ""
    why_not: str = ""


@dataclass
class Outcome:
    number: str
    verdict: str  # "passed", "failed", "not tried"
    accepted: int = 0
    delivered: int = 0
    lost: int = 0
    doubled: int = 0
    seconds: float = 0
    failures: list = field(default_factory=list)
    notes: list = field(default_factory=list)


def row(number, hazard, how, seconds=5):
    """Makes a function that takes a Scene a row of the table."""
    def enter(act):
        ROWS.append(Row(number, hazard, how, act, seconds))
        return act
    return enter


def elsewhere(number, hazard, suite, test):
    ROWS.append(Row(number, hazard, "", suite=suite, test=test))


def not_tried(number, hazard, why):
    ROWS.append(Row(number, hazard, "", why_not=why))


def order(number):
    """"2" before "10a"."""
    digits = "".join(c for c in number if c.isdigit())
    return int(digits), number
