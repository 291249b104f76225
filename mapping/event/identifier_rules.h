// Form and check digits of patient numbers, a function for each country's rule. Building blocks of
// identifiers.cc. Each wants the value as its system writes it, and knows nobody: a number that
// passes was copied well, no more.
#pragma once

#include <string>
#include <string_view>

namespace dwell::event {

/// The ten digits of "999 000 0018" or "999-000-0018"; empty when separators stand elsewhere; any
/// other length as it is.
std::string WithoutNhsSeparators(std::string_view value);

/// Ten digits, weights 10 to 2 on the first nine, modulo 11; separators as above. 10 is never
/// issued (NHS Data Model and Dictionary, NHS NUMBER).
bool IsNhsNumber(std::string_view value);

/// The same rule without separators: Health and Care number, Northern Ireland (ditto).
bool IsHealthAndCareNumber(std::string_view value);

/// DDMMYY, three digits and the same check digit; the date must exist in some century (CHI number:
/// NHS Data Dictionary; documentation of the R package phsmethods).
bool IsChiNumber(std::string_view value);

/// 16 digits from 800360 on, Luhn (HL7 AU Base, invariants inv-ihi-value-0, -1 and -2).
bool IsAustralianIhi(std::string_view value);

/// LLLNNNC (modulo 11) or LLLNNLX (modulo 23), weights 7 to 2, letters without I and O (HISO
/// 10046).
bool IsNhiNumber(std::string_view value);

/// Nine digits, weights 9 to 2 and -1, modulo 11 (documentation of python-stdnum, nl.bsn).
bool IsDutchBsn(std::string_view value);

/// Eleven digits, the last two each a check digit modulo 11 (documentation of python-stdnum,
/// no.fodselsnummer).
bool IsNorwegianNumber(std::string_view value);

/// [YY]YYMMDD[-+]NNNC, Luhn over the last ten digits: the century does not take part (documentation
/// of python-stdnum, se.personnummer).
bool IsSwedishNumber(std::string_view value);

/// DDMMYY[-]SSSS, weights 4, 3, 2, 7 to 1, modulo 11 (documentation of python-stdnum, dk.cpr).
bool IsDanishCpr(std::string_view value);

/// 13 characters and the key 97 - (number modulo 97); for the key the departments of Corsica count
/// as numbers: 2A as 19, 2B as 18 (documentation of python-stdnum, fr.nir).
bool IsFrenchNir(std::string_view value);

/// AAA-GG-SSSS or nine digits, without check digit. False for what was never issued: a part of
/// zeros, areas 666 and from 900 on (from memory), and 078-05-1120, printed on sample cards
/// (documentation of python-stdnum, us.ssn).
bool IsUsSsn(std::string_view value);

}  // namespace dwell::event
