// How entries of the journal become the ledger's state: the one way, live and replayed.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/ledger/act_subjects.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/names.h"
#include "daemon/ledger/split_share.h"
#include "daemon/ledger/stays.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

namespace {

tl::unexpected<std::string> no_such_jar(std::string_view jar) {
  return tl::unexpected(fmt::format("there is no jar {}", jar));
}

const std::string* sensor_of(const Act& act) {
  if (const auto* begin = std::get_if<BeginCheck>(&act)) return &begin->sensor;
  if (const auto* end = std::get_if<EndCheck>(&act)) return &end->sensor;
  return nullptr;
}

}  // namespace

tl::expected<void, std::string> Ledger::apply(const JournalEntry& entry, const Act& act) {
  auto applied = std::visit(
      [&](const auto& one) -> tl::expected<void, std::string> {
        if constexpr (requires { apply_one(one, entry); }) {
          return apply_one(one, entry);
        } else {
          return tl::unexpected(std::string("an act that is never journaled"));
        }
      },
      act);
  if (!applied) return applied;
  recorded_.insert_or_assign(entry.number, Recorded{entry.happened_at, act, entry.sentence,
                                                    std::nullopt, entry.recorded_at});
  next_entry_ = entry.number + 1;
  // A jar registered again after its registration was withdrawn keeps what was noted of it.
  if (const std::string* made = registered_by(act)) {
    if (unregistered_.erase(*made) > 0) derive(*made);
  }
  for (const std::string_view jar : jars_of(act)) share_out(std::string(jar));
  pass_on_work();
  return {};
}

void Ledger::pass_on_work() {
  // Down the line: each pass reaches the jars made from those of the pass before.
  for (bool more = true; more;) {
    more = false;
    for (auto& [id, jar] : jars_) {
      if (jar.made.from.empty()) continue;
      const bool worked =
          std::any_of(jar.made.from.begin(), jar.made.from.end(), [&](const std::string& parent) {
            const auto known = jars_.find(parent);
            return known != jars_.end() && worked_in_sugar(known->second, jar.closed());
          });
      more = more || worked != jar.parent_worked_in_sugar;
      jar.parent_worked_in_sugar = worked;
    }
  }
}

tl::expected<void, std::string> Ledger::apply_one(const NewJar& made, const JournalEntry& entry) {
  if (const Jar* known = jar_with_id(jars_, made.jar)) {
    return tl::unexpected(fmt::format("jar {} exists already", known->made.jar));
  }
  if (collections_.count(made.jar) > 0) {
    return tl::unexpected(fmt::format("{} is a collection", made.jar));
  }
  for (const std::string& parent : made.from) {
    if (jars_.count(parent) == 0 && collections_.count(parent) == 0) {
      return tl::unexpected(fmt::format("there is no jar or collection {}", parent));
    }
  }
  Jar jar;
  jar.made = made;
  jar.registered_at = entry.happened_at;
  jar.entry = entry.number;
  jar.stays.push_back({made.place, entry.happened_at, std::nullopt});
  jars_.emplace(made.jar, std::move(jar));
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const NewCollection& collection,
                                                  const JournalEntry& entry) {
  const std::string& id = collection.collection;
  if (jars_.count(id) > 0 || collections_.count(id) > 0) {
    return tl::unexpected(fmt::format("{} exists already", id));
  }
  collections_.emplace(id, Collection{collection, entry.happened_at, entry.number});
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const SplitJar& split,
                                                  const JournalEntry& entry) {
  if (jars_.count(split.from) == 0) return no_such_jar(split.from);
  if (auto registered = register_split(split, entry); !registered) return registered;
  auto taken = take_split(split, entry);
  if (!taken) jars_.erase(split.made.jar);
  return taken;
}

tl::expected<void, std::string> Ledger::register_split(const SplitJar& split,
                                                       const JournalEntry& entry) {
  const auto parent = jars_.find(split.from);
  if (parent == jars_.end()) return no_such_jar(split.from);
  auto registered = apply_one(split.made, entry);
  if (!registered) return registered;
  Jar& jar = jars_.at(split.made.jar);
  jar.split = SplitOff{split.from, split.contents, entry.happened_at};
  take_share(jar, parent->second);
  return {};
}

tl::expected<void, std::string> Ledger::take_split(const SplitJar& split,
                                                   const JournalEntry& entry) {
  return apply_one(JarDeed{split.from, TakeOut{split.contents, split.made.jar}}, entry);
}

void Ledger::share_out(const std::string& id) {
  const auto parent = jars_.find(id);
  if (parent == jars_.end()) return;
  for (auto& [child, jar] : jars_) {
    if (!jar.split || jar.split->from != id) continue;
    take_share(jar, parent->second);
    share_out(child);
  }
}

tl::expected<void, std::string> Ledger::apply_one(const MoveJar& move, const JournalEntry& entry) {
  const auto found = jars_.find(move.jar);
  if (found == jars_.end()) return no_such_jar(move.jar);
  if (move_fault(found->second, move.place, entry.happened_at)) {
    return tl::unexpected(fmt::format("jar {} cannot have moved to {} at {}", move.jar,
                                      harmless(move.place), to_rfc3339(entry.happened_at)));
  }
  (void)record_move(found->second, move.place, entry.happened_at);
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const JarDeed& told, const JournalEntry& entry) {
  const auto found = jars_.find(told.jar);
  if (found == jars_.end()) return no_such_jar(told.jar);
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
  const bool known = found != recorded_.end() && !found->second.withdrawn_by;
  if (const auto* anew = known ? std::get_if<DateAnew>(&found->second.act) : nullptr) {
    found->second.withdrawn_by = entry.number;
    derive_entries(*anew);
    return {};
  }
  const auto* collection = known ? std::get_if<NewCollection>(&found->second.act) : nullptr;
  const std::string* sensor = known ? sensor_of(found->second.act) : nullptr;
  if (!known ||
      (collection == nullptr && sensor == nullptr && jars_of(found->second.act).empty())) {
    return tl::unexpected(fmt::format("there is no entry {} to withdraw", withdraw.entry));
  }
  const Act& act = found->second.act;
  const std::string* registered = registered_by(act);
  const std::string& source = collection != nullptr   ? collection->collection
                              : registered != nullptr ? *registered
                                                      : std::string();
  if (const auto made = jars_from(source); !source.empty() && !made.empty()) {
    return tl::unexpected(fmt::format("{} was made from {}", made.front(), source));
  }
  found->second.withdrawn_by = entry.number;
  if (sensor != nullptr) {
    derive_checks(*sensor);
    return {};
  }
  if (collection != nullptr) collections_.erase(collection->collection);
  if (registered != nullptr) unregistered_.insert(*registered);
  for (const std::string_view jar : jars_of(act)) derive(std::string(jar));
  return {};
}

const std::map<std::string, Collection>& Ledger::collections() const { return collections_; }

std::vector<std::string> Ledger::jars_from(std::string_view id) const {
  std::vector<std::string> made;
  for (const auto& [jar, known] : jars_) {
    const auto& from = known.made.from;
    const bool is_from = std::find(from.begin(), from.end(), id) != from.end();
    if (is_from || (known.split && known.split->from == id)) made.push_back(jar);
  }
  return made;
}

std::vector<Portion> Ledger::taken_from(std::string_view jar) const {
  std::vector<Portion> all;
  for (const auto& [number, recorded] : recorded_) {
    if (recorded.withdrawn_by) continue;
    if (const auto* split = std::get_if<SplitJar>(&recorded.act)) {
      if (split->from != jar) continue;
      all.push_back({number, recorded.happened_at, split->contents, "", split->made.jar});
    } else if (const auto* told = std::get_if<JarDeed>(&recorded.act)) {
      const auto* take = std::get_if<TakeOut>(&told->deed);
      if (take == nullptr || told->jar != jar) continue;
      all.push_back({number, recorded.happened_at, take->contents, take->purpose, ""});
    }
  }
  std::stable_sort(all.begin(), all.end(),
                   [](const Portion& a, const Portion& b) { return a.at < b.at; });
  return all;
}

std::vector<Jar> Ledger::split_line(const Jar& jar) const {
  std::vector<Jar> line;
  for (const Jar* next = &jar; next->split;) {
    const auto parent = jars_.find(next->split->from);
    if (parent == jars_.end()) break;
    line.push_back(parent->second);
    next = &parent->second;
  }
  return line;
}

std::optional<std::uint64_t> Ledger::withdrawn_by(std::uint64_t entry) const {
  const auto found = recorded_.find(entry);
  return found == recorded_.end() ? std::nullopt : found->second.withdrawn_by;
}

std::set<std::uint64_t> Ledger::entries_about(std::string_view jar) const {
  std::set<std::uint64_t> numbers;
  for (const auto& [number, recorded] : recorded_) {
    const auto* withdraw = std::get_if<WithdrawEntry>(&recorded.act);
    const bool withdraws = withdraw != nullptr && numbers.count(withdraw->entry) > 0;
    if (withdraws || is_about(recorded.act, jar)) numbers.insert(number);
  }
  return numbers;
}

// What no longer fits once something was withdrawn (a move to where the jar stands now) is left
// out: it comes back if the withdrawn is told anew.
void Ledger::derive(const std::string& id) {
  jars_.erase(id);
  const auto apply_those = [&](bool registrations) {
    for (const auto& [number, recorded] : recorded_) {
      if (recorded.withdrawn_by || !is_about(recorded.act, id)) continue;
      JournalEntry entry;
      entry.number = number;
      entry.happened_at = recorded.happened_at;
      const std::string* made = registered_by(recorded.act);
      if ((made != nullptr && *made == id) != registrations) continue;
      if (const auto* split = std::get_if<SplitJar>(&recorded.act)) {
        (void)(registrations ? register_split(*split, entry) : take_split(*split, entry));
      }
      if (const auto* jar = std::get_if<NewJar>(&recorded.act)) (void)apply_one(*jar, entry);
      if (const auto* move = std::get_if<MoveJar>(&recorded.act)) (void)apply_one(*move, entry);
      if (const auto* told = std::get_if<JarDeed>(&recorded.act)) (void)apply_one(*told, entry);
    }
  };
  apply_those(/*registrations=*/true);
  apply_those(/*registrations=*/false);
  share_out(id);
}

}  // namespace torpor::daemon
