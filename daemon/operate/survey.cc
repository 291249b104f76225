#include "daemon/operate/survey.h"

namespace dwell::operate {

Result<StoreFacts> Survey(store::Store& store) {
  StoreFacts facts;
  auto counts = store.Count();
  if (!counts) return counts.error();
  facts.counts = *counts;
  facts.endpoints = store.endpoints();
  auto pages = store.CountPages();
  if (!pages) return pages.error();
  facts.pages = *pages;
  facts.log_pages = store.log_pages();
  facts.sources = store.sources();
  auto unknown = store.ListUnknownCodes();
  if (!unknown) return unknown.error();
  facts.unknown_codes = unknown->size();
  for (const auto& row : *unknown) facts.unknown_code_events += row.events;
  auto doubtful = store.ListDoubtfulIdentifiers();
  if (!doubtful) return doubtful.error();
  for (const auto& row : *doubtful) facts.doubtful_identifier_events += row.events;
  return facts;
}

}  // namespace dwell::operate
