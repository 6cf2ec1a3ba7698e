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

}  // namespace

struct Ledger::DeedTold {
  JournalEntry entry;
  rules::Input input;
  std::string understood;
  std::string follows;  // empty: nothing is known of it
  std::string state;    // by the model; empty: unknown
  std::optional<RevisedJar> revised;
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
  auto model = telling.view.model(id);
  const bool late = is_told_late(at, telling.now);
  const auto* weighing = std::get_if<culture::Weighing>(&deed);
  auto doubt = doubt_about(jar, deed, at);
  // The model knows what water came and went since; the figures told do not.
  if (weighing != nullptr && model && !late) doubt = model->doubt(*weighing);
  if (doubt) return refuse(*doubt);

  DeedTold told;
  told.understood = understood_text(jar, deed, at, telling.zone);
  const JarDeed act{id, deed};
  told.entry = entry_of(act, at, telling);
  if (auto applied = apply(told.entry, act); !applied) return refuse(applied.error());
  told.advice = advice(jars_.at(id), deed, at);
  if (auto event = model_event(deed)) {
    told.input = input_of(id, {at, told.entry.number, std::move(*event)});
  } else {
    told.input = rules::JarRetiredInput{id, at};
    return told;
  }
  if (model && late) {
    told.follows = "noted late";
    told.revised = RevisedJar{id, model_text(*model)};
  } else if (model) {
    tell_model(*model, at, deed);
    told.follows = follows_text(*model);
    told.state = culture::state_name(model->verdict().state);
  }
  const Jar& after = jars_.at(id);
  told.mixing =
      at_deed(after, deed, telling.now, one_of_several, model && !late ? &*model : nullptr,
              *telling.view.profile(after.made.stage));
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const JarDeed& told_deed,
                                                     const Telling& telling) {
  const auto at = moment_of(telling.sentence.at, "at", telling.now, telling.zone);
  if (!at) return tl::unexpected(at.error());
  const DeedExample example = example_of(told_deed.deed);
  const auto ids = jars_meant(told_deed.jar, *at, example.before, example.behind, telling);
  if (!ids) return tl::unexpected(ids.error());

  // All or none of several; one alone changes nothing when it is refused.
  const bool several = ids->size() > 1;
  Ledger copy;
  if (several) copy = *this;
  Ledger& after = several ? copy : *this;
  Told all;
  std::vector<std::string> first, sentences, states, amiss;
  const auto add_once = [](std::vector<std::string>& all_said, std::string sentence) {
    const bool said = std::find(all_said.begin(), all_said.end(), sentence) != all_said.end();
    if (!said) all_said.push_back(std::move(sentence));
  };
  std::string understood, follows;
  for (const std::string& id : *ids) {
    auto told = after.tell_deed(id, told_deed.deed, *at, several, telling);
    if (!told) return tl::unexpected(told.error());
    all.entries.push_back(std::move(told->entry));
    all.inputs.push_back(std::move(told->input));
    understood = std::move(told->understood);
    follows = std::move(told->follows);
    if (told->revised) all.revised.push_back(std::move(*told->revised));
    if (!told->state.empty()) states.push_back(fmt::format("{} {}", id, told->state));
    for (std::string& sentence : told->mixing.first) add_once(first, std::move(sentence));
    for (std::string& sentence : told->mixing.then) add_once(sentences, std::move(sentence));
    for (std::string& sentence : told->advice) add_once(sentences, std::move(sentence));
    if (!told->mixing.brief.empty()) {
      amiss.push_back(fmt::format("{} ({})", id, told->mixing.brief));
    }
  }
  if (several) {
    *this = std::move(copy);
    // What differs from jar to jar (a cover instead of another) is left to `ask`.
    understood = understood_text(Jar{}, told_deed.deed, *at, telling.zone);
    follows = states.empty() ? "" : fmt::format("by their models: {}", listed(states, kMostToldOf));
    if (!amiss.empty()) {
      first.push_back(fmt::format("Look at these first: {}.", listed(amiss, kMostToldOf)));
    }
  }
  all.answer = ahead(first);
  all.answer += fmt::format("{}: {}, {}{}{} ({})", listed(*ids, kMostToldOf), understood,
                            when_text(*at, telling.now, telling.zone), follows.empty() ? "" : "; ",
                            follows, entries_text(all.entries));
  for (const std::string& sentence : sentences) {
    all.answer += fmt::format("{} {}", all.answer.back() == '.' ? "" : ".", sentence);
  }
  return all;
}

}  // namespace torpor::daemon
