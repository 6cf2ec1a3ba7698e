#include "daemon/report/choice.h"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/tokens.h"
#include "daemon/report/duration_words.h"
#include "rules/culture/words.h"

namespace torpor::daemon {
namespace {

namespace culture = rules::culture;
using culture::State;

using rules::Use;

constexpr double kDewWorthSaying = 1.0;       // h
constexpr double kProgressWorthSaying = 1.0;  // %

bool covers(const Candidate& candidate, const ChoiceWish& wish) {
  return !wish.need || (candidate.left && *candidate.left >= *wish.need);
}

// Hours to waking by the likely set; what is due comes first, what is unknown last.
double hours_to_wake(const JarView& jar) {
  using Kind = culture::WakeTime::Kind;
  const culture::WakeTime& time = jar.standing.time_to_wake[culture::kLikely];
  switch (time.kind) {
    case Kind::due:
      return 0.0;
    case Kind::within:
      return time.hours;
    case Kind::beyond:
      return culture::kSightHours;
    case Kind::unknown:
      break;
  }
  return 2.0 * culture::kSightHours;
}

double progress_percent(const JarView& jar) {
  const auto& progress = jar.figures.wake_progress_percent;
  return progress ? progress->likely : 0.0;
}

// Before others: what covers the need, then what will not sleep much longer, then what has been
// through more.
auto order_of(const Choice& choice) {
  const JarView& jar = choice.candidate.jar;
  const auto& kinetic = jar.figures.kinetic_temperature;
  return std::tuple(choice.use(), !choice.covers_need, hours_to_wake(jar), -progress_percent(jar),
                    -(kinetic ? kinetic->value() : 0.0), -jar.figures.age_days, jar.jar);
}

// What is to be done before it is used, and why.
void say_standing(Choice& choice) {
  const rules::Standing& standing = choice.candidate.jar.standing;
  if (standing.deed) {
    choice.reasons.push_back(
        standing.urgency
            ? fmt::format("{}: {}", urgency_words(*standing.urgency), standing.deed->words)
            : standing.deed->words);
  }
  if (!standing.why.empty()) choice.reasons.push_back(standing.why);
}

void say_figures(Choice& choice) {
  const JarView& jar = choice.candidate.jar;
  const culture::Figures& figures = jar.figures;
  if (choice.use() == Use::no) return;
  std::string been;
  const auto add = [&](const std::string& clause) { been += (been.empty() ? "" : "; ") + clause; };
  if (figures.kinetic_temperature) {
    add(fmt::format("its air was {:.1f} °C in the kinetic mean",
                    figures.kinetic_temperature->value()));
  }
  if (progress_percent(jar) >= kProgressWorthSaying) {
    add(fmt::format("{:.0f} % of the work to waking is done, by estimate", progress_percent(jar)));
  }
  if (figures.inner_dew_h >= kDewWorthSaying) {
    add(fmt::format("water condensed inside for {}", culture::round_words(figures.inner_dew_h)));
  }
  if (been.empty()) return;
  been.front() = been.front() == 'i' ? 'I' : been.front() == 'w' ? 'W' : been.front();
  choice.reasons.push_back(been + ".");
}

void say_need(Choice& choice, const ChoiceWish& wish) {
  if (!wish.need || choice.covers_need || choice.use() == Use::no) return;
  choice.reasons.push_back(
      choice.candidate.left
          ? fmt::format("It holds less than the {} needed.", grams_text(*wish.need))
          : fmt::format("What it holds is not known: weigh it (`weigh {} 2555 g`).",
                        choice.candidate.jar.jar));
}

// The first two that cover the need, the most usable pair first; else all that are usable.
void find_together(ChoiceView& view) {
  if (!view.wish.need) return;
  std::vector<const Choice*> usable;
  for (const Choice& choice : view.ranked) {
    if (choice.use() == Use::no || !choice.candidate.left) continue;
    if (choice.covers_need) return;
    usable.push_back(&choice);
  }
  const double need = view.wish.need->value();
  double all = 0.0;
  for (const Choice* choice : usable) all += choice->candidate.left->value();
  // By the later of the two: one sound and one doubtful jar are a doubtful pair.
  for (std::size_t second = 1; second < usable.size(); ++second) {
    for (std::size_t first = 0; first < second; ++first) {
      const double both =
          usable[first]->candidate.left->value() + usable[second]->candidate.left->value();
      if (both < need) continue;
      view.together = {usable[first]->candidate.jar.jar, usable[second]->candidate.jar.jar};
      view.remark = fmt::format("No jar alone has {}: {} and {} together have {}.",
                                grams_text(*view.wish.need), view.together[0], view.together[1],
                                culture::gram_words(both));
      return;
    }
  }
  view.remark = usable.empty()
                    ? std::string("No jar that may be used has a known weight.")
                    : fmt::format("No two jars have {} together; all that may be used have {}.",
                                  grams_text(*view.wish.need), culture::gram_words(all));
}

}  // namespace

Candidate candidate_of(const Jar& jar, JarView view) {
  Candidate candidate;
  const Instant now = view.as_of;
  candidate.left = contents_at(jar, now);
  for (const JarEvent& event : jar.events) {
    const auto* seen = std::get_if<culture::Observation>(&event.what);
    if (seen == nullptr || event.at > now) continue;
    if (std::holds_alternative<culture::WakeTest>(*seen)) candidate.tested_at = event.at;
  }
  candidate.jar = std::move(view);
  return candidate;
}

ChoiceView rank_jars(std::vector<Candidate> candidates, ChoiceWish wish, Instant as_of) {
  ChoiceView view;
  view.wish = std::move(wish);
  view.as_of = as_of;
  for (Candidate& candidate : candidates) {
    const bool other_stage =
        !view.wish.stage.empty() && !same_word(candidate.jar.stage, view.wish.stage);
    if (candidate.jar.standing.state == State::retired || other_stage) continue;
    Choice choice;
    choice.covers_need = covers(candidate, view.wish);
    choice.candidate = std::move(candidate);
    say_standing(choice);
    say_need(choice, view.wish);
    say_figures(choice);
    view.ranked.push_back(std::move(choice));
  }
  std::sort(view.ranked.begin(), view.ranked.end(),
            [](const Choice& a, const Choice& b) { return order_of(a) < order_of(b); });
  // Only beside others is one the nearest.
  const auto asleep = std::count_if(
      view.ranked.begin(), view.ranked.end(),
      [](const Choice& choice) { return choice.use() == Use::yes && choice.covers_need; });
  if (asleep > 1) {
    view.ranked.front().reasons.insert(
        view.ranked.front().reasons.begin(),
        "Use it before the others: of those that sleep it is nearest to waking.");
  }
  find_together(view);
  return view;
}

}  // namespace torpor::daemon
