// An entry taken back: what stands then, old against new.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/ledger/act_subjects.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/deed_answers.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/jar_inputs.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/telling.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kMostMadeFrom = 8;  // in one line

std::string contents_words(const Jar& jar, Instant now) {
  const auto grams = contents_at(jar, now);
  return grams ? fmt::format("about {}", grams_text(*grams)) : std::string("an unknown weight");
}

std::string cover_words(const Jar& jar, Instant now) {
  const auto cover = cover_at(jar, now);
  return cover ? std::string(cover_name(*cover)) : std::string("an unknown cover");
}

// "; it holds about 1390 g (it was about 1190 g)": what is told of the jar now that was told
// otherwise before. Empty: only its model changes.
std::string told_changes(const Jar& before, const Jar& after, Instant now, const LocalTime& zone) {
  std::string text;
  const auto add = [&](std::string_view what, const std::string& is, const std::string& was) {
    if (is != was) text += fmt::format("; {} {} now (before: {})", what, is, was);
  };
  if (before.retired_at && !after.retired_at) text += "; it is in use again (before: retired)";
  if (!after.retired_at) {
    const Stay& is = after.stays.back();
    const Stay& was = before.stays.back();
    add("it stands in",
        fmt::format("{} since {}", harmless(is.place), when_text(is.from, now, zone)),
        fmt::format("{} since {}", harmless(was.place), when_text(was.from, now, zone)));
  }
  add("it holds", contents_words(after, now), contents_words(before, now));
  add("it is covered with", cover_words(after, now), cover_words(before, now));
  add("it was", works_at(after, now) ? "seen working" : "not seen working lately",
      works_at(before, now) ? "seen working" : "not seen working lately");
  return text;
}

}  // namespace

std::optional<std::string> Ledger::cannot_be_withdrawn(std::uint64_t number) const {
  const auto found = recorded_.find(number);
  if (found == recorded_.end()) {
    return recorded_.empty()
               ? std::string("the journal is empty; there is nothing to withdraw")
               : fmt::format(
                     "there is no entry {}; the last is {}, and `torpor jar ID` lists a "
                     "jar's",
                     number, recorded_.rbegin()->first);
  }
  const Recorded& recorded = found->second;
  if (recorded.withdrawn_by) {
    return fmt::format("entry {} was withdrawn already, by entry {}", number,
                       *recorded.withdrawn_by);
  }
  if (std::holds_alternative<WithdrawEntry>(recorded.act)) {
    return fmt::format("entry {} is a withdrawal; tell again what was true after all", number);
  }
  const auto* collection = std::get_if<NewCollection>(&recorded.act);
  const std::string* registered =
      collection != nullptr ? &collection->collection : registered_by(recorded.act);
  if (registered == nullptr) return std::nullopt;
  const auto made = jars_from(*registered);
  if (made.empty()) return std::nullopt;
  std::vector<std::string> first;
  first.reserve(made.size());
  for (const std::string& jar : made) {
    first.push_back(fmt::format("{} (entry {})", jar, jars_.at(jar).entry));
  }
  return fmt::format("{} {} made from {}: withdraw {} first and tell {} anew, or leave {} as it is",
                     listed(made, kMostMadeFrom), made.size() == 1 ? "was" : "were", *registered,
                     listed(first, kMostMadeFrom), made.size() == 1 ? "it" : "them", *registered);
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const WithdrawEntry& withdraw,
                                                     const Telling& telling) {
  const auto refuse = [&](const std::string& why) {
    return tl::unexpected(refusal(why, "", "ask jars"));
  };
  if (const auto cannot = cannot_be_withdrawn(withdraw.entry)) return refuse(*cannot);
  const Recorded recorded = recorded_.at(withdraw.entry);
  if (std::holds_alternative<BeginCheck>(recorded.act) ||
      std::holds_alternative<EndCheck>(recorded.act)) {
    return withdraw_check(withdraw, recorded, telling);
  }
  if (std::holds_alternative<DateAnew>(recorded.act)) {
    return withdraw_dates(withdraw, recorded, telling);
  }
  std::map<std::string, Jar> before;
  std::vector<std::string> concerned;
  for (const std::string_view jar : jars_of(recorded.act)) {
    const auto known = jars_.find(std::string(jar));
    if (known != jars_.end()) before.insert(*known);
    concerned.emplace_back(jar);
  }
  std::vector<std::string> spoiled;
  for (const std::string& id : with_descendants(concerned)) {
    const auto known = jars_.find(id);
    if (known != jars_.end() && spoilage_of(known->second)) spoiled.push_back(id);
  }
  Told told;
  told.entries.push_back(entry_of(withdraw, telling.now, telling));
  if (auto applied = apply(told.entries.front(), withdraw); !applied) {
    return refuse(applied.error());
  }
  told.answer = fmt::format(
      "entry {} ({}) is withdrawn because \"{}\"; the journal keeps it, marked so (entry {})",
      withdraw.entry, shown(recorded.sentence), harmless(withdraw.because),
      told.entries.front().number);
  for (const std::string_view jar : jars_of(recorded.act)) {
    const std::string id(jar);
    const auto was = before.find(id);
    add_withdrawn(id, was == before.end() ? nullptr : &was->second, recorded.happened_at, telling,
                  told);
  }
  if (!spoiled.empty()) add_spoilage_inputs(concerned, told);
  std::vector<std::string> freed;
  for (const std::string& id : spoiled) {
    const auto known = jars_.find(id);
    if (known != jars_.end() && !spoilage_of(known->second)) freed.push_back(id);
  }
  if (!freed.empty()) {
    told.answer += fmt::format(". {} {} no longer spoiled: nothing else that was noted spoils {}",
                               listed(freed, kMostMadeFrom), freed.size() == 1 ? "is" : "are",
                               freed.size() == 1 ? "it" : "them");
    for (const std::string& id : freed) {
      if (std::find(concerned.begin(), concerned.end(), id) == concerned.end()) {
        told.jars.push_back(id);
      }
    }
  }
  if (const auto* collection = std::get_if<NewCollection>(&recorded.act)) {
    told.answer += fmt::format(". There is no collection {} now; no jar was made from it",
                               collection->collection);
  }
  return told;
}

void Ledger::add_withdrawn(const std::string& id, const Jar* before, Instant since,
                           const Telling& telling, Told& told) const {
  const auto after = jars_.find(id);
  if (after == jars_.end()) {
    if (before != nullptr) told.inputs.push_back(rules::JarRetiredInput{id, telling.now});
    told.answer += fmt::format(
        ". {} is not in the ledger now; tell it anew with `new jar`, and what else was noted of it "
        "counts again",
        id);
    return;
  }
  const Jar& jar = after->second;
  if (before != nullptr) {
    if (before->retired_at && !jar.retired_at) {
      add_inputs_of(jar, spoilage_of(jar), told.inputs);
    } else if (before->stays != jar.stays && !jar.retired_at) {
      const Stay& stay = jar.stays.back();
      told.inputs.push_back(rules::JarPlacedInput{id, stay.place, stay.from});
    }
    const std::string changes = told_changes(*before, jar, telling.now, telling.zone);
    if (!changes.empty()) told.answer += fmt::format(". {}: {}", id, changes.substr(2));
  }
  // The engine may have what was withdrawn among what it has not settled yet.
  told.inputs.push_back(rules::JarOutdatedInput{id, since, true});
  for (const JarEvent& event : jar.events) {
    if (event.at >= since) told.inputs.push_back(input_of(id, event));
  }
  told.revised.push_back(revised_now(id, telling.view));
}

}  // namespace torpor::daemon
