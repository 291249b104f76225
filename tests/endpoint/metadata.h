// What the practice endpoint says of itself.
#pragma once

#include "tests/endpoint/desk.h"

namespace practice {

/// The answer to GET [base]/metadata: what this endpoint takes, or what it is told to say instead.
/// Not for kMissing.
HttpResponse Metadata(Telling telling);

}  // namespace practice
