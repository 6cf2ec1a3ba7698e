#include "daemon/ledger/ledger.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/ledger/alert_answers.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/ask_answers.h"
#include "daemon/ledger/collection_text.h"
#include "daemon/ledger/jar_inputs.h"
#include "daemon/ledger/mixing_answers.h"
#include "daemon/ledger/names.h"
#include "daemon/ledger/new_jar_text.h"
#include "daemon/ledger/registration.h"
#include "daemon/ledger/stays.h"
#include "daemon/ledger/telling.h"
#include "daemon/ledger/tokens.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

namespace {

// Bubbling, sinking and a wet look are normal for so long (design: settling, first 14 days).
constexpr Duration kSettling = std::chrono::hours(14 * 24);

constexpr std::size_t kLongestTeller = 64;  // characters, as `by` in a sentence

void add_sentence(std::string& answer, const std::string& sentence) {
  if (!sentence.empty()) answer += fmt::format(". {}", sentence);
}

std::string settling_text(const Jar& jar, Instant now, const LocalTime& zone) {
  const Instant settled = jar.closed() + kSettling;
  if (settled <= now) return "";
  return fmt::format("It settles until {}: bubbling, sinking and a wet look are normal till then",
                     date_of(settled, zone));
}

// Capital at the start of a clause that becomes a sentence.
std::string as_sentence(std::string clause) {
  if (!clause.empty() && clause.front() >= 'a' && clause.front() <= 'z') {
    clause.front() = static_cast<char>(clause.front() - 'a' + 'A');
  }
  return clause;
}

}  // namespace

std::shared_ptr<const rules::culture::Profile> LedgerView::profile(std::string_view) const {
  static const auto kBuiltIn = std::make_shared<const rules::culture::Profile>();
  return kBuiltIn;
}

const Jar* Ledger::find(std::string_view id) const {
  // Mostly its own name in full; only a person's short form is compared with every name.
  if (const auto exact = jars_.find(std::string(id)); exact != jars_.end()) return &exact->second;
  const auto called = jar_names_.called(id);
  return called.size() == 1 ? &jars_.at(called.front()) : nullptr;
}

const std::map<std::string, Jar>& Ledger::jars() const { return jars_; }

std::vector<std::string> Ledger::jars_at(std::string_view place, Instant t) const {
  std::vector<std::string> ids;
  for (const auto& [id, jar] : jars_) {
    const Stay* stay = jar.stay_at(t);
    if (stay != nullptr && rules::is_at_or_below(stay->place, place)) ids.push_back(id);
  }
  return ids;
}

JournalEntry Ledger::entry_of(const Act& act, Instant happened_at, const Telling& telling) const {
  JournalEntry entry;
  entry.number = next_entry_;
  entry.happened_at = happened_at;
  entry.recorded_at = telling.wall;
  entry.by = telling.sentence.by;
  entry.sentence = std::string(telling.text);
  entry.act = act_to_json(act);
  return entry;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const NewJar& told_jar,
                                                     const Telling& telling) {
  const LocalTime& zone = telling.zone;
  if (auto taken = taken_id(told_jar.jar, "jar", zone)) return tl::unexpected(*taken);
  NewJar made = told_jar;
  for (const std::string& id : unregistered_) {
    // A registration that was withdrawn is told again: the same jar, spelled as before.
    if (same_word(id, made.jar)) made.jar = id;
  }
  auto place =
      place_meant(telling.view.places(), made.place, fmt::format("new jar {} in", made.jar));
  if (!place) return tl::unexpected(place.error());
  made.place = std::move(*place);
  if (const auto doubt = doubt_about(made)) {
    return tl::unexpected(refusal(
        *doubt, "",
        fmt::format("new jar {} in {} rice 1200 g raw 560 g sugar 1250 g vessel glass 3.8 l",
                    made.jar, as_told(made.place))));
  }
  const auto closed = moment_of(made.closed, "closed", telling.now, zone);
  if (!closed) return tl::unexpected(closed.error());
  if (made.closed) made.closed = *closed;
  const auto from =
      telling.sentence.at ? moment_of(telling.sentence.at, "at", telling.now, zone) : closed;
  if (!from) return tl::unexpected(from.error());
  if (made.closed && *from < *made.closed) {
    return tl::unexpected(
        refusal(fmt::format("`at` {} is before it was closed, {}; which is right?",
                            zone.to_text(*from), zone.to_text(*made.closed)),
                "",
                fmt::format("new jar {} in {} closed {}", made.jar, as_told(made.place),
                            date_of(*made.closed, zone))));
  }

  if (const auto cannot = rules::culture::check_recipe(recipe_of(made, *from)); !cannot) {
    return tl::unexpected(refusal(cannot.error(), "", kNewJarExample));
  }

  auto parents = parents_meant(made, made.closed.value_or(*from), zone);
  if (!parents) return tl::unexpected(parents.error());
  made.from = std::move(*parents);

  const auto alike = jar_names_.called(made.jar);
  Told told;
  told.entries.push_back(entry_of(made, *from, telling));
  told.answer = fmt::format("{} is registered in {} from {} on", made.jar, harmless(made.place),
                            when_text(*from, telling.now, zone));
  if (made.closed) told.answer += fmt::format(", closed {}", date_of(*made.closed, zone));
  if (const std::string contents = contents_text(made); !contents.empty()) {
    told.answer += fmt::format(": {}", contents);
  }
  if (!made.from.empty()) {
    told.answer += fmt::format("; from {}", listed(made.from, made.from.size()));
  }
  told.answer += fmt::format(" (entry {})", told.entries.front().number);
  if (!alike.empty()) {
    add_sentence(told.answer,
                 fmt::format("It is another jar than {}: write both in full", alike.front()));
  }
  if (auto applied = apply(told.entries.front(), made); !applied) {
    return tl::unexpected(refusal(applied.error(), "", "ask jars"));
  }
  const Jar& jar = jars_.at(made.jar);
  add_inputs_of(jar, spoilage_of(jar), told.inputs);
  MixingAnswer mixing;
  if (const std::string warning = spoiled_warning(made.jar); !warning.empty()) {
    told.answer = fmt::format("{} Recorded all the same: {}", warning, told.answer);
  } else {
    mixing = at_registration(jar, telling.now, *telling.view.profile(made.stage));
    told.brief = mixing.brief;
    told.answer = ahead(mixing.first) + told.answer;
  }
  if (!jar.events.empty()) {
    add_sentence(told.answer, fmt::format("What was noted of it before counts again: {} entries",
                                          jar.events.size()));
  }
  for (const std::string& sentence : mixing.then) add_sentence(told.answer, without_stop(sentence));
  add_sentence(told.answer, settling_text(jars_.at(made.jar), telling.now, zone));
  add_sentence(told.answer, as_sentence(missing_text(made)));
  add_sentence(told.answer, caution_text(made));
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const DeferAlert& defer,
                                                     const Telling& telling) {
  auto told = told_deferred(defer, telling.sentence.by, telling.view.open_alerts(), telling.now,
                            telling.zone);
  if (told && telling.sentence.at) told->answer += " (from now on; `at` does not reach back here)";
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const SeenAlert& seen,
                                                     const Telling& telling) {
  auto told = told_seen(seen, telling.sentence.by, telling.view.open_alerts());
  if (told && telling.sentence.at) told->answer += " (from now on; `at` does not reach back here)";
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const Ask& ask, const Telling& telling) {
  Told told;
  const std::vector<std::string> places = telling.view.places();
  if (ask.about == "todo") {
    told.answer = telling.view.todo();
    std::replace(told.answer.begin(), told.answer.end(), '\n', ' ');
  } else if (ask.about == "alerts") {
    told.answer = alerts_answer(telling.view.open_alerts());
  } else if (ask.about == "jars") {
    told.answer = jars_answer(jars_);
  } else if (ask.about == "places") {
    told.answer = places_answer(places, jars_);
  } else if (ask.about == "collections") {
    told.answer = collections_answer(*this, telling.zone);
  } else {
    auto answer = about_answer(ask.about, *this, places, telling.view, telling.zone);
    if (!answer) return tl::unexpected(answer.error());
    told.answer = std::move(*answer);
  }
  if (telling.sentence.at) told.answer += " (as it is now; `at` does not reach back here)";
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell(const Sentence& sentence, std::string_view text,
                                                 Instant now, Instant wall, const LocalTime& zone,
                                                 const LedgerView& view) {
  // A client's own name for itself reaches here unread by parse_sentence().
  Sentence cleaned = sentence;
  cleaned.by = harmless(sentence.by, kLongestTeller);
  const Telling telling{text, cleaned, now, wall, zone, view};
  told_from_ = next_entry_;
  was_working_.clear();
  auto told = std::visit([&](const auto& act) { return tell_one(act, telling); }, sentence.act);
  if (!told) return told;
  add_split_inputs(*told);
  add_work_inputs(*told);
  for (const std::string& note : sentence.notes) add_sentence(told->answer, as_sentence(note));
  return told;
}

tl::expected<void, std::string> Ledger::replay(const JournalEntry& entry) {
  const auto refuse = [&](std::string_view why) {
    return tl::unexpected(fmt::format("journal entry {}: {}", entry.number, why));
  };
  if (entry.number < next_entry_) {
    return refuse(fmt::format("out of order, {} is the next", next_entry_));
  }
  next_entry_ = entry.number + 1;
  was_working_.clear();
  const auto act = act_from_json(entry.act);
  if (!act) return refuse(act.error());
  const auto applied = apply(entry, *act);
  if (!applied) return refuse(applied.error());
  return {};
}

std::vector<rules::Input> Ledger::placements() const {
  std::vector<rules::Input> inputs;
  for (const auto& [sensor, checks] : sensor_checks_) {
    if (!checks.waiting) continue;
    inputs.push_back(rules::CheckBegunInput{sensor, checks.waiting->means, checks.waiting->from});
  }
  for (const auto& [id, jar] : jars_) {
    if (!jar.retired_at) add_inputs_of(jar, spoilage_of(jar), inputs);
  }
  return inputs;
}

}  // namespace torpor::daemon
