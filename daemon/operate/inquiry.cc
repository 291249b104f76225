#include "daemon/operate/inquiry.h"

#include <algorithm>
#include <iterator>

namespace dwell::operate {
namespace {

struct Row {
  std::string_view path;
  Inquiry::What what;
};

constexpr Row kRows[] = {
    {"/livez", Inquiry::What::kLive},
    {"/readyz", Inquiry::What::kReady},
    {"/metrics", Inquiry::What::kMetrics},
};

}  // namespace

Inquiry ReadInquiry(const intake::GateHead& head) {
  Inquiry inquiry;
  const std::size_t mark = head.target.find('?');
  const std::string_view path = head.target.substr(0, mark);
  const auto* const row = std::ranges::find(kRows, path, &Row::path);
  if (row == std::end(kRows)) {
    inquiry.refusal = intake::Refuse(404, "not-found", "one of /livez, /readyz, /metrics");
    return inquiry;
  }
  if (head.method != "GET" && head.method != "HEAD") {
    inquiry.refusal = intake::Refuse(405, "method", "one of the methods in Allow");
    inquiry.refusal->allow = "GET, HEAD";
    return inquiry;
  }
  inquiry.what = row->what;
  inquiry.verbose = mark != std::string_view::npos && head.target.substr(mark + 1) == "verbose";
  inquiry.exposition = ChooseExposition(head.accept);
  return inquiry;
}

}  // namespace dwell::operate
