#include "rules/culture/profiles.h"

#include <algorithm>

namespace torpor::rules::culture {
namespace {

std::string in_lower_case(std::string_view text) {
  std::string lower(text);
  std::transform(lower.begin(), lower.end(), lower.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return lower;
}

}  // namespace

Profiles::Profiles() : default_(std::make_shared<const Profile>()) {}

void Profiles::set_default(Profile profile) { default_ = std::make_shared<const Profile>(profile); }

void Profiles::set(std::string_view stage, Profile profile) {
  by_stage_[in_lower_case(stage)] = std::make_shared<const Profile>(profile);
}

std::shared_ptr<const Profile> Profiles::for_stage(std::string_view stage) const {
  const auto found = by_stage_.find(in_lower_case(stage));
  return found == by_stage_.end() ? default_ : found->second;
}

}  // namespace torpor::rules::culture
