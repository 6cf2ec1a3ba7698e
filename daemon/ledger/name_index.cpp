#include "daemon/ledger/name_index.h"

#include <algorithm>
#include <iterator>

#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

std::string without_dashes(std::string_view id) {
  std::string bare;
  std::copy_if(id.begin(), id.end(), std::back_inserter(bare),
               [](char c) { return c != '-' && c != '_'; });
  return bare;
}

// "B-007" -> "B-7", "B-0" -> "B-0".
std::string without_leading_zeros(std::string_view id) {
  std::string bare;
  for (std::size_t i = 0; i < id.size(); ++i) {
    const bool leads = id[i] == '0' && (i == 0 || !is_digit(id[i - 1])) && i + 1 < id.size() &&
                       is_digit(id[i + 1]);
    if (!leads) {
      bare += id[i];
      continue;
    }
    while (i + 1 < id.size() && id[i] == '0' && is_digit(id[i + 1])) ++i;
    bare += id[i];
  }
  return bare;
}

std::string numbers_first(std::string_view word) {
  return without_dashes(without_leading_zeros(word));
}

std::string dashes_first(std::string_view word) {
  return without_leading_zeros(without_dashes(word));
}

void forget(std::map<std::string, std::set<std::string>, std::less<>>& forms,
            const std::string& form, const std::string& name) {
  const auto known = forms.find(form);
  if (known == forms.end()) return;
  known->second.erase(name);
  if (known->second.empty()) forms.erase(known);
}

}  // namespace

void NameIndex::add(const std::string& name) {
  const std::string word = lower_case(name);
  by_word_.insert_or_assign(word, name);
  by_numbers_[numbers_first(word)].insert(name);
  by_typed_[dashes_first(word)].insert(name);
}

void NameIndex::remove(const std::string& name) {
  const std::string word = lower_case(name);
  by_word_.erase(word);
  forget(by_numbers_, numbers_first(word), name);
  forget(by_typed_, dashes_first(word), name);
}

const std::string* NameIndex::spelled(std::string_view id) const {
  const auto known = by_word_.find(lower_case(id));
  return known == by_word_.end() ? nullptr : &known->second;
}

std::vector<std::string> NameIndex::called(std::string_view id) const {
  if (const std::string* name = spelled(id)) return {*name};
  const std::string word = lower_case(id);
  Names names;
  if (const auto known = by_numbers_.find(numbers_first(word)); known != by_numbers_.end()) {
    names.insert(known->second.begin(), known->second.end());
  }
  if (const auto known = by_typed_.find(dashes_first(word)); known != by_typed_.end()) {
    names.insert(known->second.begin(), known->second.end());
  }
  return {names.begin(), names.end()};
}

std::vector<std::string> NameIndex::all() const {
  std::vector<std::string> names;
  names.reserve(by_word_.size());
  for (const auto& [word, name] : by_word_) names.push_back(name);
  std::sort(names.begin(), names.end());
  return names;
}

}  // namespace torpor::daemon
