// The two forms of unique device identifiers and what they share. Building blocks of udi.cc.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "mapping/event/udi.h"

namespace dwell::event {

inline constexpr char kGroupSeparator = '\x1d';

/// Empty when all is well.
using MaybeFault = std::optional<UdiFault>;

/// GS1 as a scanner sends it, without symbology identifier, into `udi`.
MaybeFault ReadGs1Scan(std::string_view text, int year, std::string_view known_lot, Udi* udi);
/// GS1 as printed: every value after its identifier in parentheses or braces.
MaybeFault ReadGs1Print(std::string_view text, int year, Udi* udi);
/// HIBC supplier label, from '+' to the check character.
MaybeFault ReadHibc(std::string_view text, int year, Udi* udi);

bool IsDigit(char c);
bool AllDigits(std::string_view text);
/// The value of a few decimal digits.
int Number(std::string_view digits);

/// The year that `two_digits` of a year mean, within 50 years of `year`.
int FullYear(int two_digits, int year);
/// "YYYY-MM-DD" when that day exists; with `day` 0 the last one of the month.
std::optional<std::string> DayText(int year, int month, int day);
/// Six digits YYMMDD, day 00 being the last one of the month; empty when there is no such day.
std::optional<std::string> ShortDay(std::string_view digits, int year);

/// Fills a part once; saying it again must say the same.
MaybeFault SetOnce(std::string_view value, std::string* part);
/// Likewise for a date; the more exact one stays.
MaybeFault SetDateOnce(std::string_view value, std::string* part);

}  // namespace dwell::event
