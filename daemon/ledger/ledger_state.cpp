// How entries of the journal become the ledger's state: the one way, live and replayed.
#include <fmt/format.h>

#include <utility>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/names.h"
#include "daemon/ledger/stays.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

namespace {

const std::string* jar_of(const Act& act) {
  if (const auto* made = std::get_if<NewJar>(&act)) return &made->jar;
  if (const auto* move = std::get_if<MoveJar>(&act)) return &move->jar;
  if (const auto* told = std::get_if<JarDeed>(&act)) return &told->jar;
  return nullptr;
}

const std::string* sensor_of(const Act& act) {
  if (const auto* begin = std::get_if<BeginCheck>(&act)) return &begin->sensor;
  if (const auto* end = std::get_if<EndCheck>(&act)) return &end->sensor;
  return nullptr;
}

}  // namespace

tl::expected<void, std::string> Ledger::apply(const JournalEntry& entry, const Act& act) {
  auto applied = tl::expected<void, std::string>(tl::unexpect, "an act that is never journaled");
  if (const auto* made = std::get_if<NewJar>(&act)) applied = apply_one(*made, entry);
  if (const auto* move = std::get_if<MoveJar>(&act)) applied = apply_one(*move, entry);
  if (const auto* told = std::get_if<JarDeed>(&act)) applied = apply_one(*told, entry);
  if (const auto* begin = std::get_if<BeginCheck>(&act)) applied = apply_one(*begin, entry);
  if (const auto* end = std::get_if<EndCheck>(&act)) applied = apply_one(*end, entry);
  if (const auto* withdraw = std::get_if<WithdrawEntry>(&act)) {
    applied = apply_one(*withdraw, entry);
  }
  if (!applied) return applied;
  recorded_.insert_or_assign(entry.number,
                             Recorded{entry.happened_at, act, entry.sentence, std::nullopt});
  next_entry_ = entry.number + 1;
  // A jar registered again after its registration was withdrawn keeps what was noted of it.
  if (const auto* made = std::get_if<NewJar>(&act)) {
    if (unregistered_.erase(made->jar) > 0) derive(made->jar);
  }
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const NewJar& made, const JournalEntry& entry) {
  if (const Jar* known = jar_with_id(jars_, made.jar)) {
    return tl::unexpected(fmt::format("jar {} exists already", known->made.jar));
  }
  Jar jar;
  jar.made = made;
  jar.registered_at = entry.happened_at;
  jar.stays.push_back({made.place, entry.happened_at, std::nullopt});
  jars_.emplace(made.jar, std::move(jar));
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const MoveJar& move, const JournalEntry& entry) {
  const auto found = jars_.find(move.jar);
  if (found == jars_.end()) return tl::unexpected(fmt::format("there is no jar {}", move.jar));
  if (move_fault(found->second, move.place, entry.happened_at)) {
    return tl::unexpected(fmt::format("jar {} cannot have moved to {} at {}", move.jar,
                                      harmless(move.place), to_rfc3339(entry.happened_at)));
  }
  (void)record_move(found->second, move.place, entry.happened_at);
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const JarDeed& told, const JournalEntry& entry) {
  const auto found = jars_.find(told.jar);
  if (found == jars_.end()) return tl::unexpected(fmt::format("there is no jar {}", told.jar));
  if (deed_fault(found->second, told.deed, entry.happened_at)) {
    return tl::unexpected(fmt::format("this cannot have happened to jar {} at {}", told.jar,
                                      to_rfc3339(entry.happened_at)));
  }
  record_deed(found->second, told.deed, entry.happened_at, entry.number);
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const WithdrawEntry& withdraw,
                                                  const JournalEntry& entry) {
  const auto found = recorded_.find(withdraw.entry);
  const bool known = found != recorded_.end();
  const std::string* jar = known ? jar_of(found->second.act) : nullptr;
  const std::string* sensor = known ? sensor_of(found->second.act) : nullptr;
  if ((jar == nullptr && sensor == nullptr) || found->second.withdrawn_by) {
    return tl::unexpected(fmt::format("there is no entry {} to withdraw", withdraw.entry));
  }
  found->second.withdrawn_by = entry.number;
  if (sensor != nullptr) {
    derive_checks(*sensor);
    return {};
  }
  if (std::holds_alternative<NewJar>(found->second.act)) unregistered_.insert(*jar);
  derive(*jar);
  return {};
}

std::set<std::uint64_t> Ledger::entries_about(std::string_view jar) const {
  std::set<std::uint64_t> numbers;
  for (const auto& [number, recorded] : recorded_) {
    const auto* withdraw = std::get_if<WithdrawEntry>(&recorded.act);
    const std::string* about = jar_of(recorded.act);
    const bool withdraws = withdraw != nullptr && numbers.count(withdraw->entry) > 0;
    if (withdraws || (about != nullptr && *about == jar)) numbers.insert(number);
  }
  return numbers;
}

// What no longer fits once something was withdrawn (a move to where the jar stands now) is left
// out: it comes back if the withdrawn is told anew.
void Ledger::derive(const std::string& id) {
  jars_.erase(id);
  const auto apply_those = [&](bool registrations) {
    for (const auto& [number, recorded] : recorded_) {
      const std::string* jar = jar_of(recorded.act);
      if (jar == nullptr || *jar != id || recorded.withdrawn_by) continue;
      JournalEntry entry;
      entry.number = number;
      entry.happened_at = recorded.happened_at;
      if (const auto* made = std::get_if<NewJar>(&recorded.act)) {
        if (registrations) (void)apply_one(*made, entry);
      } else if (!registrations) {
        if (const auto* move = std::get_if<MoveJar>(&recorded.act)) (void)apply_one(*move, entry);
        if (const auto* told = std::get_if<JarDeed>(&recorded.act)) (void)apply_one(*told, entry);
      }
    }
  };
  apply_those(/*registrations=*/true);
  apply_those(/*registrations=*/false);
}

}  // namespace torpor::daemon
