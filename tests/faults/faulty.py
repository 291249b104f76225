"""Drives faulty_system.cc: the wall clock, the failing system calls and the free space of one daemon."""
import errno
import mmap
import struct

CALLS = {"sync": 1, "write": 2, "truncate": 3, "read": 4, "open": 5}
# As struct Control of faulty_system.cc.
FIELDS = ("clock_ahead_ms", "call", "first", "count", "error", "seen", "failed", "free_bytes", "clock_vouched",
          "stalls")
BYTES = 8 * len(FIELDS)
ALL = 1 << 40  # more calls than there will be


class Faulty:
    def __init__(self, library, path):
        self.library = library
        path.write_bytes(bytes(BYTES))
        with path.open("r+b") as file:
            self.memory = mmap.mmap(file.fileno(), BYTES)
        self.environment = {"LD_PRELOAD": str(library), "DWELL_FAULTS": str(path)}
        self.free_bytes(None)

    def write(self, field, number):
        struct.pack_into("q", self.memory, 8 * FIELDS.index(field), number)

    def read(self, field):
        return struct.unpack_from("q", self.memory, 8 * FIELDS.index(field))[0]

    def clock_ahead(self, seconds, vouched=False):
        """`vouched`: a time service says that it is right so."""
        self.write("clock_vouched", int(vouched))
        self.write("clock_ahead_ms", int(seconds * 1000))

    def free_bytes(self, number):
        """What the system says of the store's free space; None: the truth."""
        self.write("free_bytes", -1 if number is None else number)

    def stall(self, stalls=True):
        """Syncs of the store's files take until this is taken back."""
        self.write("stalls", int(stalls))

    def arm(self, call, first=1, count=1, error=errno.EIO):
        """The `first`th next call of that sort on the store's files fails, and `count` from there."""
        self.write("call", 0)
        for field, number in (("seen", 0), ("failed", 0), ("first", first), ("count", count), ("error", error)):
            self.write(field, number)
        self.write("call", CALLS[call])

    def disarm(self):
        self.write("call", 0)

    def seen(self):
        return self.read("seen")

    def failed(self):
        return self.read("failed")
