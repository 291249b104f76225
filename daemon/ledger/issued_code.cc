#include "daemon/ledger/issued_code.h"

#include "schemas/base/check.h"

namespace dwell::ledger {
namespace {

constexpr char kFormat = 1;
constexpr std::size_t kTextBytesMax = 255;  // a resource id has at most 64 (FHIR R4, type id)

void PutText(std::string& bytes, std::string_view text) {
  CHECK(text.size() <= kTextBytesMax);
  bytes += static_cast<char>(text.size());
  bytes += text;
}

void PutNumber(std::string& bytes, std::uint64_t number, int size) {
  for (int i = 0; i < size; ++i) bytes += static_cast<char>(number >> (8 * i) & 0xff);
}

// Takes from the front; remembers when there was too little.
class Taker {
 public:
  explicit Taker(std::string_view bytes) : bytes_(bytes) {}
  std::string_view Bytes(std::size_t size) {
    whole_ = whole_ && size <= bytes_.size();
    if (!whole_) return {};
    const std::string_view taken = bytes_.substr(0, size);
    bytes_.remove_prefix(size);
    return taken;
  }
  std::uint64_t Number(std::size_t size) {
    const std::string_view taken = Bytes(size);
    std::uint64_t number = 0;
    for (std::size_t i = taken.size(); i-- > 0;) {
      number = number << 8 | static_cast<unsigned char>(taken[i]);
    }
    return number;
  }
  std::string Text() { return std::string(Bytes(Number(1))); }
  bool whole() const { return whole_; }
  bool at_end() const { return bytes_.empty(); }

 private:
  std::string_view bytes_;
  bool whole_ = true;
};

}  // namespace

std::string EncodeIssued(const std::vector<fhir::Issued>& issued) {
  std::string bytes(1, kFormat);
  bytes.reserve(issued.size() * 80 + 1);
  for (const fhir::Issued& one : issued) {
    PutText(bytes, one.type);
    PutText(bytes, one.id);
    PutNumber(bytes, one.fingerprint, 8);
    PutNumber(bytes, one.version, 4);
  }
  return bytes;
}

std::optional<std::vector<fhir::Issued>> DecodeIssued(std::string_view bytes) {
  Taker taker(bytes);
  std::vector<fhir::Issued> issued;
  if (taker.Number(1) != kFormat || !taker.whole()) return std::nullopt;
  while (!taker.at_end()) {
    fhir::Issued& one = issued.emplace_back();
    one.type = taker.Text();
    one.id = taker.Text();
    one.fingerprint = taker.Number(8);
    one.version = static_cast<std::uint32_t>(taker.Number(4));
    if (!taker.whole()) return std::nullopt;
  }
  return issued;
}

}  // namespace dwell::ledger
