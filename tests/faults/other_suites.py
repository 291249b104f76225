"""Hazards that other suites cover, and those that cannot be tried here."""
from rows import elsewhere, not_tried

not_tried("3", "power loss: what was not synced is gone", "needs a disk that forgets; the simulator's part")
elsewhere("7", "the queue is full", "tests/daemon/ledger/answers_test.cc",
          "AFullQueuePutsEventsOffUntilSomethingIsDelivered")
elsewhere("36", "an older store is brought to this version", "tests/daemon/store/file_test.cc",
          "MigrationStepsRunInOrderEachWhole")
not_tried("29b", "the endpoint's name leads to an address that no request should go to",
          "there is no list of allowed addresses: the endpoint is whatever the configuration says")
not_tried("38", "half an hour at full speed under changing moods", "takes half an hour: tests/bench/soak --minutes 30")
