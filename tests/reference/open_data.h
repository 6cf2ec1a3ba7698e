// The open data set that is too large for this tree. TORPOR_OPEN_DATA, in the environment, else in
// CMake, names its folder; without it the tests that want it say that they were skipped.
#pragma once

#include <cstdlib>
#include <filesystem>
#include <string>

namespace torpor::test {

// The file `name` of the set; an empty path: it is not here.
inline std::filesystem::path open_data(const std::string& name) {
  const char* named = std::getenv("TORPOR_OPEN_DATA");
  const std::filesystem::path folder = named != nullptr ? named : TORPOR_OPEN_DATA;
  const std::filesystem::path file = folder / name;
  return !folder.empty() && std::filesystem::exists(file) ? file : std::filesystem::path();
}

}  // namespace torpor::test
