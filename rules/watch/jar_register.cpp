#include "rules/watch/jar_register.h"

#include <algorithm>

namespace torpor::rules {
namespace {

auto after(const std::vector<JarStay>& stays, Instant t) {
  return std::upper_bound(stays.begin(), stays.end(), t,
                          [](Instant at, const JarStay& stay) { return at < stay.from; });
}

}  // namespace

const JarStay* JarRecord::stay_at(Instant t) const {
  const auto next = after(stays, t);
  return next == stays.begin() ? nullptr : &*(next - 1);
}

std::optional<Instant> JarRecord::next_move(Instant t) const {
  const auto next = after(stays, t);
  return next == stays.end() ? std::nullopt : std::optional(next->from);
}

std::optional<Instant> JarRecord::next_change(Instant t) const {
  std::optional<Instant> next = next_move(t);
  if (retired_at && !retired) next = next ? std::min(*next, *retired_at) : *retired_at;
  return next;
}

std::size_t JarRegister::place(std::string_view jar, std::string_view place, Instant from,
                               Instant told) {
  const auto known = index_.find(jar);
  std::size_t index = known == index_.end() ? jars_.size() : known->second;
  if (known == index_.end()) {
    index_.emplace(jar, index);
    jars_.push_back({std::string(jar), {}, {}, false});
    standing_.emplace_back();
  }
  auto& stays = jars_[index].stays;
  if (jars_[index].retired) stays.clear();
  jars_[index].retired = false;
  jars_[index].retired_at.reset();
  const auto next = std::lower_bound(stays.begin(), stays.end(), from,
                                     [](const JarStay& stay, Instant t) { return stay.from < t; });
  if (next != stays.end() && next->from == from) {
    next->place = place;
    next->told = told;
  } else {
    stays.insert(next, {from, std::string(place), told});
  }
  return index;
}

std::optional<std::size_t> JarRegister::find(std::string_view jar) const {
  const auto known = index_.find(jar);
  return known == index_.end() ? std::nullopt : std::optional(known->second);
}

bool JarRegister::settle(std::size_t index, Instant now) {
  const JarRecord& jar = jars_[index];
  const JarStay* stay = jar.retired ? nullptr : jar.stay_at(now);
  const std::string_view place = stay == nullptr ? std::string_view{} : stay->place;
  if (standing_[index] == place) return false;
  if (!standing_[index].empty()) {
    const auto left = by_place_.find(standing_[index]);
    left->second.erase(jar.id);
    if (left->second.empty()) by_place_.erase(left);
  }
  standing_[index] = place;
  if (!place.empty()) by_place_[std::string(place)].insert(jar.id);
  return true;
}

const std::set<std::string>& JarRegister::jars_at(std::string_view place) const {
  static const std::set<std::string> kNone;
  const auto found = by_place_.find(place);
  return found == by_place_.end() ? kNone : found->second;
}

std::vector<std::string> JarRegister::occupied_below(std::string_view place) const {
  std::vector<std::string> places;
  if (by_place_.find(place) != by_place_.end()) places.emplace_back(place);
  const std::string prefix = std::string(place) + "/";
  for (auto each = by_place_.lower_bound(prefix);
       each != by_place_.end() && each->first.compare(0, prefix.size(), prefix) == 0; ++each) {
    places.push_back(each->first);
  }
  return places;
}

void JarRegister::restore(std::vector<JarRecord> jars) {
  jars_ = std::move(jars);
  index_.clear();
  by_place_.clear();
  standing_.assign(jars_.size(), {});
  for (std::size_t i = 0; i < jars_.size(); ++i) index_.emplace(jars_[i].id, i);
}

}  // namespace torpor::rules
