// Reading back, on the admin socket: the order read from a request, and what is told. Pure.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/reconcile/run.h"
#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::admin {

/// A point in time: an RFC 3339 date-time with offset, or so long before `now` as a number of days
/// or hours ("3d", "36h"). Empty when it is none.
std::optional<Instant> ReadTime(std::string_view text, Instant now);

/// The order in a "reconcile" request, or what is wrong with it, in words for a person. "since"
/// must be there; "until", "endpoint", "source", "line_id" and "ward" may be. An endpoint that is
/// named, one of `endpoints`, is also looked at for what it never got. With "send":true also who
/// and why, as for other decisions (orders.h); "overwrite":true only with it.
Result<reconcile::Order, std::string> ReadReconcileOrder(schemas::Value request, Instant now,
                                                         const std::vector<std::string>& endpoints);

/// One JSON object with its line end for each finding and each line of which something goes again
/// or that could not be looked at, then how far it is; with the last step of a run also the sums.
///   resource, grade, source, line_id, ward, delivery, accepted_at, changed_since, why,
///   differences [{at, sent, held}], more
///   {"sent":{source, line_id, deliveries [...], resources, left_out}}
///   {"source", "line_id", "trouble"}
///   {"looked_at", "of", "compared", "waiting"}
///   {"sums":{endpoint, lines, compared, wrong_patient, doubled, missing, differs, unreadable,
///   forbidden, changed_since, never_sent, on_its_way, given_up, not_kept, troubles, sent,
///   deliveries}}
/// A finding about a type alone has resource, grade and why. `endpoint` is a name, or empty where
/// there is only one.
std::string ReconcileRows(const reconcile::Step& step, std::string_view endpoint = {});

/// The members of the sums, into an object that is open.
void WriteTally(schemas::JsonWriter& out, const reconcile::Tally& tally);

}  // namespace dwell::admin
