// Names by all the ways a person may write them, so that one is found as fast among thousands as
// among twelve: without regard to case, else without dashes, underscores and leading zeros of
// numbers ("b7" is B-07 and B7).
#pragma once

#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace torpor::daemon {

class NameIndex {
 public:
  // No two that differ in case only.
  void add(const std::string& name);
  void remove(const std::string& name);

  // The one that equals `id` but for case, as it is spelled; nullptr: none.
  [[nodiscard]] const std::string* spelled(std::string_view id) const;
  // That one alone; else all of the same short form, in order.
  [[nodiscard]] std::vector<std::string> called(std::string_view id) const;
  [[nodiscard]] std::vector<std::string> all() const;  // in order
  [[nodiscard]] bool empty() const { return by_word_.empty(); }

 private:
  using Names = std::set<std::string>;
  std::map<std::string, std::string, std::less<>> by_word_;  // in lower case
  // Both orders: B-1-02 is b12 read number by number, and b102 read as typed in one go.
  std::map<std::string, Names, std::less<>> by_numbers_, by_typed_;
};

}  // namespace torpor::daemon
