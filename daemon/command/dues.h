// What is due for a line, in the words of a listing. Pure.
#pragma once

#include <string>

#include "schemas/json/document.h"

namespace dwell::command {

/// Everything of `line` (a row of the daemon's listing of lines) that is overdue, due or due soon,
/// the worst first; when there is nothing of that, what comes next. "-" when nothing is due any
/// more, and never of a line that is damaged. All of it, because one overdue thing must never hide
/// another.
std::string DuesInWords(schemas::Value line);

}  // namespace dwell::command
