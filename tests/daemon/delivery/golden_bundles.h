// The frozen bundles of the golden pairs: every kind of event, every branch of what it makes.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "schemas/json/document.h"
#include "schemas/release.h"

namespace dwell::delivery {

struct GoldenBundle {
  std::string name;  ///< "removal/phlebitis"
  std::string body;
  FhirRelease release = FhirRelease::kR4;
  std::size_t entries = 0;
};

inline std::string ReadWhole(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// All of them, by name. Pairs from which nothing goes out are not among them.
inline std::vector<GoldenBundle> GoldenBundles() {
  const std::filesystem::path root = std::string(DWELL_SOURCE_DIR) + "/tests/golden";
  std::vector<GoldenBundle> bundles;
  for (const auto& file : std::filesystem::recursive_directory_iterator(root)) {
    if (file.path().filename() != "out.json") continue;
    GoldenBundle bundle;
    const auto folder = file.path().parent_path();
    bundle.name = folder.lexically_relative(root).string();
    bundle.body = ReadWhole(file.path());
    while (!bundle.body.empty() && bundle.body.back() == '\n') bundle.body.pop_back();
    if (ReadWhole(folder / "setup").find("release=5.0.0") != std::string::npos) {
      bundle.release = FhirRelease::kR5;
    }
    const auto document = schemas::Document::Parse(bundle.body);
    if (!document) continue;
    const auto entries = document->root().Find("entry");
    if (!entries) continue;
    bundle.entries = entries->size();
    bundles.push_back(std::move(bundle));
  }
  std::ranges::sort(bundles, {}, &GoldenBundle::name);
  EXPECT_GT(bundles.size(), 80U);
  return bundles;
}

}  // namespace dwell::delivery
