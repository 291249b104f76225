// Which members a site's addition may not touch, and why. A patch is the same for every resource of
// its type, so what depends on the event can only be made wrong by it.
#include <array>

#include "mapping/fhir/additions.h"

namespace dwell::fhir {
namespace {

constexpr std::string_view kIdentity =
    "names the resource: a repeat or a correction would make a second one";
constexpr std::string_view kWho = "says who the patient is: it would stand in another's record";
constexpr std::string_view kWhat = "says what it is about";
constexpr std::string_view kWhether = "says whether it happened, was found or is due";
constexpr std::string_view kWhen = "says when";
constexpr std::string_view kTold = "says who did, told or made it";
constexpr std::string_view kReading = "changes how all the rest must be read";
constexpr std::string_view kPeople = "is what people read";
constexpr std::string_view kLabels =
    "marks who may see it and what is test data: see the key resources.security";

struct Row {
  std::string_view path;  ///< member; "*" at the end: every member that begins so
  std::string_view why;
};

// Members of the R4, R4B and R5 resources that we write. Common practice of resource design, no
// source: the classes follow FHIR's w5 mappings (who, what, when, why).
constexpr std::array kRows = {
    Row{"resourceType", kWhat},
    Row{"id", kIdentity},
    Row{"identifier", kIdentity},
    Row{"meta.source", kIdentity},
    Row{"meta.versionId", kIdentity},
    Row{"meta.lastUpdated", kWhen},
    Row{"meta.security", kLabels},
    Row{"implicitRules", kReading},
    Row{"modifierExtension", kReading},
    Row{"text", kPeople},
    Row{"note", kPeople},
    Row{"description", kPeople},

    Row{"subject", kWho},
    Row{"patient", kWho},
    Row{"for", kWho},
    Row{"encounter", kWho},
    Row{"context", kWho},

    Row{"activity", kWhat},
    Row{"bodySite", kWhat},
    Row{"bodyStructure", kWhat},
    Row{"code", kWhat},
    Row{"derivedFrom", kWhat},
    Row{"device", kWhat},
    Row{"entity", kWhat},
    Row{"focalDevice", kWhat},
    Row{"focus", kWhat},
    Row{"hasMember", kWhat},
    Row{"instantiates*", kWhat},
    Row{"location", kWhat},
    Row{"lotNumber", kWhat},
    Row{"manufacturer", kWhat},
    Row{"method", kWhat},
    Row{"modelNumber", kWhat},
    Row{"partNumber", kWhat},
    Row{"partOf", kWhat},
    Row{"property", kWhat},
    Row{"serialNumber", kWhat},
    Row{"target", kWhat},
    Row{"type", kWhat},
    Row{"udiCarrier", kWhat},
    Row{"used*", kWhat},

    Row{"adherence", kWhether},
    Row{"authorization", kWhether},
    Row{"availabilityStatus", kWhether},
    Row{"businessStatus", kWhether},
    Row{"complication*", kWhether},
    Row{"component", kWhether},
    Row{"dataAbsentReason", kWhether},
    Row{"followUp", kWhether},
    Row{"input", kWhether},
    Row{"intent", kWhether},
    Row{"interpretation", kWhether},
    Row{"operation", kWhether},
    Row{"outcome", kWhether},
    Row{"output", kWhether},
    Row{"priority", kWhether},
    Row{"reason*", kWhether},
    Row{"referenceRange", kWhether},
    Row{"status*", kWhether},
    Row{"usageReason", kWhether},
    Row{"usageStatus", kWhether},
    Row{"value*", kWhether},

    Row{"authoredOn", kWhen},
    Row{"dateAsserted", kWhen},
    Row{"effective*", kWhen},
    Row{"executionPeriod", kWhen},
    Row{"expirationDate", kWhen},
    Row{"issued", kWhen},
    Row{"lastModified", kWhen},
    Row{"manufactureDate", kWhen},
    Row{"occurred*", kWhen},
    Row{"occurrence*", kWhen},
    Row{"performed*", kWhen},
    Row{"period", kWhen},
    Row{"recorded", kWhen},
    Row{"recordedOn", kWhen},
    Row{"requestedPeriod", kWhen},
    Row{"restriction", kWhen},
    Row{"timing*", kWhen},

    Row{"agent", kTold},
    Row{"asserter", kTold},
    Row{"informationSource", kTold},
    Row{"performer", kTold},
    Row{"recorder", kTold},
    Row{"reportedReference", kTold},
    Row{"requester", kTold},
    Row{"signature", kTold},
    Row{"source", kTold},
};

bool Fits(std::string_view row, std::string_view path) {
  if (!row.ends_with('*')) return row == path;
  return path.starts_with(row.substr(0, row.size() - 1));
}

}  // namespace

std::string_view WhyProtected(std::string_view path) {
  std::string plain(path);
  const std::size_t name = plain.rfind('.') + 1;  // npos + 1 is 0
  if (plain.substr(name).starts_with('_')) plain.erase(name, 1);
  for (const Row& row : kRows) {
    if (Fits(row.path, plain)) return row.why;
  }
  return {};
}

}  // namespace dwell::fhir
