// The search over real lines: derived, not read from what was sent, and legal by our own schemas.
#include "daemon/search/search_service.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::search {
namespace {

using testing::HasSubstr;

class SearchServiceTest : public test::LedgerRig {
 protected:
  intake::Plan Judge(const std::string& method, const std::string& target) {
    intake::GateHead head;
    head.method = method;
    head.target = target;
    return service().Judge(head);
  }
  intake::Reply Get(const std::string& target) {
    intake::Plan plan = Judge("GET", target);
    if (plan.refusal) return *plan.refusal;
    std::promise<intake::Reply> told;
    plan.answer("", [&told](intake::Reply reply) { told.set_value(std::move(reply)); });
    return told.get_future().get();
  }
  /// How many Tasks a search shows, over all its pages; each must be legal.
  std::size_t Count(std::string target) {
    std::size_t count = 0;
    for (int page = 0; page < 100; ++page) {
      const intake::Reply reply = Get(target);
      EXPECT_EQ(reply.status, 200);
      const auto document = schemas::Document::Parse(reply.body);
      EXPECT_TRUE(document);
      if (const auto entries = document->root().Find("entry")) {
        for (const schemas::Value entry : *entries) {
          ++count;
          const auto violations = Bundled().CheckResource(*entry.Find("resource"));
          EXPECT_TRUE(violations.empty()) << violations[0].pointer;
        }
      }
      const auto next = document->At("/link/1/url");
      if (!next) return count;
      target = next->AsString();
    }
    ADD_FAILURE() << "no end of pages";
    return count;
  }
  SearchService& service() {
    if (!service_) service_ = std::make_unique<SearchService>(*ledger_, clock_, options_);
    return *service_;
  }
  static const schemas::Bundled& Bundled() { return test::Shelf::Get().schemas; }

  SearchService::Options options_;
  std::unique_ptr<SearchService> service_;
};

TEST_F(SearchServiceTest, ShowsWhatIsDueNowAlsoBeforeAnybodyWasTold) {
  Open();
  Store(test::Insertion("e1", 0));
  EXPECT_EQ(Count("/fhir/Task"), 2U) << "a check and the removal";
  EXPECT_EQ(Count("/fhir/Task?business-status=overdue"), 0U);
  clock_.Set(test::Hour(80));  // the alarm has not looked
  EXPECT_EQ(Count("/fhir/Task?business-status=overdue"), 2U);
  EXPECT_EQ(Count("/fhir/Task?business-status=overdue&code=removal-due"), 1U);
  EXPECT_EQ(Count("/fhir/Task?status=ready&patient:identifier=9990000018"),
            Count("/fhir/Task?status=ready"));
}

TEST_F(SearchServiceTest, ShowsWhatIsDoneOnlyToWhoAsksForIt) {
  Open();
  Store(test::Insertion("e1", 0));
  Store(test::SiteCheck("e2", 5, 0));
  Store(test::Removal("e3", 30));
  EXPECT_EQ(Count("/fhir/Task?status=ready"), 0U);
  EXPECT_EQ(Count("/fhir/Task?status=requested"), 1U) << "the watch of the site";
  EXPECT_GE(Count("/fhir/Task?status=completed,cancelled"), 2U);
}

TEST_F(SearchServiceTest, GoesThroughAllLinesPageByPage) {
  options_.pages_max = 1;
  Open();
  clock_.Set(test::Hour(0));
  std::vector<std::string> raws;
  for (int i = 0; i < 130; ++i) {
    test::Sketch sketch = test::Insertion("e" + std::to_string(i), 0);
    sketch.line_id = "line-" + std::to_string(i);
    raws.push_back(test::Raw(sketch));
  }
  for (const ledger::Receipt& receipt : SendAll(raws)) {
    ASSERT_EQ(receipt.answer, ledger::Answer::kStored);
  }
  EXPECT_EQ(Count("/fhir/Task?status=requested"), 260U);
  EXPECT_EQ(Count("/fhir/Task?status=requested&_count=7"), 260U);
  EXPECT_EQ(Count("/fhir/Task?code=removal-due&_count=1000"), 130U);
}

TEST_F(SearchServiceTest, AStoredEventThatCannotBeReadIsToldAndNotPassedOver) {
  Open();
  Store(test::Insertion("e1", 0));
  ASSERT_TRUE(OnStore([](store::Store& store) -> Result<void> {
    const auto added = store.AddEvent({.source = "ward-tablets",
                                       .id = "broken",
                                       .kind = "flush",
                                       .content = {},
                                       .received_at = {},
                                       .raw = "{"},
                                      1);
    if (!added) return added.error();
    return {};
  }));
  Reopen();
  service_.reset();
  const intake::Reply reply = Get("/fhir/Task?status=ready");
  EXPECT_EQ(reply.status, 200);
  EXPECT_THAT(reply.body, HasSubstr(R"("mode":"outcome")"));
  EXPECT_THAT(reply.body, HasSubstr("is not known"));
}

struct Refusal {
  const char* method;
  const char* target;
  int status;
};

TEST_F(SearchServiceTest, RefusesWhatItDoesNotDo) {
  Open();
  const Refusal rows[] = {{"POST", "/fhir/Task", 405},
                          {"DELETE", "/fhir/Task", 405},
                          {"GET", "/fhir/Task/1", 404},
                          {"GET", "/fhir/Patient", 404},
                          {"GET", "/", 404},
                          {"GET", "/fhir/Task?colour=red", 400},
                          {"GET", "/fhir/Task?_count=0", 400}};
  for (const Refusal& row : rows) {
    const intake::Plan plan = Judge(row.method, row.target);
    ASSERT_TRUE(plan.refusal) << row.target;
    EXPECT_EQ(plan.refusal->status, row.status) << row.target;
    EXPECT_THAT(plan.refusal->body, HasSubstr("OperationOutcome"));
  }
  EXPECT_FALSE(Judge("HEAD", "/fhir/Task?status=ready").refusal);
}

TEST_F(SearchServiceTest, SaysWhatItCan) {
  Open();
  const intake::Reply reply = Get("/fhir/metadata");
  EXPECT_EQ(reply.status, 200);
  const auto document = schemas::Document::Parse(reply.body);
  ASSERT_TRUE(document);
  EXPECT_EQ(document->At("/kind")->AsString(), "instance");
}

}  // namespace
}  // namespace dwell::search
