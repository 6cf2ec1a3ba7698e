// Faults as the tests compare them: "LINE:COL: message", one a line, without file and caret.
#pragma once

#include <string>
#include <vector>

#include "config/settings.h"

namespace torpor::config {

inline std::string brief(const std::vector<Fault>& faults) {
  std::string text;
  for (const Fault& fault : faults) {
    text += std::to_string(fault.at.line) + ':' + std::to_string(fault.at.column) + ": " +
            fault.message + '\n';
  }
  return text;
}

inline std::string faults_of(const std::string& text) {
  return brief(read_settings(text, "torpor.yaml").faults);
}

// One row of a table of faulty texts.
struct Faulty {
  std::string text;
  std::string faults;
};

}  // namespace torpor::config
