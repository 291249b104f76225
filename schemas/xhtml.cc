#include "schemas/xhtml.h"

#include <algorithm>
#include <array>
#include <cstddef>

#include "schemas/json/name.h"

namespace dwell::schemas {
namespace {

/// Nesting that a generated narrative never needs; bounds the room for open elements.
constexpr std::size_t kDepthMax = 32;
constexpr std::string_view kNamespace = "http://www.w3.org/1999/xhtml";

// hl7.org/fhir/R4/narrative.html, invariant txt-1.
constexpr std::array<std::string_view, 55> kElements = {
    "a",       "abbr",  "acronym", "b",        "big", "blockquote", "br",    "caption",
    "cite",    "code",  "col",     "colgroup", "dd",  "dfn",        "div",   "dl",
    "dt",      "em",    "h1",      "h2",       "h3",  "h4",         "h5",    "h6",
    "hr",      "i",     "img",     "li",       "ol",  "p",          "pre",   "q",
    "samp",    "small", "span",    "strong",   "sub", "sup",        "table", "tbody",
    "td",      "tfoot", "th",      "thead",    "tr",  "tt",         "ul",    "var",
    "address", "bdo",   "kbd",     "del",      "ins", "map",        "area"};
constexpr std::array<std::string_view, 35> kAttributes = {
    "abbr",       "accesskey",   "align",       "alt",        "axis",   "bgcolor", "border",
    "cellhalign", "cellpadding", "cellspacing", "cellvalign", "char",   "charoff", "charset",
    "cite",       "class",       "colspan",     "compact",    "coords", "dir",     "frame",
    "headers",    "height",      "href",        "hreflang",   "hspace", "id",      "lang",
    "longdesc",   "name",        "src",         "style",      "title",  "width",   "xmlns"};
constexpr std::array<std::string_view, 12> kMoreAttributes = {
    "nowrap", "rel",  "rev",   "rowspan", "rules",    "scope",
    "shape",  "span", "start", "summary", "tabindex", "valign"};

template <std::size_t N>
bool Has(const std::array<std::string_view, N>& list, std::string_view name) {
  return std::any_of(list.begin(), list.end(), [name](std::string_view known) {
    return known.size() == name.size() && SameName(known, name);
  });
}

bool IsSpace(char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; }

/// Reads XHTML from the left. Every Take... returns false when the text is not acceptable there.
class XhtmlReader {
 public:
  explicit XhtmlReader(std::string_view text) : rest_(text) {}

  bool Read() {
    if (!TakeTag() || depth_ > 1) return false;
    while (depth_ > 0) {
      if (rest_.empty()) return false;
      if (!(rest_.front() == '<' ? TakeTag() : TakeText())) return false;
    }
    return rest_.empty() && has_content_;
  }

 private:
  bool Take(std::string_view token) {
    if (!rest_.starts_with(token)) return false;
    rest_.remove_prefix(token.size());
    return true;
  }

  std::string_view TakeName() {
    const auto end = std::find_if(rest_.begin(), rest_.end(), [](char c) {
      return !((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'));
    });
    const std::string_view name = rest_.substr(0, static_cast<std::size_t>(end - rest_.begin()));
    rest_.remove_prefix(name.size());
    return name;
  }

  void SkipSpace() {
    while (!rest_.empty() && IsSpace(rest_.front())) rest_.remove_prefix(1);
  }

  bool TakeTag() {
    if (Take("</")) return TakeEndTag();
    if (!Take("<")) return false;
    const std::string_view name = TakeName();
    const bool root = depth_ == 0;
    if (root ? name != "div" : !Has(kElements, name)) return false;
    bool in_namespace = false;
    while (!rest_.empty() && IsSpace(rest_.front())) {
      SkipSpace();
      if (rest_.starts_with('>') || rest_.starts_with('/')) break;
      if (!TakeAttribute(&in_namespace)) return false;
    }
    if (root && !in_namespace) return false;
    if (name == "img") has_content_ = true;
    if (Take("/>")) return !root;
    if (depth_ == kDepthMax || !Take(">")) return false;
    open_.at(depth_++) = name;
    return true;
  }

  bool TakeEndTag() {
    if (depth_ == 0 || TakeName() != open_.at(depth_ - 1)) return false;
    SkipSpace();
    --depth_;
    return Take(">");
  }

  bool TakeAttribute(bool* in_namespace) {
    if (Take("xml:lang")) return TakeValue(nullptr);
    const std::string_view name = TakeName();
    if (!Has(kAttributes, name) && !Has(kMoreAttributes, name)) return false;
    std::string_view value;
    if (!TakeValue(&value)) return false;
    if (name != "xmlns") return true;
    *in_namespace = value == kNamespace;
    return *in_namespace;
  }

  bool TakeValue(std::string_view* value) {
    SkipSpace();
    if (!Take("=")) return false;
    SkipSpace();
    if (rest_.empty() || (rest_.front() != '"' && rest_.front() != '\'')) return false;
    const std::size_t end = rest_.find(rest_.front(), 1);
    if (end == std::string_view::npos) return false;
    const std::string_view inside = rest_.substr(1, end - 1);
    rest_.remove_prefix(end + 1);
    if (value != nullptr) *value = inside;
    return inside.find('<') == std::string_view::npos && EntitiesAreKnown(inside);
  }

  bool TakeText() {
    const std::string_view text = rest_.substr(0, rest_.find('<'));
    rest_.remove_prefix(text.size());
    if (!std::all_of(text.begin(), text.end(), IsSpace)) has_content_ = true;
    return EntitiesAreKnown(text);
  }

  /// XML's own five, the no-break space that XHTML adds, and character numbers.
  static bool EntitiesAreKnown(std::string_view text) {
    constexpr std::array<std::string_view, 6> kEntities = {"amp",  "lt",   "gt",
                                                           "quot", "apos", "nbsp"};
    for (std::size_t at = text.find('&'); at != std::string_view::npos; at = text.find('&', at)) {
      const std::size_t end = text.find(';', ++at);
      if (end == std::string_view::npos) return false;
      std::string_view name = text.substr(at, end - at);
      if (Has(kEntities, name)) continue;
      if (!name.starts_with('#')) return false;
      name.remove_prefix(1);
      const bool hex = name.starts_with('x');
      if (hex) name.remove_prefix(1);
      const auto digits = hex ? "0123456789abcdefABCDEF" : "0123456789";
      if (name.empty() || name.find_first_not_of(digits) != std::string_view::npos) return false;
    }
    return true;
  }

  std::string_view rest_;
  std::array<std::string_view, kDepthMax> open_{};
  std::size_t depth_ = 0;
  bool has_content_ = false;
};

}  // namespace

bool IsNarrativeXhtml(std::string_view text) { return XhtmlReader(text).Read(); }

}  // namespace dwell::schemas
