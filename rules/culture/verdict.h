// What is said of a jar: its state, the reasons in plain words, and the figures with their ranges.
// Every figure is an estimate unless it was told.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/culture/forecast.h"
#include "rules/culture/recipe.h"
#include "rules/culture/score.h"
#include "sensors/reading.h"

namespace torpor::rules::culture {

//   settling --(14 d)--> dormant --progress or a weak sign--> waking --predicted 100 %--> due
//        \                  |                                    |                         |
//         `-----------------+------------ observed --------------+-------------------------+-->
//         awake
//   doubtful: heat or age may have killed it        unwatched: too little trusted air to say
// Published by name: do not rename.
enum class State : std::uint8_t {
  settling,
  dormant,
  waking,
  due,
  awake,
  doubtful,
  unwatched,
  retired,
};
[[nodiscard]] std::string_view state_name(State state);

struct Ensemble {
  double cautious = 0.0, likely = 0.0, hopeful = 0.0;
  friend bool operator==(const Ensemble&, const Ensemble&) = default;
};

// Figures that cost nothing to ask for: no forecast. nullopt: cannot be known.
struct Figures {
  Instant at;
  double age_days = 0.0;
  std::optional<double> settled_in_days;   // nullopt: it has settled
  std::optional<double> test_due_in_days;  // until it has slept too long untested; nullopt: it has
  double coverage_percent = 0.0;           // of all time since closing: temperature and humidity
  std::optional<Celsius> temperature;      // of the contents
  std::optional<Celsius> highest_temperature;
  std::optional<Celsius> kinetic_temperature;        // of the air it stood in
  std::array<double, 4> hours_above{};               // 38, 40, 42, 45 degC, of the contents
  std::optional<KelvinDifference> self_heating;      // a probe over what air explains
  std::optional<KelvinDifference> outer_dew_margin;  // glass over the air's dew point
  std::optional<KelvinDifference> inner_dew_margin;  // lid over the dew point inside
  double outer_dew_h = 0.0, inner_dew_h = 0.0;
  std::optional<double> opened_h;     // since last opened
  std::optional<Instant> open_since;  // opened, and not covered since
  Instant closed_at;                  // when its sleep began
  std::optional<Instant> looked_at;   // when a keeper last told what they saw
  Cover cover = Cover::paper;         // as told; paper where it was not
  bool cracked = false;               // told so: no look makes its glass whole
  std::optional<Ensemble> surface_activity, body_activity;
  std::optional<Ensemble> water_gained_g;    // through the mouth since closing; negative: lost
  std::optional<Ensemble> water_buffer_g;    // before all sugar in the jar is dissolved
  std::optional<Ensemble> topping_buffer_g;  // before the topping is; nullopt without one
  std::optional<Ensemble> wake_progress_percent, slow_work_percent;
  std::optional<Ensemble> sugar_shortfall_g;  // to leave some undissolved, stirred in
  double gas_lost_g = 0.0;
  // What was seen of waking and not answered since: 1 for each weak sign, 2 for each strong one. A
  // jar is awake from 2 on.
  std::size_t waking_signs = 0;
};

struct Verdict {
  State state = State::unwatched;
  std::vector<std::string> reasons;  // most important first
  Figures figures;
  std::array<WakeTime, kMembers> time_to_wake;  // cautious (soonest), likely, hopeful
  Guild waking_guild = Guild::yeast;            // who leads in the likely member
  std::optional<double> gain_per_day_g;         // of this air, likely
  std::vector<Unknowable> unknown;
  Score score;
};

// "in about 7 weeks (3 weeks to 4 months)", "not in sight within 180 days (...)".
[[nodiscard]] std::string to_words(const std::array<WakeTime, kMembers>& times);
// Hours as a keeper says them: "about 5 hours", "about 3 days", "about 7 weeks", "about 4 months".
[[nodiscard]] std::string round_words(double hours);

}  // namespace torpor::rules::culture
