#include "daemon/config/code_maps.h"

namespace dwell::config {

Result<codes::CodeMap> LoadCodeMaps(const Config& config) {
  using codes::CodeMap;
  const auto edition =
      config.codes.edition == "licensed" ? CodeMap::Edition::kLicensed : CodeMap::Edition::kFree;
  if (config.codes.map.empty()) return CodeMap::LoadBundled(edition);
  const auto text = ReadTextFile(config.codes.map);
  if (!text) return text.error();
  return CodeMap::LoadBundled(edition, codes::File{config.codes.map, *text});
}

}  // namespace dwell::config
