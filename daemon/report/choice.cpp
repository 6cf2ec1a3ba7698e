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

// Common practice, no source: a culture that slept for a year is tested before it is counted on.
constexpr double kUntestedDays = 365.0;
// Less is a warm noon.
constexpr double kHotHours = 1.0;
constexpr std::size_t kHot = 1;               // 40 °C among Figures::hours_above
constexpr double kDewWorthSaying = 1.0;       // h
constexpr double kProgressWorthSaying = 1.0;  // %

double untested_days(const Candidate& candidate) {
  const double age = candidate.jar.verdict.figures.age_days;
  if (!candidate.tested_at) return age;
  return std::chrono::duration<double, std::ratio<86400>>(candidate.jar.as_of -
                                                          *candidate.tested_at)
      .count();
}

Advice advice_for(const Candidate& candidate) {
  if (candidate.spoilt) return Advice::never;
  switch (candidate.jar.verdict.state) {
    case State::awake:
    case State::settling:
    case State::retired:
      return Advice::not_now;
    default:
      break;
  }
  if (candidate.lively == false) return Advice::not_now;
  const State state = candidate.jar.verdict.state;
  if (state == State::doubtful || untested_days(candidate) > kUntestedDays) {
    return Advice::test_first;
  }
  return state == State::dormant ? Advice::use : Advice::look_first;
}

bool covers(const Candidate& candidate, const ChoiceWish& wish) {
  return !wish.need || (candidate.left && *candidate.left >= *wish.need);
}

bool noted_spoilt(const Jar& jar, Instant until) {
  return std::any_of(jar.events.begin(), jar.events.end(), [until](const JarEvent& event) {
    const auto* seen = std::get_if<culture::Observation>(&event.what);
    const auto* look = seen == nullptr ? nullptr : std::get_if<culture::Look>(seen);
    return look != nullptr && event.at <= until &&
           std::any_of(look->signs.begin(), look->signs.end(),
                       [](culture::Sign sign) { return culture::facts(sign).spoils; });
  });
}

// Hours to waking by the likely set; what is due comes first, what is unknown last.
double hours_to_wake(const JarView& jar) {
  using Kind = culture::WakeTime::Kind;
  const culture::WakeTime& time = jar.verdict.time_to_wake[culture::kLikely];
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
  const auto& progress = jar.verdict.figures.wake_progress_percent;
  return progress ? progress->likely : 0.0;
}

// Before others: what covers the need, then what will not sleep much longer, then what has been
// through more.
auto order_of(const Choice& choice) {
  const JarView& jar = choice.candidate.jar;
  const auto& kinetic = jar.verdict.figures.kinetic_temperature;
  return std::tuple(choice.advice, !choice.covers_need, hours_to_wake(jar), -progress_percent(jar),
                    -(kinetic ? kinetic->value() : 0.0), -jar.verdict.figures.age_days, jar.jar);
}

std::string test_sentence(const Candidate& candidate) {
  return fmt::format(
      "Test first: a spoonful in warm sugar water for two days; then tell `wake test {} lively` or "
      "`wake test {} quiet`.",
      candidate.jar.jar, candidate.jar.jar);
}

void say_advice(Choice& choice) {
  const Candidate& candidate = choice.candidate;
  const culture::Figures& figures = candidate.jar.verdict.figures;
  auto& reasons = choice.reasons;
  switch (choice.advice) {
    case Advice::never:
      reasons.emplace_back(
          "Coloured growth or a rotten smell was noted: keep it from food, do not use or share.");
      return;
    case Advice::not_now:
      if (candidate.jar.verdict.state == State::settling) {
        reasons.emplace_back(
            "It still settles: leave it closed until its first two weeks are over.");
      } else if (candidate.jar.verdict.state == State::awake) {
        reasons.emplace_back("It is awake: what works is not kept, and not taken for what sleeps.");
      } else {
        reasons.push_back(fmt::format(
            "Its last wake test showed no life: test another spoonful, then tell `wake test {} "
            "lively` or `wake test {} quiet`.",
            candidate.jar.jar, candidate.jar.jar));
      }
      return;
    case Advice::test_first:
      if (figures.hours_above[kHot] >= kHotHours) {
        reasons.push_back(fmt::format("It was above 40 °C for {:.0f} h, which may have killed it.",
                                      figures.hours_above[kHot]));
      }
      if (untested_days(candidate) > kUntestedDays) {
        reasons.push_back(fmt::format("{} without a wake test.",
                                      culture::round_words(24.0 * untested_days(candidate))));
      }
      reasons.push_back(test_sentence(candidate));
      return;
    case Advice::look_first:
      reasons.emplace_back(
          candidate.jar.verdict.state == State::unwatched
              ? "Too little is known of the air it stood in: look and smell first, and tell it."
              : "It may be waking: look and smell first, and use it soon if all is well.");
      return;
    case Advice::use:
      return;
  }
}

void say_figures(Choice& choice) {
  const JarView& jar = choice.candidate.jar;
  const culture::Figures& figures = jar.verdict.figures;
  if (choice.advice == Advice::never || choice.advice == Advice::not_now) return;
  if (hours_to_wake(jar) <= culture::kSightHours) {
    choice.reasons.push_back(
        fmt::format("Waking {}, by estimate.", culture::to_words(jar.verdict.time_to_wake)));
  }
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
  if (!wish.need || choice.covers_need || choice.advice > Advice::test_first) return;
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
    if (choice.advice > Advice::test_first || !choice.candidate.left) continue;
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

std::string_view advice_name(Advice advice) {
  switch (advice) {
    case Advice::use:
      return "use";
    case Advice::look_first:
      return "look_first";
    case Advice::test_first:
      return "test_first";
    case Advice::not_now:
      return "not_now";
    case Advice::never:
      break;
  }
  return "never";
}

Candidate candidate_of(const Jar& jar, std::span<const Jar> split_line, JarView view) {
  Candidate candidate;
  const Instant now = view.as_of;
  candidate.left = contents_at(jar, now);
  const Jar* child = &jar;
  for (const Jar& parent : split_line) {
    candidate.spoilt = candidate.spoilt || noted_spoilt(parent, child->split->at);
    child = &parent;
  }
  candidate.spoilt = candidate.spoilt || noted_spoilt(jar, now);
  for (const JarEvent& event : jar.events) {
    const auto* seen = std::get_if<culture::Observation>(&event.what);
    if (seen == nullptr || event.at > now) continue;
    if (const auto* test = std::get_if<culture::WakeTest>(seen)) {
      candidate.lively = test->lively;
      candidate.tested_at = event.at;
    }
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
    if (candidate.jar.verdict.state == State::retired || other_stage) continue;
    Choice choice;
    choice.advice = advice_for(candidate);
    choice.covers_need = covers(candidate, view.wish);
    choice.candidate = std::move(candidate);
    say_advice(choice);
    say_need(choice, view.wish);
    say_figures(choice);
    view.ranked.push_back(std::move(choice));
  }
  std::sort(view.ranked.begin(), view.ranked.end(),
            [](const Choice& a, const Choice& b) { return order_of(a) < order_of(b); });
  // Only beside others is one the nearest.
  const auto asleep = std::count_if(
      view.ranked.begin(), view.ranked.end(),
      [](const Choice& choice) { return choice.advice == Advice::use && choice.covers_need; });
  if (asleep > 1) {
    view.ranked.front().reasons.insert(
        view.ranked.front().reasons.begin(),
        "Use first: of those that sleep soundly it is nearest to waking.");
  }
  find_together(view);
  return view;
}

}  // namespace torpor::daemon
