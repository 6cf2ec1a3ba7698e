// Entries that were noted while the board's clock was wrong: dated anew, and back.
#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <utility>

#include "daemon/ledger/act_subjects.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/jar_inputs.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/telling.h"

namespace torpor::daemon {
namespace {

// A day that was told stands for its midnight, which may lie before the clock went wrong.
constexpr Duration kDay = std::chrono::hours(24);

std::optional<Instant>* day_told_in(Act& act) {
  if (auto* made = std::get_if<NewJar>(&act)) return &made->closed;
  if (auto* split = std::get_if<SplitJar>(&act)) return &split->made.closed;
  if (auto* collection = std::get_if<NewCollection>(&act)) return &collection->gathered;
  return nullptr;
}

void date_anew(Instant& happened_at, Act& act, const DateAnew& anew) {
  const Instant was = happened_at;
  if (happened_at >= anew.from) happened_at += anew.by;
  if (auto* day = day_told_in(act); day != nullptr && *day && **day > anew.from - kDay) {
    const bool is_its_own = **day == was;
    **day += std::chrono::round<std::chrono::days>(anew.by);
    if (is_its_own) happened_at = **day;
  }
  auto* end = std::get_if<EndCheck>(&act);
  if (end != nullptr && end->check && end->check->at >= anew.from) end->check->at += anew.by;
}

}  // namespace

tl::expected<void, std::string> Ledger::apply_one(const DateAnew& anew, const JournalEntry& entry) {
  for (auto& [number, recorded] : recorded_) {
    if (number < anew.first || number > anew.last || recorded.noted) continue;
    recorded.noted = Recorded::Noted{recorded.happened_at, recorded.act};
  }
  // Among those that count from here on.
  recorded_.insert_or_assign(entry.number, Recorded{entry.happened_at, anew, entry.sentence,
                                                    std::nullopt, entry.recorded_at});
  derive_entries(anew);
  return {};
}

// From how they were first written, through every dating that still counts.
void Ledger::derive_entries(const DateAnew& anew) {
  std::set<std::string> jars, sensors;
  for (auto& [number, recorded] : recorded_) {
    if (number < anew.first || number > anew.last || !recorded.noted) continue;
    recorded.happened_at = recorded.noted->happened_at;
    recorded.act = recorded.noted->act;
    for (const auto& [other, dating] : recorded_) {
      const auto* counts = std::get_if<DateAnew>(&dating.act);
      if (counts == nullptr || dating.withdrawn_by) continue;
      if (number < counts->first || number > counts->last) continue;
      torpor::daemon::date_anew(recorded.happened_at, recorded.act, *counts);
    }
    for (const std::string_view jar : jars_of(recorded.act)) jars.emplace(jar);
    if (const auto* begin = std::get_if<BeginCheck>(&recorded.act)) sensors.insert(begin->sensor);
    if (const auto* end = std::get_if<EndCheck>(&recorded.act)) sensors.insert(end->sensor);
    if (const auto* made = std::get_if<NewCollection>(&recorded.act)) {
      if (recorded.withdrawn_by) continue;
      collections_.erase(made->collection);
      JournalEntry entry;
      entry.number = number;
      entry.happened_at = recorded.happened_at;
      (void)apply_one(*made, entry);
    }
  }
  for (const std::string& jar : jars) derive(jar);
  for (const std::string& sensor : sensors) derive_checks(sensor);
}

std::vector<rules::Input> Ledger::inputs_of_entries(const DateAnew& anew) const {
  std::vector<rules::Input> inputs;
  std::set<std::string> jars;
  for (const auto& [number, recorded] : recorded_) {
    if (number < anew.first || number > anew.last || recorded.withdrawn_by) continue;
    for (const std::string_view jar : jars_of(recorded.act)) jars.emplace(jar);
    const auto* end = std::get_if<EndCheck>(&recorded.act);
    const auto* noted =
        end != nullptr && recorded.noted ? std::get_if<EndCheck>(&recorded.noted->act) : nullptr;
    if (noted == nullptr || !noted->check) continue;
    inputs.emplace_back(rules::CheckWithdrawnInput{noted->sensor, *noted->check});
    inputs.emplace_back(rules::SensorCheckedInput{end->sensor, *end->check});
  }
  for (const std::string& id : jars) {
    const auto jar = jars_.find(id);
    if (jar == jars_.end() || jar->second.retired_at) continue;
    add_inputs_of(jar->second, spoilage_of(jar->second), inputs);
  }
  for (const std::string& id : with_descendants({jars.begin(), jars.end()})) {
    const auto jar = jars_.find(id);
    if (jar == jars_.end() || jar->second.retired_at || jars.contains(id)) continue;
    inputs.emplace_back(rules::JarSpoiledInput{id, spoilage_of(jar->second)});
  }
  return inputs;
}

Told Ledger::date_anew(Instant from, Duration by, Instant now, Instant wall) {
  DateAnew anew{next_entry_, next_entry_ - 1, from, by};
  for (auto recorded = recorded_.rbegin(); recorded != recorded_.rend(); ++recorded) {
    if (recorded->second.recorded_at < from) break;
    if (std::holds_alternative<DateAnew>(recorded->second.act)) break;
    anew.first = recorded->first;
  }
  JournalEntry entry;
  entry.number = next_entry_;
  entry.happened_at = now;
  entry.recorded_at = wall;
  entry.sentence = "the board's clock was wrong; what was noted meanwhile is dated anew";
  Told told;
  entry.act = act_to_json(anew);
  (void)apply(entry, anew);  // made here: it applies
  told.inputs = inputs_of_entries(anew);
  const std::uint64_t count = anew.last + 1 - anew.first;
  told.answer = fmt::format("{} entr{}", count, count == 1 ? "y" : "ies");
  told.entries.push_back(std::move(entry));
  return told;
}

std::optional<Instant> Ledger::happened_at(std::uint64_t entry) const {
  const auto found = recorded_.find(entry);
  return found == recorded_.end() ? std::nullopt : std::optional(found->second.happened_at);
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const DateAnew&, const Telling&) {
  return tl::unexpected(refusal("the service dates entries anew by itself", "", "ask jars"));
}

// `recorded` is the entry that is withdrawn, not applied yet.
tl::expected<Told, SentenceRefusal> Ledger::withdraw_dates(const WithdrawEntry& withdraw,
                                                           const Recorded& recorded,
                                                           const Telling& telling) {
  const auto anew = std::get<DateAnew>(recorded.act);
  Told told;
  told.entries.push_back(entry_of(withdraw, telling.now, telling));
  if (auto applied = apply(told.entries.front(), withdraw); !applied) {
    return tl::unexpected(refusal(applied.error(), "", "ask jars"));
  }
  told.inputs = inputs_of_entries(anew);
  told.answer = fmt::format(
      "entry {} ({}) is withdrawn because \"{}\"; what was noted then counts at the time that was "
      "first written (entry {}). Readings keep the times they were given",
      withdraw.entry, shown(recorded.sentence), harmless(withdraw.because),
      told.entries.front().number);
  return told;
}

}  // namespace torpor::daemon
