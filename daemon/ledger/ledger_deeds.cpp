// What was done to jars and seen of them: the sentence carried out and answered.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/deed_answers.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/jar_inputs.h"
#include "daemon/ledger/ledger.h"
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

std::string deed_fault_text(DeedFault fault, const Jar& jar, Instant at, const LocalTime& zone) {
  switch (fault) {
    case DeedFault::retired:
      return fmt::format(
          "{} was retired on {}; if that was a mistake, withdraw that entry (`torpor jar {}` "
          "lists it)",
          jar.made.jar, date_of(*jar.retired_at, zone), jar.made.jar);
    case DeedFault::before_the_jar:
      return fmt::format("{} is in the ledger only from {} on, and this is told of {}",
                         jar.made.jar, zone.to_text(std::min(jar.closed(), jar.stays.front().from)),
                         zone.to_text(at));
    case DeedFault::moved_later:
      return fmt::format("{} was moved to {} on {}, after that; which is right?", jar.made.jar,
                         harmless(jar.stays.back().place), zone.to_text(jar.stays.back().from));
  }
  return "";
}

std::string entries_text(const std::vector<JournalEntry>& entries) {
  return entries.size() == 1
             ? fmt::format("entry {}", entries.front().number)
             : fmt::format("entries {} to {}", entries.front().number, entries.back().number);
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
  std::vector<std::string> advice;
};

tl::expected<Ledger::DeedTold, SentenceRefusal> Ledger::tell_deed(const std::string& id,
                                                                  const Deed& deed, Instant at,
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
    told.follows = fmt::format(
        "noted late: its model is worked out anew from then, and `ask {}` says what follows", id);
  } else if (model) {
    tell_model(*model, at, deed);
    told.follows = follows_text(*model);
    told.state = culture::state_name(model->verdict().state);
  }
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
  std::vector<std::string> sentences, states;
  std::string understood, follows;
  for (const std::string& id : *ids) {
    auto told = after.tell_deed(id, told_deed.deed, *at, telling);
    if (!told) return tl::unexpected(told.error());
    all.entries.push_back(std::move(told->entry));
    all.inputs.push_back(std::move(told->input));
    understood = std::move(told->understood);
    follows = std::move(told->follows);
    if (!told->state.empty()) states.push_back(fmt::format("{} {}", id, told->state));
    for (std::string& sentence : told->advice) {
      const bool said = std::find(sentences.begin(), sentences.end(), sentence) != sentences.end();
      if (!said) sentences.push_back(std::move(sentence));
    }
  }
  if (several) {
    *this = std::move(copy);
    // What differs from jar to jar (a cover instead of another) is left to `ask`.
    understood = understood_text(Jar{}, told_deed.deed, *at, telling.zone);
    follows = states.empty() ? "" : fmt::format("by their models: {}", listed(states, kMostToldOf));
  }
  all.answer = fmt::format("{}: {}, {}{}{} ({})", listed(*ids, kMostToldOf), understood,
                           when_text(*at, telling.now, telling.zone), follows.empty() ? "" : "; ",
                           follows, entries_text(all.entries));
  for (const std::string& sentence : sentences) {
    all.answer += fmt::format("{} {}", all.answer.back() == '.' ? "" : ".", sentence);
  }
  return all;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const WithdrawEntry& withdraw,
                                                     const Telling& telling) {
  const auto refuse = [&](const std::string& why) {
    return tl::unexpected(refusal(why, "", "ask jars"));
  };
  const auto found = recorded_.find(withdraw.entry);
  if (found == recorded_.end()) {
    return refuse(recorded_.empty()
                      ? std::string("the journal is empty; there is nothing to withdraw")
                      : fmt::format("there is no entry {}; the last is {}, and `torpor jar ID` "
                                    "lists a jar's",
                                    withdraw.entry, recorded_.rbegin()->first));
  }
  if (found->second.withdrawn_by) {
    return refuse(fmt::format("entry {} was withdrawn already, by entry {}", withdraw.entry,
                              *found->second.withdrawn_by));
  }
  if (std::holds_alternative<WithdrawEntry>(found->second.act)) {
    return refuse(fmt::format("entry {} is a withdrawal; tell again what was true after all",
                              withdraw.entry));
  }
  const Recorded recorded = found->second;
  if (std::holds_alternative<BeginCheck>(recorded.act) ||
      std::holds_alternative<EndCheck>(recorded.act)) {
    return withdraw_check(withdraw, recorded, telling);
  }
  const std::string id = std::visit(
      [](const auto& act) {
        if constexpr (requires { act.jar; }) {
          return act.jar;
        } else {
          return std::string();
        }
      },
      recorded.act);
  const auto before = jars_.find(id) == jars_.end() ? std::nullopt : std::optional(jars_.at(id));
  Told told;
  told.entries.push_back(entry_of(withdraw, telling.now, telling));
  if (auto applied = apply(told.entries.front(), withdraw); !applied) {
    return refuse(applied.error());
  }
  const auto after = jars_.find(id);
  told.answer = fmt::format(
      "entry {} ({}) is withdrawn because \"{}\"; the journal keeps it, "
      "marked so (entry {})",
      withdraw.entry, shown(recorded.sentence), harmless(withdraw.because),
      told.entries.front().number);
  if (after == jars_.end()) {
    if (before) told.inputs.push_back(rules::JarRetiredInput{id, telling.now});
    told.answer += fmt::format(
        ". {} is not in the ledger now; tell it anew with `new jar`, and what "
        "else was noted of it counts again",
        id);
    return told;
  }
  const Jar& jar = after->second;
  if (before && before->retired_at && !jar.retired_at) {
    add_inputs_of(jar, told.inputs);
    told.answer += fmt::format(". {} is in use again", id);
  } else if (before && before->stays != jar.stays && !jar.retired_at) {
    const Stay& stay = jar.stays.back();
    told.inputs.push_back(rules::JarPlacedInput{id, stay.place, stay.from});
    told.answer += fmt::format(". {} stands in {} since {}", id, harmless(stay.place),
                               when_text(stay.from, telling.now, telling.zone));
  }
  if (before && contents_at(*before, telling.now) != contents_at(jar, telling.now)) {
    if (const auto left = contents_at(jar, telling.now)) {
      told.answer += fmt::format(". {} holds about {} by what is told now", id, grams_text(*left));
    }
  }
  told.inputs.push_back(rules::JarOutdatedInput{id, recorded.happened_at});
  told.answer += fmt::format(". What follows for {} is worked out anew; `ask {}` says it", id, id);
  return told;
}

}  // namespace torpor::daemon
