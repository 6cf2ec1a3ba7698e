// Checks of sensors: begun and withdrawn by a sentence, ended by the engine.
#include <fmt/format.h>

#include <algorithm>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/telling.h"
#include "sensors/guided_check.h"

namespace torpor::daemon {
namespace {

// A check begins when it is told: what the sensor said before was taken for the air's.
constexpr Duration kToldSoon = std::chrono::minutes(15);

std::string_view verb_of(const CheckMeans& means) {
  return salt_of(means) != nullptr ? "calibrate" : "check";
}

}  // namespace

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const BeginCheck& begin,
                                                     const Telling& telling) {
  const std::string_view verb = verb_of(begin.means);
  const std::string behind = ' ' + means_text(begin.means);
  const std::vector<ToldSensor> sensors = telling.view.sensors();
  const auto sensor = sensor_meant(sensors, begin.sensor, verb, behind);
  if (!sensor) return tl::unexpected(sensor.error());
  const std::string& id = (*sensor)->id;
  const auto refuse = [&](const std::string& why) {
    return tl::unexpected(refusal(why, "", fmt::format("{} {}{}", verb, id, behind)));
  };
  if (const std::string fault = check_fault(**sensor, begin.means); !fault.empty()) {
    const bool ice_would_do =
        salt_of(begin.means) != nullptr && check_fault(**sensor, MeltingIce{}).empty();
    return tl::unexpected(
        refusal(fault, "", ice_would_do ? fmt::format("check {} in ice", id) : "ask " + id));
  }
  const auto at = moment_of(telling.sentence.at, "at", telling.now, telling.zone);
  if (!at) return tl::unexpected(at.error());
  if (*at < telling.now - kToldSoon) {
    return refuse(
        "a check begins when it is told, for what the sensor said before was taken for "
        "its air's; leave `at` away");
  }
  const auto before = sensor_checks_.find(id);
  const bool replaces = before != sensor_checks_.end() && before->second.waiting.has_value();
  const BeginCheck act{id, begin.means};
  Told told;
  told.entries.push_back(entry_of(act, *at, telling));
  if (auto applied = apply(told.entries.front(), act); !applied) return refuse(applied.error());
  told.inputs.push_back(rules::CheckBegunInput{id, begin.means, *at});
  told.answer = fmt::format(
      "{}: its check {} begins, {} (entry {}){}. {} {}the result comes by itself", id,
      means_text(begin.means), when_text(*at, telling.now, telling.zone),
      told.entries.front().number, replaces ? ", in place of the one that waited" : "",
      GuidedCheck::instructions(begin.means, (*sensor)->temperature),
      instrument_of(begin.means) != nullptr
          ? "It goes on speaking for its air; "
          : "Until it is taken out and in its air again, it does not speak for it: another sensor "
            "there does, or nobody; ");
  return told;
}

// Only the service tells it: no sentence leads here.
tl::expected<Told, SentenceRefusal> Ledger::tell_one(const EndCheck& end, const Telling&) {
  return tl::unexpected(
      refusal("a check ends by itself", "",
              fmt::format("{} {} {}", verb_of(end.means), end.sensor, means_text(end.means))));
}

Told Ledger::end_check(const rules::FinishedCheck& finished, Instant now, Instant wall) {
  const auto known = sensor_checks_.find(finished.sensor);
  Told told;
  if (known == sensor_checks_.end() || !known->second.waiting) return told;
  const EndCheck act{finished.sensor, finished.means, finished.check};
  JournalEntry entry;
  entry.number = next_entry_;
  entry.happened_at = finished.check ? finished.check->at : now;
  entry.recorded_at = wall;
  entry.sentence = fmt::format("{}: {}", finished.sensor, finished.words);
  entry.act = act_to_json(act);
  if (!apply(entry, act)) return told;
  told.answer = entry.sentence;
  if (finished.check) {
    told.answer += fmt::format(" (entry {})", entry.number);
    told.inputs.push_back(rules::SensorCheckedInput{finished.sensor, *finished.check});
  }
  told.entries.push_back(std::move(entry));
  return told;
}

// `recorded` is the entry that is withdrawn, not applied yet.
tl::expected<Told, SentenceRefusal> Ledger::withdraw_check(const WithdrawEntry& withdraw,
                                                           const Recorded& recorded,
                                                           const Telling& telling) {
  const auto refuse = [](const std::string& why, const std::string& sensor) {
    return tl::unexpected(refusal(why, "", "ask " + sensor));
  };
  Told told;
  std::string follows;
  if (const auto* begin = std::get_if<BeginCheck>(&recorded.act)) {
    const SensorChecks& checks = sensor_checks_.at(begin->sensor);
    if (!checks.waiting || checks.waiting->entry != withdraw.entry) {
      return refuse(fmt::format("the check of entry {} has ended; withdraw its result, whose entry "
                                "`ask {}` names",
                                withdraw.entry, begin->sensor),
                    begin->sensor);
    }
    told.inputs.push_back(rules::CheckAbandonedInput{begin->sensor});
    follows = fmt::format("{} speaks for its air again: take it out", begin->sensor);
  } else {
    const auto& end = std::get<EndCheck>(recorded.act);
    if (!end.check) {
      return refuse(
          fmt::format("the check of entry {} gave no result; there is nothing to take back",
                      withdraw.entry),
          end.sensor);
    }
    told.inputs.push_back(rules::CheckWithdrawnInput{end.sensor, *end.check});
    for (const auto& [id, jar] : jars_) {
      if (!jar.retired_at) told.inputs.push_back(rules::JarOutdatedInput{id, end.check->at});
    }
    follows = fmt::format("what {} said since is read without it, and the jars are worked out anew",
                          end.sensor);
  }
  told.entries.push_back(entry_of(withdraw, telling.now, telling));
  if (auto applied = apply(told.entries.front(), withdraw); !applied) {
    return tl::unexpected(refusal(applied.error(), "", "ask jars"));
  }
  if (const auto* begin = std::get_if<BeginCheck>(&recorded.act)) {
    const auto known = sensor_checks_.find(begin->sensor);
    if (known != sensor_checks_.end() && known->second.waiting) {
      const SensorChecks::Waiting& earlier = *known->second.waiting;
      told.inputs.push_back(rules::CheckBegunInput{begin->sensor, earlier.means, earlier.from});
      follows = fmt::format("the check of entry {}, in whose place it was begun, waits again",
                            earlier.entry);
    }
  }
  told.answer = fmt::format(
      "entry {} ({}) is withdrawn because \"{}\"; the journal keeps it, marked "
      "so (entry {}). {}",
      withdraw.entry, shown(recorded.sentence), harmless(withdraw.because),
      told.entries.front().number, follows);
  return told;
}

tl::expected<void, std::string> Ledger::apply_one(const BeginCheck& begin,
                                                  const JournalEntry& entry) {
  sensor_checks_[begin.sensor].waiting =
      SensorChecks::Waiting{entry.number, begin.means, entry.happened_at};
  return {};
}

tl::expected<void, std::string> Ledger::apply_one(const EndCheck& end, const JournalEntry& entry) {
  SensorChecks& checks = sensor_checks_[end.sensor];
  checks.waiting.reset();
  if (!end.check) return {};
  checks.done.push_back({entry.number, end.means, *end.check});
  calibrations_[end.sensor].add(*end.check);
  return {};
}

void Ledger::derive_checks(const std::string& sensor) {
  sensor_checks_.erase(sensor);
  calibrations_.erase(sensor);
  for (const auto& [number, recorded] : recorded_) {
    // What has ended waits no more, whether its result counts or not.
    if (recorded.withdrawn_by) {
      const auto* end = std::get_if<EndCheck>(&recorded.act);
      if (end != nullptr && end->sensor == sensor) sensor_checks_[sensor].waiting.reset();
      continue;
    }
    JournalEntry entry;
    entry.number = number;
    entry.happened_at = recorded.happened_at;
    const auto* begin = std::get_if<BeginCheck>(&recorded.act);
    const auto* end = std::get_if<EndCheck>(&recorded.act);
    if (begin != nullptr && begin->sensor == sensor) (void)apply_one(*begin, entry);
    if (end != nullptr && end->sensor == sensor) (void)apply_one(*end, entry);
  }
}

}  // namespace torpor::daemon
