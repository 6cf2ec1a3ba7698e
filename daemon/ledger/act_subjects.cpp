#include "daemon/ledger/act_subjects.h"

namespace torpor::daemon {

std::vector<std::string_view> jars_of(const Act& act) {
  if (const auto* made = std::get_if<NewJar>(&act)) return {made->jar};
  if (const auto* split = std::get_if<SplitJar>(&act)) return {split->from, split->made.jar};
  if (const auto* move = std::get_if<MoveJar>(&act)) return {move->jar};
  if (const auto* told = std::get_if<JarDeed>(&act)) return {told->jar};
  return {};
}

const std::string* registered_by(const Act& act) {
  if (const auto* made = std::get_if<NewJar>(&act)) return &made->jar;
  const auto* split = std::get_if<SplitJar>(&act);
  return split == nullptr ? nullptr : &split->made.jar;
}

}  // namespace torpor::daemon
