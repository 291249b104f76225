// Writes metrics as text: OpenMetrics 1.0, or the older text format 0.0.4 for those who ask for it.
// Pure: values in, text out.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/moment.h"

namespace dwell::operate {

enum class MetricType : std::uint8_t { kGauge, kCounter, kInfo };

struct Label {
  std::string_view name;
  std::string value;  ///< of a closed set: our enums, names of the configuration
};

struct Sample {
  std::vector<Label> labels;
  std::string value;  ///< a number as text; of an info always 1
};

/// What is measured, with everything that is known of it.
struct Family {
  std::string_view name;  ///< without the suffix "_total" or "_info"; ends with its unit
  MetricType type = MetricType::kGauge;
  std::string_view unit;  ///< a base unit; empty: a count
  std::string_view help;  ///< one sentence
  std::vector<Sample> samples;
};

enum class Exposition : std::uint8_t { kOpenMetrics, kOlderText };

/// Which of the two a request asks for, by its Accept field (RFC 9110 section 12.5.1); empty:
/// nothing was asked. OpenMetrics unless the older one is preferred.
Exposition ChooseExposition(std::string_view accept);
/// The media type with its parameters.
std::string_view ContentTypeOf(Exposition exposition);

/// The families in their order, those without samples left out: what is not known is not there,
/// instead of 0.
std::string Expose(std::span<const Family> families, Exposition exposition);

std::string NumberText(std::uint64_t number);
/// Seconds with three decimals.
std::string SecondsText(std::chrono::milliseconds time);
/// Seconds since 1970 UTC.
std::string TimestampText(Instant instant);

}  // namespace dwell::operate
