// What was done to jars and seen of them: the sentence carried out and answered.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/deed_answers.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/jar_inputs.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/mixing_answers.h"
#include "daemon/ledger/telling.h"

namespace torpor::daemon {

namespace {

namespace culture = rules::culture;

constexpr std::size_t kMostToldOf = 40;  // ids in one line

// A sentence with an id between these two is an example of the deed.
struct DeedExample {
  std::string_view before, behind;
};
DeedExample example_of(const Deed& deed) {
  constexpr DeedExample kExamples[] = {
      {"add sugar 120 g to", ""},
      {"take 200 g from", ""},
      {"open", ""},
      {"cover", " with kraft"},
      {"retire", " because \"used up\""},
      {"observe", " all well"},
      {"weigh", " 4005 g with vessel"},
      {"measure", " level 9 cm"},
      {"measure", " headspace 82 %"},
      {"wake test", " lively"},
  };
  static_assert(std::size(kExamples) == std::variant_size_v<Deed>);
  return kExamples[deed.index()];
}

void tell_model(culture::JarModel& model, Instant at, const Deed& deed) {
  const auto event = model_event(deed);
  if (!event) return;
  if (const auto* act = std::get_if<culture::Act>(&*event)) model.act(at, *act);
  if (const auto* seen = std::get_if<culture::Observation>(&*event)) model.observe(at, *seen);
}

bool tells(const Deed& deed, culture::Sign sign) {
  const auto* look = std::get_if<culture::Look>(&deed);
  return look != nullptr &&
         std::find(look->signs.begin(), look->signs.end(), sign) != look->signs.end();
}

bool spoils(const Deed& deed) {
  const auto* look = std::get_if<culture::Look>(&deed);
  return look != nullptr &&
         std::any_of(look->signs.begin(), look->signs.end(),
                     [](culture::Sign sign) { return culture::facts(sign).spoils; });
}

// Told this soon after a sign, `all well` contradicts it; the model takes the sign's word.
constexpr Duration kSameLook = std::chrono::minutes(1);

// "Bubbling was told of A4 a moment ago (entry 12), and counts until the next look: ..."; empty: no
// sign of waking or spoiling was told within the minute.
std::string contradiction(const Jar& jar, const Deed& deed, Instant at) {
  if (!tells(deed, culture::Sign::all_well)) return {};
  for (auto event = jar.events.rbegin(); event != jar.events.rend(); ++event) {
    if (event->at > at || event->at <= at - kSameLook) continue;
    const auto* seen = std::get_if<culture::Observation>(&event->what);
    const auto* look = seen == nullptr ? nullptr : std::get_if<culture::Look>(seen);
    if (look == nullptr) continue;
    for (const culture::Sign sign : look->signs) {
      const culture::SignFacts& about = culture::facts(sign);
      if (about.weight == culture::Weight::none && !about.spoils) continue;
      return fmt::format(
          "You told `{}` of {} less than a minute before (entry {}): which is right? The sign "
          "counts until a later look. If it was a mistake, tell `withdraw entry {} because "
          "\"mistaken\"`.",
          about.name, jar.made.jar, event->entry, event->entry);
    }
  }
  return {};
}

}  // namespace

struct Ledger::DeedTold {
  JournalEntry entry;
  rules::Input input;
  std::string understood;
  std::optional<RevisedJar> revised;
  std::string warning;  // before everything else; empty: none
  bool is_spoiled = false;
  std::vector<std::string> advice;
  MixingAnswer mixing;
};

tl::expected<Ledger::DeedTold, SentenceRefusal> Ledger::tell_deed(const std::string& id,
                                                                  const Deed& deed, Instant at,
                                                                  bool one_of_several,
                                                                  const Telling& telling) {
  const Jar& jar = jars_.at(id);
  const DeedExample example = example_of(deed);
  const auto refuse = [&](const std::string& why) {
    return tl::unexpected(
        refusal(why, "", fmt::format("{} {}{}", example.before, id, example.behind)));
  };
  if (const auto fault = deed_fault(jar, deed, at)) {
    return refuse(deed_fault_text(*fault, jar, at, telling.zone));
  }
  const bool late = is_told_late(at, telling.now);
  const auto* weighing = std::get_if<culture::Weighing>(&deed);
  auto doubt = doubt_about(jar, deed, at);
  // The model knows what water came and went since; the figures told do not.
  if (weighing != nullptr && !late) {
    if (const auto model = telling.view.model(id)) doubt = model->doubt(*weighing);
  }
  if (doubt) return refuse(*doubt);

  DeedTold told;
  told.warning = contradiction(jar, deed, at);
  // To retire it, or to change its lid, is what was asked for.
  const bool asked_for =
      std::holds_alternative<RetireJar>(deed) || std::holds_alternative<culture::ChangeCover>(deed);
  if (std::string spoiled = spoiled_warning(id); !spoiled.empty() && !asked_for) {
    told.warning = std::move(spoiled);
  }
  told.understood = understood_text(jar, deed, at, telling.zone);
  const JarDeed act{id, deed};
  told.entry = entry_of(act, at, telling);
  if (auto applied = apply(told.entry, act); !applied) return refuse(applied.error());
  // Of a spoiled jar its standing says the only thing that is to be done.
  told.is_spoiled = spoilage_of(jars_.at(id)).has_value();
  if (!told.is_spoiled) told.advice = advice(jars_.at(id), deed, at);
  if (auto event = model_event(deed)) {
    told.input = input_of(id, {at, told.entry.number, std::move(*event)});
  } else {
    told.input = rules::JarRetiredInput{id, at};
    return told;
  }
  if (late) told.revised = revised_now(id, telling.view);
  if (!told.is_spoiled) {
    auto model = late ? std::nullopt : telling.view.model(id);
    if (model) tell_model(*model, at, deed);
    const Jar& after = jars_.at(id);
    told.mixing = at_deed(after, deed, telling.now, one_of_several, model ? &*model : nullptr,
                          *telling.view.profile(after.made.stage));
  }
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const JarDeed& told_deed,
                                                     const Telling& telling) {
  const auto at = moment_of(telling.sentence.at, "at", telling.now, telling.zone);
  if (!at) return tl::unexpected(at.error());
  const DeedExample example = example_of(told_deed.deed);
  auto ids = jars_meant(told_deed.jar, *at, example.before, example.behind, telling);
  if (!ids) return tl::unexpected(ids.error());
  // A whole shelf looks well, but for what is spoiled on it.
  std::vector<std::string> passed_over;
  if (ids->size() > 1 && tells(told_deed.deed, culture::Sign::all_well)) {
    std::erase_if(*ids, [&](const std::string& id) {
      const bool spoiled = spoilage_of(jars_.at(id)).has_value();
      if (spoiled) passed_over.push_back(id);
      return spoiled;
    });
    if (ids->empty()) {
      return tl::unexpected(
          refusal(fmt::format("{} are spoiled, and stay so whatever is seen later",
                              listed(passed_over, kMostToldOf)),
                  "", fmt::format("ask {}", passed_over.front())));
    }
  }

  // All or none of several; one alone changes nothing when it is refused.
  const bool several = ids->size() > 1;
  Ledger copy;
  if (several) copy = *this;
  Ledger& after = several ? copy : *this;
  Told all;
  std::vector<std::string> first, sentences, warnings, amiss;
  const auto add_once = [](std::vector<std::string>& to, std::string sentence) {
    const bool said = std::find(to.begin(), to.end(), sentence) != to.end();
    if (!said && !sentence.empty()) to.push_back(std::move(sentence));
  };
  std::string understood;
  for (const std::string& id : *ids) {
    auto told = after.tell_deed(id, told_deed.deed, *at, several, telling);
    if (!told) return tl::unexpected(told.error());
    all.entries.push_back(std::move(told->entry));
    all.inputs.push_back(std::move(told->input));
    understood = std::move(told->understood);
    if (told->revised) {
      all.revised.push_back(std::move(*told->revised));
    } else if (!std::holds_alternative<RetireJar>(told_deed.deed)) {
      all.jars.push_back(id);
    }
    for (std::string& sentence : told->mixing.first) add_once(first, std::move(sentence));
    for (std::string& sentence : told->mixing.then) add_once(sentences, std::move(sentence));
    if (!told->mixing.brief.empty()) {
      amiss.push_back(fmt::format("{} ({})", id, told->mixing.brief));
    }
    add_once(warnings, std::move(told->warning));
    for (std::string& sentence : told->advice) add_once(sentences, std::move(sentence));
  }
  if (several) {
    *this = std::move(copy);
    // What differs from jar to jar (a cover instead of another) is left to `ask`.
    understood = understood_text(Jar{}, told_deed.deed, *at, telling.zone);
    if (!amiss.empty()) {
      first.push_back(fmt::format("Look at these first: {}.", listed(amiss, kMostToldOf)));
    }
  }
  if (spoils(told_deed.deed)) add_spoilage_inputs(*ids, all);
  for (const std::string& warning : warnings) all.answer += warning + " ";
  if (!warnings.empty()) all.answer += "Recorded all the same: ";
  all.answer += ahead(first);
  all.answer += fmt::format("{}: {}, {}{} ({})", listed(*ids, kMostToldOf), understood,
                            when_text(*at, telling.now, telling.zone),
                            all.revised.empty() ? "" : "; noted late", entries_text(all.entries));
  if (!passed_over.empty()) {
    all.answer += fmt::format(
        ". Not of {}: spoiled, and that stays whatever is seen later; `ask {}` says why and what "
        "to do",
        listed(passed_over, kMostToldOf), passed_over.front());
  }
  for (const std::string& sentence : sentences) {
    all.answer += fmt::format("{} {}", all.answer.back() == '.' ? "" : ".", sentence);
  }
  return all;
}

}  // namespace torpor::daemon
