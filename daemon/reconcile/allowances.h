// What an endpoint may change in a resource of ours without having changed what it says: one table,
// each row with its reason. Everything that is not in it is a difference. Pure.
#pragma once

#include <string_view>

namespace dwell::reconcile {

/// `place` is a JSON Pointer with "*" for every index: "/meta/tag/*/system".

/// Whether the endpoint may write, change or leave out what stands at the place, and all below it.
bool MayDiffer(std::string_view place);
/// Whether it may add a member or an entry of a list at the place, of which we sent nothing.
bool MayAdd(std::string_view place);
/// Whether the order of the list at the place says nothing.
bool IsUnordered(std::string_view place);

}  // namespace dwell::reconcile
