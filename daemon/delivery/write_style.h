// How to write to an endpoint: (what it says of itself, what the configuration pins) -> the style,
// with the reason. One table, pure. A statement is often wrong: it chooses among ways that all
// carry everything; no type is ever left out because a statement does not list it.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/delivery/capability.h"
#include "schemas/release.h"

namespace dwell::delivery {

/// FHIR R4 http.html: the interactions by which a bundle of ours may be written.
enum class Interaction : std::uint8_t {
  kTransaction,  ///< all of a bundle or nothing of it
  kBatch,        ///< one request, each entry on its own
  kSingle,       ///< one request for each resource, in the order of the bundle
};

/// By what the endpoint knows a resource of ours again.
enum class Identity : std::uint8_t {
  kUpdateAsCreate,     ///< PUT Type/id: the id is ours (R4 http.html#upsert)
  kConditionalUpdate,  ///< PUT Type?identifier=...: the id is theirs (R4 http.html#cond-update)
};

/// As the configuration says them: "transaction", "batch", "single"; "update-as-create",
/// "conditional-update".
std::string_view InteractionName(Interaction interaction);
std::string_view IdentityName(Identity identity);
/// The identity of that name; empty when there is none.
std::optional<Identity> IdentityOf(std::string_view name);

/// [endpoint] writes, identity and share_max. Empty: "auto".
struct Pins {
  std::optional<Interaction> interaction;
  std::optional<Identity> identity;
  std::size_t share_max = 1;
};

struct WriteStyle {
  Interaction interaction = Interaction::kTransaction;
  Identity identity = Identity::kUpdateAsCreate;
  /// Bundles, each of another lane, that may share a request; 1: each goes alone.
  std::size_t share_max = 1;
  /// Entries and bytes of a request that carries more than must stay together. Learned; see
  /// Shrink().
  std::size_t entries_max = limits::kShareEntriesMax;
  std::size_t bytes_max = limits::kShareBytesMax;
  /// The statement says that this identity, which is in use, is not taken; see SpeaksAgainst().
  bool is_doubted = false;
  std::string why;  ///< one sentence; nothing of it is the peer's own words
};

/// `capability` is null when the endpoint has none, or none that can be read: then a transaction
/// that updates as create. `in_use` is the identity by which the endpoint already holds resources
/// of ours: without a pin it stays, whatever the statement now says, because by another one the
/// endpoint would hold every living line twice.
WriteStyle ChooseStyle(const Capability* capability, const Pins& pins, FhirRelease release,
                       std::optional<Identity> in_use);

/// Whether the statement says plainly of a type of ours that it is not taken by this identity.
bool SpeaksAgainst(const Capability& capability, Identity identity, FhirRelease release);

/// Whether resources of the type may be written under ids of the endpoint's own: by a conditional
/// update, or a conditional create where there is no identifier (Provenance).
bool TakesConditions(const TypeCapability& type);

/// What a bundle takes of a request.
struct Size {
  std::size_t entries = 0;
  std::size_t bytes = 0;
};

/// How many of `bundles`, from the front, go into one request: at least 1 when there is any,
/// however large that one is.
std::size_t Fitting(const WriteStyle& style, const std::vector<Size>& bundles);

/// A request with `entries` entries was too large (Verdict::too_large): from now on half as many,
/// at least 1. False when the style already allowed no more than that.
bool Shrink(WriteStyle& style, std::size_t entries);

}  // namespace dwell::delivery
