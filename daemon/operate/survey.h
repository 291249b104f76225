// What the store is asked for metrics: one short job.
#pragma once

#include "daemon/operate/facts.h"
#include "daemon/store/store.h"

namespace dwell::operate {

/// To be run in a job of the writer. Reads counts that are kept, the first row of an index and two
/// lists of at most a few hundred rows. Errors: the store's.
Result<StoreFacts> Survey(store::Store& store);

}  // namespace dwell::operate
