// Asking a real (practice) endpoint over the socket. Whatever it is like: nothing is written there.
#include "daemon/delivery/inquiry.h"

#include "tests/daemon/delivery/smart_fixture.h"
#include "tests/endpoint/certificates.h"

namespace dwell::delivery {
namespace {

using practice::Telling;
using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

/// "ok statement", "cannot Task", ... of a result.
std::vector<std::string> InShort(const Inquiry& inquiry) {
  static constexpr const char* kWords[] = {"ok ", "doubtful ", "cannot "};
  std::vector<std::string> texts;
  for (const Finding& finding : inquiry.findings) {
    texts.push_back(kWords[static_cast<std::size_t>(finding.grade)] + finding.about);
  }
  return texts;
}

template <class Base>
class Asking : public Base {
 protected:
  Inquiry Ask() {
    Result<Inquiry> inquiry = Inquire(this->target_, wants_, this->system_clock_);
    EXPECT_TRUE(inquiry) << inquiry.error().message();
    EXPECT_EQ(this->Seen().transactions, 0U) << "no event is sent";
    return inquiry ? *inquiry : Inquiry();
  }
  void Tell(Telling telling) {
    Manners manners;
    manners.telling = telling;
    this->endpoint_->desk().SetManners(manners);
  }
  Wants wants_;
};

using InquiryTest = Asking<DeliveryTest>;
using SmartInquiryTest = Asking<SmartTest>;

TEST_F(InquiryTest, APracticeEndpointThatBehavesIsOkThroughout) {
  const Inquiry inquiry = Ask();
  EXPECT_EQ(Worst(inquiry.findings), Grade::kOk) << testing::PrintToString(InShort(inquiry));
  EXPECT_EQ(inquiry.unreached, std::nullopt);
  EXPECT_EQ(inquiry.findings.front().about, "statement");
  EXPECT_EQ(Seen().requests, 1U);
}

struct TellingRow {
  Telling telling;
  const char* finding;
};

class InquiryTellings : public InquiryTest, public testing::WithParamInterface<TellingRow> {};

TEST_P(InquiryTellings, IsFound) {
  Tell(GetParam().telling);
  const Inquiry inquiry = Ask();
  EXPECT_THAT(InShort(inquiry), testing::Contains(GetParam().finding));
  EXPECT_EQ(inquiry.unreached, std::nullopt);
}

INSTANTIATE_TEST_SUITE_P(Rows, InquiryTellings,
                         testing::Values(TellingRow{Telling::kMissing, "doubtful statement"},
                                         TellingRow{Telling::kGarbage, "doubtful statement"},
                                         TellingRow{Telling::kWebPage, "doubtful statement"},
                                         TellingRow{Telling::kR5, "cannot FHIR version"},
                                         TellingRow{Telling::kNoTransaction, "doubtful writing"},
                                         TellingRow{Telling::kOwnIds, "cannot Task"}));

TEST_F(InquiryTest, ATokenFromAFileIsShown) {
  endpoint_->desk().Demand("Bearer practice-token-1");
  EXPECT_THAT(InShort(Ask()), testing::ElementsAre("doubtful statement"));
  target_.bearer_file = folder_ / "token";
  std::ofstream(target_.bearer_file) << "practice-token-1\n";
  wants_.admission = Admission::kBearer;
  const Inquiry inquiry = Ask();
  EXPECT_THAT(InShort(inquiry), testing::Contains("ok statement"));
  for (const Finding& finding : inquiry.findings) {
    EXPECT_THAT(finding.found + finding.will + finding.to_do, Not(HasSubstr("practice-token-1")));
  }
}

TEST_F(InquiryTest, ARedirectIsToldAndNotFollowed) {
  Mood mood;
  mood.kind = Mood::Kind::kStatus;
  mood.status = 302;
  mood.location = endpoint_->url() + "/elsewhere";
  mood.next = 1;
  mood.containing = "/metadata";
  SetMood(mood);
  const Inquiry inquiry = Ask();
  EXPECT_THAT(InShort(inquiry), testing::ElementsAre("doubtful statement"));
  EXPECT_THAT(inquiry.findings.front().found, HasSubstr("follows no redirect"));
  EXPECT_EQ(Seen().requests, 1U);
}

TEST_F(InquiryTest, AnEndpointThatIsDownIsNotReached) {
  endpoint_->GoDown();
  const Inquiry inquiry = Ask();
  EXPECT_THAT(InShort(inquiry), testing::ElementsAre("cannot connection"));
  EXPECT_EQ(inquiry.unreached, ErrorKind::kNetwork);
}

TEST_F(InquiryTest, AnEndpointThatNeverAnswersIsLeftWhenTheTimeIsOver) {
  target_.attempt_time_max = milliseconds(50);
  Mood mood;
  mood.kind = Mood::Kind::kStall;
  mood.next = 1;
  mood.containing = "/metadata";
  SetMood(mood);
  const Inquiry inquiry = Ask();
  EXPECT_THAT(inquiry.findings.front().found, HasSubstr("in time"));
  EXPECT_EQ(inquiry.unreached, ErrorKind::kNetwork);
}

TEST_F(InquiryTest, ACertificateOfAStrangerEndsItBeforeAnythingIsAsked) {
  practice::Authority authority(folder_, "authority");
  const practice::Authority stranger(folder_, "stranger");
  const auto files = authority.Issue("localhost", -1, 10);
  practice::EndpointOptions options;
  options.tls = net::TlsFiles{
      .certificate_chain = files.certificate, .private_key = files.key, .authorities = {}};
  StartEndpoint(options);
  target_.tls.authorities = stranger.file();
  const Inquiry inquiry = Ask();
  EXPECT_THAT(InShort(inquiry), testing::ElementsAre("cannot connection"));
  EXPECT_EQ(inquiry.unreached, ErrorKind::kTls);
  EXPECT_EQ(Seen().requests, 0U);

  target_.tls.authorities = authority.file();
  EXPECT_EQ(Worst(Ask().findings), Grade::kOk);
}

TEST_F(InquiryTest, AUrlOfOurOwnThatCannotBeIsAnError) {
  target_.url = "ftp://localhost/fhir";
  const auto inquiry = Inquire(target_, wants_, system_clock_);
  ASSERT_FALSE(inquiry);
  EXPECT_EQ(inquiry.error().kind(), ErrorKind::kConfig);
}

TEST_F(SmartInquiryTest, ATokenIsHadAndShown) {
  wants_.admission = Admission::kTokens;
  wants_.token_url = target_.tokens.token_url;
  const Inquiry inquiry = Ask();
  EXPECT_THAT(InShort(inquiry), AllOf(testing::Contains("ok statement"),
                                      testing::Contains("doubtful token endpoint")));
  EXPECT_EQ(inquiry.unreached, std::nullopt);
  EXPECT_EQ(Given().given, 1U);
  for (const Finding& finding : inquiry.findings) {
    ExpectNoSecretIn(finding.found + finding.will + finding.to_do);
  }
}

TEST_F(SmartInquiryTest, WithoutATokenTheReasonIsToldAndTheStatementAskedForAllTheSame) {
  wants_.admission = Admission::kTokens;
  target_.tokens.client_id = "somebody-else";
  const Inquiry inquiry = Ask();
  EXPECT_THAT(InShort(inquiry),
              AllOf(testing::Contains("cannot token"), testing::Contains("doubtful statement")));
  EXPECT_EQ(inquiry.unreached, ErrorKind::kNetwork);
  EXPECT_EQ(Given().given, 0U);
}

}  // namespace
}  // namespace dwell::delivery
