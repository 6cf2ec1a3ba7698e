#include "config/names.h"

#include <algorithm>

namespace torpor::config {

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= kLongestId &&
         std::all_of(text.begin(), text.end(), [](char c) {
           return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                  c == '-' || c == '_';
         });
}

std::string without_case(std::string_view id) {
  std::string folded(id);
  std::transform(folded.begin(), folded.end(), folded.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return folded;
}

}  // namespace torpor::config
