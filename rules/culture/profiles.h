// The culture profiles by the stage they are for. Jars of a stage without one of its own share the
// default.
#pragma once

#include <map>
#include <memory>
#include <string>
#include <string_view>

#include "rules/culture/profile.h"

namespace torpor::rules::culture {

class Profiles {
 public:
  // The default profile is the table's.
  Profiles();

  // Precondition: profile.check() passed.
  void set_default(Profile profile);
  void set(std::string_view stage, Profile profile);
  // Stages are compared without case. Never null.
  [[nodiscard]] std::shared_ptr<const Profile> for_stage(std::string_view stage) const;

 private:
  std::shared_ptr<const Profile> default_;
  std::map<std::string, std::shared_ptr<const Profile>> by_stage_;  // in lower case
};

}  // namespace torpor::rules::culture
