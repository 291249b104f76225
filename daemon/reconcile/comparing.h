// A resource as we sent it against the same as the endpoint holds it, by meaning. Pure.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/json/document.h"

namespace dwell::reconcile {

/// A place that does not say what was sent.
struct Difference {
  std::string
      pointer;  ///< JSON Pointer (RFC 6901) into what was sent; what was added: into the other
  /// A text or number itself, an object or array as JSON; empty where there is none.
  std::string sent, held;
};

/// Whom the endpoint finds: a search ("Patient?identifier=...", fhir::ConditionalReference()) and
/// the one resource that it led to ("Patient/17"), or nothing when it did not lead to one.
using Known = std::map<std::string, std::string>;
/// Of a resource of ours that is not there, or more than once: nothing can be said of what is
/// named. That is a finding of its own.
inline constexpr const char* kAmbiguous = "?";

struct Compared {
  std::vector<Difference> differences;
  /// One of them is that a resource names another patient than the one that was sent.
  bool wrong_patient = false;
  /// Searches that are not in `Known` and without which it is not certain whether a reference that
  /// the endpoint resolved is right. Look them up and compare again.
  std::vector<std::string> asks;
};

/// What the endpoint may change is told by the table in allowances.cc. Numbers of the same value
/// and times of the same instant say the same, however written. A reference may be absolute below
/// `base` (the endpoint's base URL, without a slash at its end), may name a version, and may have
/// become literal if it names who is meant; a reference to a patient that names somebody else is
/// the worst that can be found.
Compared Compare(schemas::Value sent, schemas::Value held, const Known& known,
                 std::string_view base);

}  // namespace dwell::reconcile
