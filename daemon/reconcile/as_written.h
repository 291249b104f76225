// A resource as it was accepted -> how it is asked for at an endpoint that is written to in a
// style, and what it then says there. Pure.
#pragma once

#include <string>

#include "daemon/delivery/write_style.h"
#include "daemon/ledger/accepted.h"

namespace dwell::reconcile {

struct AsWritten {
  std::string search;  ///< "Type?identifier=..." or "Type?_tag=..."; empty: by its id
  /// What the endpoint was given. References that it resolves within a transaction stand as they
  /// are written outside of one, by identifier: a comparison takes either. Empty: the stored form
  /// is none of ours.
  std::string json;
  bool is_final = false;  ///< it is created once; sent again, it changes nothing that is there
};

AsWritten WrittenBy(const ledger::Accepted& accepted, delivery::Interaction interaction,
                    delivery::Identity identity);

}  // namespace dwell::reconcile
