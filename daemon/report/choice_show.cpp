// How a choice is shown: blocks of text for a terminal, and JSON.
#include <fmt/format.h>

#include <cmath>

#include "daemon/report/choice.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/json_values.h"
#include "daemon/report/printable.h"
#include "daemon/report/text_parts.h"
#include "rules/culture/words.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {
namespace {

std::string_view use_title(rules::Use use) {
  switch (use) {
    case rules::Use::yes:
      return "Use, the first one first";
    case rules::Use::look_first:
      return "Look and smell first";
    case rules::Use::wake_test_first:
      return "Test first: it may not live";
    case rules::Use::no:
      break;
  }
  return "Not for use, or not yet";
}

Paint use_paint(rules::Use use) {
  if (use == rules::Use::yes) return Paint::strong;
  return use == rules::Use::no ? Paint::alarm : Paint::warning;
}

std::string wish_words(const ChoiceWish& wish) {
  std::string words = wish.stage.empty() ? std::string("of every stage") : "of " + wish.stage;
  if (wish.need) words += fmt::format(", at least {} g", shown_number(wish.need->value(), 0));
  return words;
}

std::string facts_of(const Choice& choice) {
  const JarView& jar = choice.candidate.jar;
  std::string words(state_name(jar.standing.state));
  if (!jar.stage.empty()) words += ", " + jar.stage;
  words += choice.candidate.left
               ? fmt::format(", {}", rules::culture::gram_words(choice.candidate.left->value()))
               : std::string(", weight not known");
  const auto age = std::chrono::duration_cast<Duration>(
      std::chrono::duration<double, std::ratio<86400>>(jar.figures.age_days));
  words += fmt::format(", {} old", in_words(age));
  if (!jar.place.empty()) words += ", in " + jar.place;
  return words;
}

Tree choice_tree(const Choice& choice) {
  const JarView& jar = choice.candidate.jar;
  const rules::culture::Figures& figures = jar.figures;
  const auto& progress = figures.wake_progress_percent;
  return {{"jar", jar.jar},
          {"use", std::string(use_name(choice.use()))},
          {"state", std::string(state_name(jar.standing.state))},
          {"deed", jar.standing.deed ? Tree(jar.standing.deed->words) : Tree(nullptr)},
          {"stage", json_text(jar.stage)},
          {"place", json_text(jar.place)},
          {"left_g", json_value(choice.candidate.left)},
          {"covers_need", choice.covers_need},
          {"age_d", json_value(figures.age_days)},
          {"tested", json_value(choice.candidate.tested_at)},
          {"mean_kinetic_temperature_degC", json_value(figures.kinetic_temperature)},
          {"inner_dew_h", json_value(figures.inner_dew_h)},
          {"wake_progress_percent", progress ? json_value(progress->likely) : Tree(nullptr)},
          {"time_to_wake_h", json_value(jar.standing.time_to_wake[rules::culture::kLikely])},
          {"reasons", choice.reasons}};
}

}  // namespace

std::string choice_text(const ChoiceView& view, const TextContext& context) {
  const int width = context.style.width;
  std::string text = heading(context) +
                     paragraph("Jars " + context.units.in(wish_words(view.wish)) + ".", 0, width);
  if (view.ranked.empty()) {
    return text + paragraph("There is none: `torpor jars` lists what stands there.", 0, width);
  }
  if (!view.remark.empty()) text += paragraph(context.units.in(view.remark), 0, width);
  std::size_t number = 0;
  std::optional<rules::Use> under;
  for (const Choice& choice : view.ranked) {
    if (under != choice.use()) {
      under = choice.use();
      text += '\n' +
              painted(use_title(choice.use()), use_paint(choice.use()), context.style.colour) +
              '\n';
    }
    text += paragraph(choice.candidate.jar.jar + ": " + context.units.in(facts_of(choice)), 5,
                      width, fmt::format("{:>3}.", ++number));
    for (const std::string& reason : choice.reasons) {
      text += paragraph(context.units.in(reason), 7, width, "     -");
    }
  }
  return text + '\n' +
         paragraph(
             "Estimates are by the jar's model and no proof: your nose and eyes at the jar "
             "decide.",
             0, width);
}

std::string choice_json(const ChoiceView& view) {
  Tree tree;
  tree["as_of"] = json_value(view.as_of);
  tree["stage"] = json_text(view.wish.stage);
  tree["need_g"] = json_value(view.wish.need);
  tree["ranked"] = Tree::array();
  for (const Choice& choice : view.ranked) tree["ranked"].push_back(choice_tree(choice));
  tree["together"] = view.together.empty() ? Tree(nullptr) : Tree(view.together);
  tree["remark"] = json_text(view.remark);
  return json_dump(tree, 2);
}

}  // namespace torpor::daemon
