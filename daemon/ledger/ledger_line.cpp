// The line of jars: what they are made from, what is split off from them, and what is withdrawn of
// that.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/ledger/act_subjects.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/collection_text.h"
#include "daemon/ledger/deed_answers.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/jar_inputs.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/mixing_answers.h"
#include "daemon/ledger/names.h"
#include "daemon/ledger/new_jar_text.h"
#include "daemon/ledger/registration.h"
#include "daemon/ledger/telling.h"
#include "daemon/ledger/tokens.h"
#include "rules/culture/words.h"

namespace torpor::daemon {

std::optional<SentenceRefusal> Ledger::taken_id(std::string_view id, std::string_view what,
                                                const LocalTime& zone) const {
  if (const Jar* known = with_id(id)) {
    return refusal(
        fmt::format("jar {} exists since {}, and an id is never used again; give this {} another",
                    known->made.jar, date_of(known->registered_at, zone), what),
        "", fmt::format("ask {}", known->made.jar));
  }
  if (const std::string* known = names_.spelled(id)) {
    return refusal(fmt::format("{} is a collection since {}; give this {} another id", *known,
                               date_of(collections_.at(*known).gathered, zone), what),
                   "", fmt::format("ask {}", *known));
  }
  return std::nullopt;
}

tl::expected<std::vector<std::string>, SentenceRefusal> Ledger::parents_meant(
    const NewJar& made, Instant closed, const LocalTime& zone) const {
  std::vector<std::string> parents;
  const std::string before = fmt::format("new jar {} in {} from", made.jar, as_told(made.place));
  for (const std::string& told : made.from) {
    auto parent = name_meant(names_, told, "jar or collection", before);
    if (!parent) return tl::unexpected(parent.error());
    const auto jar = jars_.find(*parent);
    const Instant since =
        jar != jars_.end() ? jar->second.closed() : collections_.at(*parent).gathered;
    // Days: a jar is told as closed on the day it was made from what came in that morning.
    if (date_of(since, zone) > date_of(closed, zone)) {
      return tl::unexpected(
          refusal(fmt::format("{} is closed {}, before {} was {}, {}; which is right?", made.jar,
                              date_of(closed, zone), *parent,
                              jar != jars_.end() ? "closed" : "gathered", date_of(since, zone)),
                  "", fmt::format("ask {}", *parent)));
    }
    if (std::find(parents.begin(), parents.end(), *parent) == parents.end()) {
      parents.push_back(std::move(*parent));
    }
  }
  return parents;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const NewCollection& told_collection,
                                                     const Telling& telling) {
  const LocalTime& zone = telling.zone;
  NewCollection made = told_collection;
  if (auto taken = taken_id(made.collection, "collection", zone)) return tl::unexpected(*taken);
  const std::string example = fmt::format("new collection {} where {} gathered {}", made.collection,
                                          as_told(made.where), date_of(telling.now, zone));
  if (const auto doubt = doubt_about(made)) return tl::unexpected(refusal(*doubt, "", example));
  const auto& said = made.gathered ? made.gathered : telling.sentence.at;
  const auto gathered = moment_of(said, made.gathered ? "gathered" : "at", telling.now, zone);
  if (!gathered) return tl::unexpected(gathered.error());
  if (made.gathered) made.gathered = *gathered;

  Told told;
  told.entries.push_back(entry_of(made, *gathered, telling));
  if (auto applied = apply(told.entries.front(), made); !applied) {
    return tl::unexpected(refusal(applied.error(), "", "ask collections"));
  }
  told.answer =
      fmt::format("{}: {} (entry {}). A jar made from it is told with `from {}`", made.collection,
                  collection_words(collections_.at(made.collection), zone),
                  told.entries.front().number, made.collection);
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const SplitJar& told_split,
                                                     const Telling& telling) {
  const LocalTime& zone = telling.zone;
  const auto at = moment_of(telling.sentence.at, "at", telling.now, zone);
  if (!at) return tl::unexpected(at.error());
  SplitJar split = told_split;
  NewJar& made = split.made;
  const std::string before = fmt::format("split {} from", grams_text(split.contents));
  const auto jar =
      jar_meant(split.from, before, fmt::format(" into {} in {}", made.jar, as_told(made.place)));
  if (!jar) return tl::unexpected(jar.error());
  split.from = (*jar)->made.jar;
  if (auto taken = taken_id(made.jar, "jar", zone)) return tl::unexpected(*taken);
  for (const std::string& id : unregistered_) {
    if (same_word(id, made.jar)) made.jar = id;
  }
  auto place = place_meant(telling.view.places(), made.place,
                           fmt::format("{} {} into {} in", before, split.from, made.jar));
  if (!place) return tl::unexpected(place.error());
  made.place = std::move(*place);
  const auto refuse = [&](const std::string& why) {
    return tl::unexpected(refusal(why, "", fmt::format("ask {}", split.from)));
  };
  const TakeOut take{split.contents, made.jar};
  if (const auto fault = deed_fault(**jar, take, *at)) {
    return refuse(deed_fault_text(*fault, **jar, *at, zone));
  }
  if (const auto doubt = doubt_about(**jar, take, *at)) return refuse(*doubt);

  const std::string left = understood_text(**jar, TakeOut{split.contents, ""}, *at, zone);
  // What cannot be of the new jar as a whole is known once it has its share.
  Ledger after = *this;
  Told told;
  told.entries.push_back(entry_of(split, *at, telling));
  const JournalEntry& entry = told.entries.front();
  if (auto applied = after.apply(entry, split); !applied) return refuse(applied.error());
  const Jar& child = after.jars_.at(made.jar);
  if (const auto doubt = doubt_about_vessel(child.made)) return refuse(*doubt);
  *this = std::move(after);

  // The new jar first: the other one's model still holds all of it.
  const Jar& begun = jars_.at(made.jar);
  add_inputs_of(begun, spoilage_of(begun), told.inputs);
  const Jar& parent = jars_.at(split.from);
  told.inputs.push_back(rules::JarActInput{
      split.from, *at, rules::culture::Act(rules::culture::Take{split.contents})});
  const std::vector<Jar> line = split_line(begun);
  const MixingAnswer mixing =
      at_split(begun, std::any_of(line.begin(), line.end(),
                                  [&](const Jar& older) { return settles_at(older, *at); }));
  told.answer = ahead(mixing.first);
  told.answer += fmt::format(
      "{} holds {} of {} and stands in {} from {} on{}{}; its age, water and work go on from {}'s "
      "(entry {}). {}: {}.",
      made.jar, grams_text(split.contents), split.from, harmless(made.place),
      when_text(*at, telling.now, zone), contents_text(begun.made).empty() ? "" : ": ",
      contents_text(begun.made), split.from, entry.number, split.from, left);
  if (const std::string warning = spoiled_warning(made.jar); !warning.empty()) {
    told.answer = fmt::format("{} Recorded all the same: {}", warning, told.answer);
    told.jars = {split.from, made.jar};
    return told;
  }
  for (const std::string& sentence : advice(parent, take, *at)) told.answer += " " + sentence;
  if (const std::string caution = caution_text(begun.made); !caution.empty()) {
    told.answer += " " + caution;
  }
  for (const std::string& sentence : mixing.then) told.answer += " " + sentence;
  return told;
}

void Ledger::add_work_inputs(Told& told) const {
  for (const auto& [id, was] : was_working_) {
    const auto known = jars_.find(id);
    if (known == jars_.end() || known->second.retired_at) continue;
    const Jar& jar = known->second;
    // One that the sentence registers is told of as it is.
    if (jar.entry >= told_from_ || was == jar.parent_worked_in_sugar) continue;
    add_inputs_of(jar, spoilage_of(jar), told.inputs);
    told.inputs.emplace_back(rules::JarOutdatedInput{id, jar.closed()});
  }
}

void Ledger::add_split_inputs(Told& told) const {
  std::map<std::string, Instant> changed;  // jars, and since when they are other than thought
  const auto note = [&](std::string_view jar, Instant since) {
    const auto [known, is_new] = changed.emplace(jar, since);
    if (!is_new) known->second = std::min(known->second, since);
  };
  for (const JournalEntry& entry : told.entries) {
    const auto recorded = recorded_.find(entry.number);
    if (recorded == recorded_.end()) continue;
    const auto* withdraw = std::get_if<WithdrawEntry>(&recorded->second.act);
    const auto about = withdraw == nullptr ? recorded : recorded_.find(withdraw->entry);
    for (const std::string_view jar : jars_of(about->second.act)) {
      note(jar, about->second.happened_at);
    }
  }
  std::set<std::string> told_of;
  for (const JournalEntry& entry : told.entries) {
    if (const auto* split = std::get_if<SplitJar>(&recorded_.at(entry.number).act)) {
      told_of.insert(split->made.jar);
    }
  }
  Ids line;
  for (const auto& [id, since] : changed) line.merge(with_split_off(id));
  // Down the line: each pass reaches the jars split off from those of the pass before.
  for (bool more = !changed.empty(); more;) {
    more = false;
    for (const std::string& id : line) {
      const auto known = jars_.find(id);
      if (known == jars_.end()) continue;
      const Jar& jar = known->second;
      if (!jar.split || jar.retired_at || told_of.count(id) > 0) continue;
      const auto parent = changed.find(jar.split->from);
      if (parent == changed.end() || parent->second > jar.split->at) continue;
      told_of.insert(id);
      note(id, jar.split->at);
      add_inputs_of(jar, spoilage_of(jar), told.inputs);
      told.inputs.emplace_back(rules::JarOutdatedInput{id, jar.split->at});
      more = true;
    }
  }
}

}  // namespace torpor::daemon
