#include "daemon/reconcile/allowances.h"

#include <algorithm>
#include <array>
#include <cstdint>

namespace dwell::reconcile {
namespace {

enum class May : std::uint8_t { kDiffer, kAdd, kAddAndOrder, kOrder };

struct Row {
  std::string_view place;  ///< from the root, or, without a slash in front, at any depth
  May may;
  std::string_view why;  ///< sources are pages of FHIR R4; R4B and R5 say the same
};

constexpr std::array kRows = {
    Row{"/meta/versionId", May::kDiffer, "the endpoint counts its versions (resource.html#Meta)"},
    Row{"/meta/lastUpdated", May::kDiffer, "the endpoint's own time (resource.html#Meta)"},
    Row{"/meta/source", May::kDiffer,
        "how it is used is left to implementers (resource.html#Meta), and servers put their own "
        "request there; the source also stands in the identifiers"},
    Row{"/meta/tag", May::kAddAndOrder, "labels for workflow, not content (resource.html#tag)"},
    Row{"/meta/security", May::kAddAndOrder,
        "the endpoint may protect further; ours must still be there (security-labels.html)"},
    Row{"/meta/profile", May::kAddAndOrder,
        "a claim that the endpoint may add; ours must still be there (resource.html#Meta)"},
    Row{"/text", May::kDiffer,
        "ours is generated from the data, which are compared (narrative.html); servers make their "
        "own or keep none"},
    Row{"/identifier", May::kAddAndOrder,
        "a record may number what it holds; ours must still be there. Common practice, no source"},
    Row{"extension", May::kAddAndOrder,
        "an extension may not change what the element says; a modifierExtension may, and has no "
        "row (extensibility.html)"},
    Row{"id", May::kAdd, "inside an element: a target for links (element.html)"},
    Row{"coding", May::kOrder,
        "several codings say the same in several systems (datatypes.html#CodeableConcept)"},
};

bool IsAt(const Row& row, std::string_view place) {
  if (row.place.front() == '/') return place == row.place;
  return place.size() > row.place.size() && place.ends_with(row.place) &&
         place[place.size() - row.place.size() - 1] == '/';
}

template <class Fits>
bool AnyRow(std::string_view place, Fits fits) {
  return std::ranges::any_of(kRows,
                             [&](const Row& row) { return fits(row.may) && IsAt(row, place); });
}

}  // namespace

bool MayDiffer(std::string_view place) {
  return AnyRow(place, [](May may) { return may == May::kDiffer; });
}

bool MayAdd(std::string_view place) {
  if (place.ends_with("/*")) place.remove_suffix(2);
  return AnyRow(place, [](May may) { return may != May::kOrder; });
}

bool IsUnordered(std::string_view place) {
  return AnyRow(place, [](May may) { return may == May::kAddAndOrder || may == May::kOrder; });
}

}  // namespace dwell::reconcile
