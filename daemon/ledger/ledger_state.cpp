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
  const auto* withdraw = std::get_if<WithdrawEntry>(&act);
  const Act& meant = withdraw == nullptr ? act : recorded_.at(withdraw->entry).act;
  std::vector<std::string> concerned;
  for (const std::string_view jar : jars_of(meant)) concerned.emplace_back(jar);
  for (const std::string& jar : concerned) about_[jar].insert(entry.number);
  // A jar registered again after its registration was withdrawn keeps what was noted of it.
  if (const std::string* made = registered_by(act)) {
    if (unregistered_.erase(*made) > 0) derive(*made);
  }
  if (withdraw == nullptr) {
    for (const std::string& jar : concerned) share_out(jar);
  }
  pass_on_work(concerned);
  return {};
}

Ledger::Ids Ledger::with_split_off(const std::string& id) const {
  Ids line;
  for (std::vector<std::string> next{id}; !next.empty();) {
    const std::string one = std::move(next.back());
    next.pop_back();
    const auto made = line.insert(one).second ? made_from_.find(one) : made_from_.end();
    if (made == made_from_.end()) continue;
    for (const std::string& child : made->second) {
      const auto& split = jars_.at(child).split;
      if (split && split->from == one) next.push_back(child);
    }
  }
  return line;
}

// A share of a jar is other sugar when the jar's is, and with it what was made from the share.
void Ledger::pass_on_work(const std::vector<std::string>& concerned) {
  Ids all;
  for (const std::string& id : concerned) all.merge(with_split_off(id));
  std::vector<std::string> next;
  for (const std::string& id : all) {
    pass_on_work_to(id, next);
    const auto made = made_from_.find(id);
    if (made != made_from_.end()) next.insert(next.end(), made->second.begin(), made->second.end());
  }
  while (!next.empty()) {
    const std::string id = std::move(next.back());
    next.pop_back();
    pass_on_work_to(id, next);
  }
}

// If that changes it, what was made from it comes next.
void Ledger::pass_on_work_to(const std::string& id, std::vector<std::string>& next) {
  const auto found = jars_.find(id);
  if (found == jars_.end() || found->second.made.from.empty()) return;
  Jar& jar = found->second;
  const bool worked =
      std::any_of(jar.made.from.begin(), jar.made.from.end(), [&](const std::string& parent) {
        const auto known = jars_.find(parent);
        return known != jars_.end() && worked_in_sugar(known->second, jar.closed());
      });
  if (worked == jar.parent_worked_in_sugar) return;
  was_working_.emplace(id, jar.parent_worked_in_sugar);
  jar.parent_worked_in_sugar = worked;
  const auto made = made_from_.find(id);
  if (made != made_from_.end()) next.insert(next.end(), made->second.begin(), made->second.end());
}

const Jar* Ledger::with_id(std::string_view id) const {
  const std::string* spelled = jar_names_.spelled(id);
  return spelled == nullptr ? nullptr : &jars_.at(*spelled);
}

tl::expected<const Jar*, SentenceRefusal> Ledger::jar_meant(std::string_view id,
                                                            std::string_view example_before,
                                                            std::string_view example_behind) const {
  return name_meant(jar_names_, id, "jar", example_before, example_behind)
      .map([&](const std::string& name) { return &jars_.at(name); });
}

void Ledger::strike(const std::string& id) {
  const auto known = jars_.find(id);
  if (known == jars_.end()) return;
  const auto forget = [&](const std::string& parent) {
    const auto made = made_from_.find(parent);
    if (made == made_from_.end()) return;
    made->second.erase(id);
    if (made->second.empty()) made_from_.erase(made);
  };
  for (const std::string& parent : known->second.made.from) forget(parent);
  if (known->second.split) forget(known->second.split->from);
  jar_names_.remove(id);
  names_.remove(id);
  jars_.erase(known);
}

tl::expected<void, std::string> Ledger::apply_one(const NewJar& made, const JournalEntry& entry) {
  if (const Jar* known = with_id(made.jar)) {
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
  for (const std::string& parent : made.from) made_from_[parent].insert(made.jar);
  jar_names_.add(made.jar);
  names_.add(made.jar);
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
  names_.add(id);
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const SplitJar& split,
                                                  const JournalEntry& entry) {
  if (jars_.count(split.from) == 0) return no_such_jar(split.from);
  if (auto registered = register_split(split, entry); !registered) return registered;
  auto taken = take_split(split, entry);
  if (!taken) strike(split.made.jar);
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
  made_from_[split.from].insert(split.made.jar);
  take_share(jar, parent->second);
  return {};
}

tl::expected<void, std::string> Ledger::take_split(const SplitJar& split,
                                                   const JournalEntry& entry) {
  return apply_one(JarDeed{split.from, TakeOut{split.contents, split.made.jar}}, entry);
}

void Ledger::share_out(const std::string& id) {
  const auto parent = jars_.find(id);
  const auto made = made_from_.find(id);
  if (parent == jars_.end() || made == made_from_.end()) return;
  for (const std::string& child : made->second) {
    Jar& jar = jars_.at(child);
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
  if (collection != nullptr) {
    names_.remove(collection->collection);
    collections_.erase(collection->collection);
  }
  if (registered != nullptr) unregistered_.insert(*registered);
  for (const std::string_view jar : jars_of(act)) derive(std::string(jar));
  return {};
}

const std::map<std::string, Collection>& Ledger::collections() const { return collections_; }

std::vector<std::string> Ledger::jars_from(std::string_view id) const {
  const auto made = made_from_.find(id);
  if (made == made_from_.end()) return {};
  return {made->second.begin(), made->second.end()};
}

std::vector<Portion> Ledger::taken_from(std::string_view jar) const {
  std::vector<Portion> all;
  for (const std::uint64_t number : entries_about(jar)) {
    const Recorded& recorded = recorded_.at(number);
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
  const auto known = about_.find(jar);
  return known == about_.end() ? std::set<std::uint64_t>() : known->second;
}

// What no longer fits once something was withdrawn (a move to where the jar stands now) is left
// out: it comes back if the withdrawn is told anew.
void Ledger::derive(const std::string& id) {
  const auto before = jars_.find(id);
  const bool worked = before != jars_.end() && before->second.parent_worked_in_sugar;
  strike(id);
  const std::set<std::uint64_t> entries = entries_about(id);
  const auto apply_those = [&](bool registrations) {
    for (const std::uint64_t number : entries) {
      const Recorded& recorded = recorded_.at(number);
      if (recorded.withdrawn_by) continue;
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
  // It stays so until pass_on_work() finds otherwise.
  if (const auto after = jars_.find(id); after != jars_.end()) {
    after->second.parent_worked_in_sugar = worked;
  }
  share_out(id);
}

}  // namespace torpor::daemon
