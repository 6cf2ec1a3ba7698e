// Figures, state and reasons of a jar. Part of JarModel; reads the state, changes nothing.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "rules/air/psychrometrics.h"
#include "rules/culture/jar_model.h"
#include "rules/culture/words.h"

namespace torpor::rules::culture {
namespace {

constexpr double kMsPerHour = 3.6e6;
// Predicted progress from which a jar is called waking: half the work for the likely jar, or all of
// it for the cautious one while the likely one has begun. The cautious jar alone only asks for a
// look: most jars of common practice would else be called waking within months.
constexpr double kWakingLikely = 0.5;
constexpr double kWakingCautious = 1.0;
constexpr double kBegun = 0.1;
constexpr double kWorthSaying = 0.05;  // g a day of water: below it a buffer lasts for ever

double hours_between(std::int64_t from, std::int64_t to) {
  return static_cast<double>(to - from) / kMsPerHour;
}

template <class F>
Ensemble ensemble(F of) {
  return {of(kCautious), of(kLikely), of(kHopeful)};
}

}  // namespace

std::string_view state_name(State state) {
  switch (state) {
    case State::settling:
      return "settling";
    case State::dormant:
      return "dormant";
    case State::waking:
      return "waking";
    case State::due:
      return "due";
    case State::awake:
      return "awake";
    case State::doubtful:
      return "doubtful";
    case State::unwatched:
      return "unwatched";
    case State::retired:
      break;
  }
  return "retired";
}

// Works on a settled copy of the jar: all air is worked in up to at().
class VerdictWriter {
 public:
  explicit VerdictWriter(const JarModel& jar) : jar_(jar) {
    jar_.flush();
    jar_.close_stretch();
  }
  [[nodiscard]] Figures figures() const;
  [[nodiscard]] Verdict verdict() const;

 private:
  [[nodiscard]] const JarState& state() const { return jar_.state_; }
  [[nodiscard]] const Parameters& set() const { return jar_.profile_->sets[kLikely]; }
  [[nodiscard]] bool has_mix() const { return !state().members[kLikely].stack.empty(); }
  [[nodiscard]] double progress(std::size_t m) const {
    return wake_progress(state().members[m], state().works_in_sugar);
  }
  void add_looks(Figures& figures) const;
  void add_heat(Figures& figures) const;
  void add_dew(Figures& figures) const;
  void add_water(Figures& figures) const;
  [[nodiscard]] std::size_t evidence(Weight weight) const;
  [[nodiscard]] bool awake() const;
  [[nodiscard]] bool doubtful() const;
  [[nodiscard]] bool watched() const;
  [[nodiscard]] State judge() const;
  void say_state(Verdict& verdict) const;
  void say_signs(Verdict& verdict) const;
  void say_harm(Verdict& verdict) const;
  void say_water(Verdict& verdict) const;
  void say_time(Verdict& verdict) const;
  void say_trust(Verdict& verdict) const;

  JarModel jar_;
};

Figures VerdictWriter::figures() const {
  Figures result;
  result.at = instant_of(state().consumed);
  result.age_days = hours_between(state().closed_at, state().consumed) / 24.0;
  if (jar_.settling()) result.settled_in_days = set().settling_days - state().settled_days;
  const double untested =
      hours_between(std::max(state().closed_at, state().tested_at), state().consumed) / 24.0;
  if (untested < set().untested_age) result.test_due_in_days = set().untested_age - untested;
  if (state().hours > 0.0) {
    result.coverage_percent = 100.0 * state().covered_hours / state().hours;
  }
  if (state().opened_at != kNever) {
    result.opened_h = hours_between(state().opened_at, state().consumed);
  }
  if (state().open_since != kNever) result.open_since = instant_of(state().open_since);
  add_looks(result);
  result.gas_lost_g = state().gas_lost;
  result.waking_signs = evidence(Weight::weak) + 2 * evidence(Weight::strong);
  add_heat(result);
  add_dew(result);
  add_water(result);
  return result;
}

void VerdictWriter::add_looks(Figures& result) const {
  result.closed_at = instant_of(state().closed_at);
  result.cover = state().cover;
  result.cracked = state().seen_at[static_cast<std::size_t>(Sign::cracked)] != kNever;
  for (std::size_t s = 0; s < kSigns; ++s) {
    const std::int64_t seen = state().seen_at[s];
    const Sign sign = static_cast<Sign>(s);
    if (seen == kNever) continue;
    const bool newer = !result.looked_at || instant_of(seen) > *result.looked_at;
    if (facts(sign).by_keeper && newer) result.looked_at = instant_of(seen);
  }
}

void VerdictWriter::add_heat(Figures& result) const {
  const HeatState& heat = state().heat[kLikely];
  result.hours_above = heat.hours_above;
  if (state().has_temperature) {
    result.temperature = Celsius(heat.temperature + state().probe_offset);
    result.highest_temperature = Celsius(heat.highest);
  }
  if (!state().kinetic.empty()) result.kinetic_temperature = state().kinetic.mean();
  if (state().self_heating.known()) {
    result.self_heating = KelvinDifference(state().self_heating.excess());
  }
}

void VerdictWriter::add_dew(Figures& result) const {
  result.outer_dew_h = state().outer_dew_hours;
  result.inner_dew_h = state().members[kLikely].inner_dew_hours;
  const Air& air = state().pending;
  if (!air.has_temperature()) return;
  const double contents = state().heat[kLikely].temperature + state().probe_offset;
  const double glass = between(air.temperature(), contents, set().glass_share);
  if (air.has_humidity() && air.vapour() > 0.0) {
    result.outer_dew_margin = Celsius(glass) - air::dew_point(Pascal(air.vapour()));
  }
  if (!has_mix()) return;
  const double inside = state().members[kLikely].stack.surface_activity() *
                        air::saturation_vapour_pressure(Celsius(contents)).value();
  const double share = facts(state().cover).hygroscopic ? set().glass_share : set().lid_share;
  const Celsius cold(between(air.temperature(), contents, share));
  if (inside > 0.0) result.inner_dew_margin = cold - air::dew_point(Pascal(inside));
}

void VerdictWriter::add_water(Figures& result) const {
  if (!has_mix()) return;
  const auto& members = state().members;
  result.surface_activity = ensemble([&](auto m) { return members[m].stack.surface_activity(); });
  result.body_activity = ensemble([&](auto m) { return members[m].stack.body_activity(); });
  result.water_gained_g = ensemble([&](auto m) { return members[m].gained; });
  result.water_buffer_g =
      ensemble([&](auto m) { return water_buffer(members[m].stack.whole(), jar_.chemistry(m)); });
  if (members[kLikely].stack.has_topping()) {
    result.topping_buffer_g = ensemble(
        [&](auto m) { return water_buffer(members[m].stack.surface().mix, jar_.chemistry(m)); });
  }
  result.wake_progress_percent = ensemble([&](auto m) { return 100.0 * progress(m); });
  result.slow_work_percent = ensemble([&](auto m) {
    return 100.0 * members[m].progress[static_cast<std::size_t>(Guild::osmotolerant)];
  });
  const SugarKind kind = jar_.recipe_.sugar_kind.value_or(SugarKind::brown);
  result.sugar_shortfall_g = ensemble([&](auto m) {
    return sugar_to_saturate(members[m].stack.whole(), kind, jar_.chemistry(m)).sugar;
  });
}

std::size_t VerdictWriter::evidence(Weight weight) const {
  std::size_t found = 0;
  for (std::size_t s = 0; s < kSigns; ++s) {
    if (state().evidence_at[s] == kNever) continue;
    if (facts(static_cast<Sign>(s)).weight == weight) ++found;
  }
  return found;
}

bool VerdictWriter::awake() const {
  return evidence(Weight::strong) > 0 || evidence(Weight::weak) > 1;
}

bool VerdictWriter::doubtful() const {
  const auto& hours = state().heat[kLikely].hours_above;  // of 38, 40, 42, 45 degC
  const std::int64_t tested = std::max(state().closed_at, state().tested_at);
  return state().found_dead || hours[3] >= set().heat_45_hours || hours[1] >= set().heat_40_hours ||
         hours_between(tested, state().consumed) > 24.0 * set().untested_age;
}

bool VerdictWriter::watched() const {
  // A young jar is judged by the time it has had.
  const double age = hours_between(state().closed_at, state().consumed);
  const double window = 24.0 * set().coverage_days;
  double covered = age < window && state().hours > 0.0 ? state().covered_hours / state().hours
                                                       : state().coverage;
  // A look that found it well answers for the time before it.
  const std::int64_t well = state().seen_at[static_cast<std::size_t>(Sign::all_well)];
  if (well != kNever) {
    covered = std::max(covered, 1.0 - hours_between(well, state().consumed) / window);
  }
  return has_mix() && covered >= set().coverage_needed;
}

State VerdictWriter::judge() const {
  if (state().retired_at != kNever) return State::retired;
  if (awake()) return State::awake;
  if (doubtful()) return State::doubtful;
  const bool settling = jar_.settling();
  if (has_mix()) {
    if (progress(kLikely) >= 1.0) return State::due;
    if (progress(kLikely) >= kWakingLikely) return State::waking;
    const bool begun = progress(kCautious) >= kWakingCautious && progress(kLikely) >= kBegun;
    if (!settling && begun) return State::waking;
  }
  if (evidence(Weight::weak) > 0) return State::waking;
  if (settling) return State::settling;
  return watched() ? State::dormant : State::unwatched;
}

Verdict VerdictWriter::verdict() const {
  Verdict result;
  result.figures = figures();
  result.state = judge();
  result.unknown = unknowable(jar_.recipe_);
  result.score = state().score;
  const auto members = jar_.forecasts();
  for (std::size_t m = 0; m < kMembers; ++m) result.time_to_wake[m] = members[m].wake;
  std::sort(result.time_to_wake.begin(), result.time_to_wake.end(), sooner);
  result.waking_guild = members[kLikely].guild;
  if (members[kLikely].wake.kind != WakeTime::Kind::unknown) {
    result.gain_per_day_g = members[kLikely].gain_per_day;
  }
  // What was seen is no longer a matter of prediction.
  if (result.state == State::awake) {
    result.time_to_wake.fill({WakeTime::Kind::due, 0.0});
  }
  if (result.state == State::retired) {
    result.reasons.push_back("It was retired.");
    return result;
  }
  say_state(result);
  say_signs(result);
  say_harm(result);
  say_water(result);
  say_time(result);
  say_trust(result);
  return result;
}

void VerdictWriter::say_state(Verdict& verdict) const {
  const double likely = 100.0 * progress(kLikely);
  switch (verdict.state) {
    case State::settling:
      if (verdict.figures.age_days > 2.0 * set().settling_days) {
        verdict.reasons.emplace_back(
            "Sugar was stirred in and it settles once more: bubbling, sinking and a wet look are "
            "normal for about two weeks.");
        break;
      }
      verdict.reasons.push_back(fmt::format(
          "It was closed {:.0f} days ago and is settling: bubbling, sinking and a wet look are "
          "normal for about two weeks.",
          std::floor(verdict.figures.age_days)));
      break;
    case State::due:
      verdict.reasons.push_back(
          "By estimate the work up to the first visible sign is done, but nobody has seen it: look "
          "and smell, and tell what you find.");
      break;
    case State::waking:
      if (progress(kLikely) >= kBegun) {
        verdict.reasons.push_back(fmt::format(
            "By estimate {} have done {:.0f} % of the work up to the first visible sign "
            "({:.0f} to {:.0f} %).",
            guild_name(leading_guild(state().members[kLikely], state().works_in_sugar)), likely,
            std::min(100.0 * progress(kHopeful), likely),
            std::max(100.0 * progress(kCautious), likely)));
      }
      break;
    case State::unwatched:
      verdict.reasons.push_back(
          has_mix() ? fmt::format("No trusted air for most of the last {:.0f} days: whether it "
                                  "sleeps cannot be said.",
                                  set().coverage_days)
                    : "Its weights were not told, so nothing can be said of its water.");
      break;
    default:
      break;
  }
}

void VerdictWriter::say_signs(Verdict& verdict) const {
  for (std::size_t s = 0; s < kSigns; ++s) {
    const SignFacts& about = facts(static_cast<Sign>(s));
    const std::int64_t seen = state().seen_at[s];
    if (seen == kNever || about.weight == Weight::none) continue;
    const std::string ago = round_words(hours_between(seen, state().consumed));
    if (state().evidence_at[s] != kNever) {
      verdict.reasons.push_back(
          fmt::format("Noted {} ago: {}.{}", ago, about.name,
                      about.spoils ? " Spoiled: not for use, and never 'scrape and use'." : ""));
    } else if (verdict.state == State::settling) {
      verdict.reasons.push_back(
          fmt::format("Noted {} ago: {}; normal while it settles.", ago, about.name));
    }
  }
  if (awake() && !facts(state().cover).vents_gas) {
    verdict.reasons.push_back(
        "It works under a gas-tight lid: it can burst. Ease the lid slowly under a cloth, face and "
        "eyes away.");
  }
}

void VerdictWriter::say_harm(Verdict& verdict) const {
  const auto& hours = verdict.figures.hours_above;
  if (hours[3] >= set().heat_45_hours) {
    verdict.reasons.push_back(
        fmt::format("It was above 45 °C for {:.0f} h, which may have killed it: a wake test before "
                    "use. Dead is not asleep.",
                    hours[3]));
  } else if (hours[1] >= set().heat_40_hours) {
    verdict.reasons.push_back(
        fmt::format("It was above 40 °C for {:.0f} h in all, which may have killed it: a wake test "
                    "before use.",
                    hours[1]));
  }
  if (state().found_dead) verdict.reasons.push_back("Its last wake test showed no life.");
  const double untested =
      hours_between(std::max(state().closed_at, state().tested_at), state().consumed) / 24.0;
  if (untested > set().untested_age) {
    verdict.reasons.push_back(fmt::format("{} without a wake test: test a spoonful before use.",
                                          round_words(24.0 * untested)));
  }
}

void VerdictWriter::say_water(Verdict& verdict) const {
  const Figures& figures = verdict.figures;
  if (!figures.surface_activity) return;
  verdict.reasons.push_back(fmt::format("Water activity, by estimate: on top {}, in the middle {}.",
                                        activity_words(*figures.surface_activity),
                                        activity_words(*figures.body_activity)));
  const bool topping = figures.topping_buffer_g && figures.topping_buffer_g->likely >= 1.0;
  const double buffer = topping ? figures.topping_buffer_g->likely : figures.water_buffer_g->likely;
  if (buffer >= 1.0) {
    std::string lasting;
    const double gain = verdict.gain_per_day_g.value_or(0.0);
    if (gain > kWorthSaying) lasting = ", " + round_words(24.0 * buffer / gain) + " of this air";
    if (gain < -kWorthSaying) lasting = "; in this air it dries";
    verdict.reasons.push_back(
        fmt::format("It can still take {} of water before the {} is used up{}.", gram_words(buffer),
                    topping ? "sugar on top" : "undissolved sugar", lasting));
  } else if (figures.sugar_shortfall_g->likely >= 1.0) {
    verdict.reasons.push_back(
        fmt::format("All its sugar is dissolved; {} more would leave some over.",
                    gram_words(figures.sugar_shortfall_g->likely)));
  }
  if (figures.inner_dew_h >= 1.0) {
    verdict.reasons.push_back(
        fmt::format("Water has condensed inside, above the contents, for {} in all.",
                    round_words(figures.inner_dew_h)));
  }
  if (state().gas_lost > 0.0) {
    verdict.reasons.push_back(
        fmt::format("It lost {} that drying cannot explain: gas, a sign of work.",
                    gram_words(state().gas_lost)));
  }
}

void VerdictWriter::say_time(Verdict& verdict) const {
  if (verdict.state == State::awake || verdict.state == State::due || !has_mix()) return;
  if (verdict.time_to_wake[kLikely].kind == WakeTime::Kind::unknown) return;
  verdict.reasons.push_back(
      fmt::format("Waking under the air it has had: {}.", to_words(verdict.time_to_wake)));
  if (verdict.state == State::dormant && progress(kCautious) >= kWakingCautious) {
    verdict.reasons.push_back(
        "By the cautious reckoning it could be waking already: look, and tell 'all well' if it "
        "is.");
  }
  const Member& likely = state().members[kLikely];
  const double slow = likely.progress[static_cast<std::size_t>(Guild::osmotolerant)];
  if (!state().works_in_sugar && slow >= kWakingLikely) {
    verdict.reasons.push_back(
        "Sugar-loving yeasts may tick over in it even so; that counts once this jar or its parent "
        "was seen bubbling with sugar undissolved.");
  }
}

void VerdictWriter::say_trust(Verdict& verdict) const {
  if (verdict.figures.coverage_percent < 100.0 * set().coverage_needed) {
    verdict.reasons.push_back(fmt::format(
        "Only {:.0f} % of its time has trusted air; the rest counts as uncovered, never "
        "as good.",
        verdict.figures.coverage_percent));
  }
  if (jar_.air_is_suspect()) {
    verdict.reasons.push_back(fmt::format(
        "For {} the air sensor has read just the damp of the jar itself, as one under the cover "
        "would: that says nothing of the room, so it is not counted. Check where it hangs.",
        round_words(state().own_damp_hours)));
  }
  for (std::string& taken : assumptions(jar_.recipe_, *jar_.profile_)) {
    taken[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(taken[0])));
    verdict.reasons.push_back(taken + ".");
  }
}

Figures JarModel::figures() const { return VerdictWriter(*this).figures(); }

Verdict JarModel::verdict() const { return VerdictWriter(*this).verdict(); }

}  // namespace torpor::rules::culture
