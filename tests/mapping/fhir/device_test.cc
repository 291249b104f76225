// The Device of a line: what its identifier, as scanned, adds to what staff entered.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "tests/mapping/fhir/world.h"

namespace dwell::test {
namespace {

using testing::HasSubstr;
using testing::Not;

/// The Device of an insertion whose line has these further members.
std::string DeviceOf(const std::string& line_members) {
  Life life(ContextOf());
  const auto made =
      life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z",
                        R"("outcome":"placed","line":{"kind":"peripheral-cannula",)" +
                            line_members + R"(},"site":{"place":"forearm","side":"left"})"));
  for (const auto& resource : made.resources)
    if (resource.type == "Device") return resource.json;
  return {};
}

TEST(Device, ACarrierIsSentWithItsIdentifierIssuerAndForm) {
  struct Row {
    const char* udi;
    const char* carrier;  ///< base64 from coreutils' base64
  };
  const Row table[] = {
      {R"(]d201095060001343521728022910C-77810\u001d21S-0042)",
       R"({"deviceIdentifier":"09506000134352","issuer":"http://hl7.org/fhir/NamingSystem/gs1",)"
       R"("carrierAIDC":"XWQyMDEwOTUwNjAwMDEzNDM1MjE3MjgwMjI5MTBDLTc3ODEwHTIxUy0wMDQy",)"
       R"("entryType":"barcode"})"},
      {R"((01)09506000134352(10)C-77810)",
       R"({"deviceIdentifier":"09506000134352","issuer":"http://hl7.org/fhir/NamingSystem/gs1",)"
       R"("carrierHRF":"(01)09506000134352(10)C-77810","entryType":"barcode"})"},
      {R"(+A123BJC5D6E71G)",
       R"({"deviceIdentifier":"A123BJC5D6E71","issuer":"http://hl7.org/fhir/NamingSystem/hibcc",)"
       R"("carrierHRF":"+A123BJC5D6E71G","entryType":"barcode"})"},
      {R"(]C11728022910C-77810)",  // the second of two symbols: no device identifier
       R"({"issuer":"http://hl7.org/fhir/NamingSystem/gs1",)"
       R"("carrierAIDC":"XUMxMTcyODAyMjkxMEMtNzc4MTA=","entryType":"barcode"})"},
      {R"(REF 381-234)", R"({"carrierHRF":"REF 381-234","entryType":"barcode"})"},
      {R"([)>\u001e06\u001d25PX\u001e\u0004)",
       R"({"carrierAIDC":"Wyk+HjA2HTI1UFgeBA==","entryType":"barcode"})"},
  };
  for (const Row& row : table) {
    const std::string device = DeviceOf(std::string(R"("udi":")") + row.udi + '"');
    EXPECT_THAT(device, HasSubstr(std::string(R"("udiCarrier":[)") + row.carrier + "]"));
    EXPECT_THAT(device, Not(HasSubstr("\\u00"))) << "no control character in any string";
  }
}

TEST(Device, WhatStaffDidNotEnterComesFromItsCarrier) {
  const std::string udi = R"("udi":"(01)09506000134352(11)260100(17)280200(10)C-77810(21)S-0042")";
  const std::string alone = DeviceOf(udi);
  EXPECT_THAT(alone, HasSubstr(R"("manufactureDate":"2026-01-31","expirationDate":"2028-02-29",)"
                               R"("lotNumber":"C-77810","serialNumber":"S-0042")"));
  EXPECT_THAT(alone, HasSubstr("<li>Serial number: S-0042</li>"));
  EXPECT_THAT(DeviceOf(udi + R"(,"expiry":"2028-02")"), HasSubstr(R"("expirationDate":"2028-02")"))
      << "staff's own words go first";
  const std::string lot_only = DeviceOf(R"("lot":"C-1","udi":"+A123BJC5D6E71G")");
  EXPECT_THAT(lot_only, HasSubstr(R"("lotNumber":"C-1")"));
  EXPECT_THAT(lot_only, Not(HasSubstr("serialNumber")));
}

TEST(Device, WithoutACarrierThereIsNone) {
  EXPECT_THAT(DeviceOf(R"("lot":"C-1")"), Not(HasSubstr("udiCarrier")));
}

}  // namespace
}  // namespace dwell::test
