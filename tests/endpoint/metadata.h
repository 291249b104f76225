// What the practice endpoint says of itself.
#pragma once

#include "tests/endpoint/desk.h"

namespace practice {

/// The answer to GET [base]/metadata: what an endpoint of those manners takes, or what it is told
/// to say instead. Not for Telling::kMissing.
HttpResponse Metadata(const Manners& manners);

}  // namespace practice
