#include "rules/culture/jar_model.h"

#include <algorithm>
#include <cmath>

#include "rules/culture/air_sample.h"

namespace torpor::rules::culture {
namespace {

constexpr double kSecondsPerHour = 3600.0;
constexpr double kHoursPerDay = 24.0;
// A probe's word holds this long after its last reading.
constexpr double kProbeHold = 3.0;  // h
// An hour counts as known air when this much of it was.
constexpr double kKnownShare = 0.5;
// Self-heating is judged only where nearly the whole hour's air is known.
constexpr double kJudgedShare = 0.9;
// Settling slows by half for each of these below the settling temperature, like most life (Q10 2).
constexpr double kSettlingStep = 10.0;  // K
// The air reads as the jar's own damp within this, of activity. A surface that has dried follows
// its room, so that only a moist one tells a probe under the cover from a steady room; and a room
// keeps its humidity only while its temperature stands still (half a kelvin moves it by 3 %).
constexpr double kOwnDamp = 0.02;
constexpr double kMoistSurface = 0.80;
constexpr double kTellingSwing = 0.5;  // K
// A waking is predicted, for the score, from this progress on: earlier ranges say nothing.
constexpr double kPredictFrom = 0.1;
constexpr std::int64_t kPredictEvery = std::int64_t{7} * 86400 * 1000;  // ms

// The air's sensor may be wrong by some warmth and some damp, for as long as nobody checks it: the
// cautious jar stands in the warmer, damper air of the two, the hopeful one in the other.
constexpr std::array<double, kMembers> kSide = {1.0, 0.0, -1.0};

double warmer(const AirError& error, std::size_t member) {
  return kSide[member] * error.temperature;
}

// Air and vapour of a stretch as they may be for this member; contents and what follows from them
// are the caller's.
void shift_air(Stretch& stretch, const AirError& error, std::size_t member) {
  if (kSide[member] == 0.0 || error == AirError{}) return;
  const double before = saturation_at(stretch.air);
  stretch.air += warmer(error, member);
  // As humid as it was, and then damper or drier by the error, up to saturation.
  const double warmed = saturation_at(stretch.air) / before;
  stretch.air_saturation *= warmed;
  if (stretch.covered_share <= 0.0) return;
  const double most = std::max(stretch.vapour * warmed, stretch.air_saturation);
  const double shifted =
      stretch.vapour * warmed + kSide[member] * error.humidity / 100.0 * stretch.air_saturation;
  stretch.vapour = std::clamp(shifted, 0.0, most);
}

std::int64_t next_cell(std::int64_t at, std::int64_t grid) {
  const std::int64_t past = ((at % grid) + grid) % grid;
  return at - past + grid;
}

}  // namespace

JarModel::JarModel(std::shared_ptr<const Profile> profile, const JarRecipe& recipe, Duration grid)
    : profile_(std::move(profile)), recipe_(recipe), grid_(grid.count()) {
  state_.closed_at = unix_ms(recipe.closed);
  state_.consumed = state_.pending_until = state_.closed_at;
  state_.cell_end = next_cell(state_.closed_at, grid_);
  state_.cover = recipe.cover.value_or(Cover::paper);
  state_.contents_grams = told_mass(recipe);
  state_.vessel_grams = recipe.empty_vessel.value_or(Grams(0.0)).value();
  state_.works_in_sugar = recipe.parent_worked_in_sugar;
  state_.seen_at.fill(kNever);
  state_.evidence_at.fill(kNever);
  for (std::size_t m = 0; m < kMembers; ++m) {
    state_.heat[m].temperature = profile_->sets[m].uncovered_temperature;
  }
  refit();
  if (!has_mix(recipe)) return;
  for (std::size_t m = 0; m < kMembers; ++m) {
    const Parameters& set = profile_->sets[m];
    state_.members[m].stack = LayerStack(body_mix(recipe, set), topping_mix(recipe, set),
                                         settings_[m].vessel.cross_section, chemistry(m));
  }
}

Chemistry JarModel::chemistry(std::size_t member) const {
  return Chemistry(profile_->sets[member], Celsius(state_.heat[member].temperature));
}

void JarModel::refit() {
  for (std::size_t m = 0; m < kMembers; ++m) {
    const Vessel shape = vessel(recipe_, state_.contents_grams, profile_->sets[m]);
    settings_[m] = setting(*profile_, m, shape, state_.cover);
    tau_[m] = time_constant(shape.contents, profile_->sets[m]);
  }
  decay_seconds_ = -1.0;
}

void JarModel::step(const Air& air, Instant until) {
  const std::int64_t end = unix_ms(until);
  if (end <= state_.pending_until) return;
  if (state_.consumed < state_.pending_until && !(air == state_.pending)) flush();
  state_.pending = air;
  state_.pending_until = end;
}

void JarModel::flush() {
  if (state_.consumed < state_.pending_until) consume(state_.pending, state_.pending_until);
}

void JarModel::consume(const Air& air, std::int64_t until) {
  if (air.has_temperature() && !state_.has_temperature) {
    // The contents went into the jar at room temperature.
    for (HeatState& heat : state_.heat) heat.temperature = air.temperature();
    state_.has_temperature = true;
  }
  const double assumed = air.has_temperature() ? air.temperature() : assumed_temperature();
  while (state_.consumed < until) {
    const std::int64_t end = std::min(until, state_.cell_end);
    accumulate(air, assumed, static_cast<double>(end - state_.consumed) / 1000.0);
    state_.consumed = end;
    if (end == state_.cell_end) {
      close_stretch();
      state_.cell_end += grid_;
    }
  }
}

double JarModel::assumed_temperature() const {
  return state_.memory.empty() ? profile_->sets[kLikely].uncovered_temperature
                               : state_.memory.last_day();
}

void JarModel::accumulate(const Air& air, double assumed, double seconds) {
  if (seconds != decay_seconds_) {
    decay_seconds_ = seconds;
    for (std::size_t m = 0; m < kMembers; ++m) decay_[m] = lag_decay(seconds, tau_[m]);
  }
  CellSums& cell = state_.cell;
  for (std::size_t m = 0; m < kMembers; ++m) {
    HeatState& heat = state_.heat[m];
    const double outside =
        air.has_temperature() ? assumed : assumed + profile_->sets[m].uncovered_warmth;
    const double start = heat.temperature;
    const LagStep lag = lag_step(start, outside, seconds, tau_[m], decay_[m]);
    heat.temperature = lag.end;
    cell.contents[m] += lag.integral;
    const double top = std::max(start, lag.end);
    heat.highest = std::max(heat.highest, top);
    if (top <= kHarmThresholds.front()) continue;
    for (std::size_t k = 0; k < kHarmThresholds.size(); ++k) {
      heat.hours_above[k] +=
          seconds_above(kHarmThresholds[k], start, outside, seconds, tau_[m]) / kSecondsPerHour;
    }
  }
  cell.seconds += seconds;
  cell.air += assumed * seconds;
  if (!air.has_temperature()) return;
  cell.known_seconds += seconds;
  cell.error.temperature += air.error().temperature * seconds;
  state_.kinetic.add(air.kinetic_weight(), seconds);
  if (!air.has_humidity()) return;
  cell.humid_seconds += seconds;
  cell.vapour += air.vapour() * seconds;
  cell.saturation += air.saturation() * seconds;
  cell.error.humidity += air.error().humidity * seconds;
}

void JarModel::close_stretch() {
  CellSums& cell = state_.cell;
  if (cell.seconds <= 0.0) return;
  judge_probe();
  const double hours = cell.seconds / kSecondsPerHour;
  // Air that is suspect counts as not known at all: a probe under the cover must improve nothing.
  const double covered = air_is_suspect() ? 0.0 : cell.humid_seconds / cell.seconds;
  const double uncovered = 1.0 - cell.known_seconds / cell.seconds;
  const double air = cell.air / cell.seconds;
  Stretch stretch;
  stretch.seconds = cell.seconds;
  stretch.covered_share = covered;
  if (covered > 0.0) {
    stretch.vapour = cell.vapour / cell.humid_seconds;
    stretch.air_saturation = cell.saturation / cell.humid_seconds;
    const double glass =
        between(air, cell.contents[kLikely] / cell.seconds, profile_->sets[kLikely].glass_share);
    stretch.wet_cover = stretch.vapour > saturation_at(glass);
    if (stretch.wet_cover) state_.outer_dew_hours += hours * covered;
  }
  AirError error;
  if (cell.known_seconds > 0.0) error.temperature = cell.error.temperature / cell.known_seconds;
  if (cell.humid_seconds > 0.0) error.humidity = cell.error.humidity / cell.humid_seconds;
  if (cell.humid_seconds > 0.0) state_.air_error = error;
  for (std::size_t m = 0; m < kMembers; ++m) {
    Stretch own = stretch;
    own.air = air + uncovered * profile_->sets[m].uncovered_warmth;
    own.contents = cell.contents[m] / cell.seconds + state_.probe_offset + warmer(error, m);
    shift_air(own, error, m);
    if (covered <= 0.0) own.air_saturation = saturation_at(own.air);
    own.contents_saturation = saturation_at(own.contents);
    own.warmth = warmth_at(own.contents, settings_[m]);
    advance(state_.members[m], own, settings_[m]);
  }
  remember_air();

  const double window = profile_->sets[kLikely].coverage_days * kHoursPerDay;
  state_.coverage += hours / (window + hours) * (covered - state_.coverage);
  state_.hours += hours;
  state_.covered_hours += hours * covered;
  const double short_of =
      profile_->sets[kLikely].settling_temperature - cell.contents[kLikely] / cell.seconds;
  state_.settled_days +=
      hours / kHoursPerDay * (short_of > 0.0 ? std::exp2(-short_of / kSettlingStep) : 1.0);
  cell = CellSums{};
  consider_prediction();
}

void JarModel::consider_prediction() {
  if (state_.predicted) return;
  const double progress = wake_progress(state_.members[kLikely], state_.works_in_sugar);
  if (progress < kPredictFrom || progress >= 1.0) return;
  const bool recently =
      state_.predicted_at != kNever && state_.consumed - state_.predicted_at < kPredictEvery;
  if (!recently) predict();
}

void JarModel::judge_probe() {
  const CellSums& cell = state_.cell;
  const double hours = cell.seconds / kSecondsPerHour;
  if (cell.probe_samples > 0.0) {
    state_.probe_offset = cell.probe_excess / cell.probe_samples;
    state_.probe_hours_left = kProbeHold;
    if (cell.known_seconds >= kJudgedShare * cell.seconds) {
      state_.self_heating.add(state_.probe_offset, hours, profile_->sets[kLikely]);
    }
  } else if (state_.probe_hours_left > 0.0) {
    state_.probe_hours_left -= hours;
    if (state_.probe_hours_left <= 0.0) state_.probe_offset = 0.0;
  }
  const std::size_t sign = static_cast<std::size_t>(Sign::self_heating);
  if (state_.self_heating.heating(profile_->sets[kLikely]) && state_.evidence_at[sign] == kNever) {
    count_waking(instant_of(state_.consumed));
    state_.seen_at[sign] = state_.evidence_at[sign] = state_.consumed;
  }
}

void JarModel::remember_air() {
  const CellSums& cell = state_.cell;
  const double grid_seconds = static_cast<double>(grid_) / 1000.0;
  // A cell that an act cut short is remembered once, by its longer part.
  if (cell.seconds < kKnownShare * grid_seconds) return;
  if (cell.known_seconds < kKnownShare * cell.seconds) return;
  const double contents = cell.contents[kLikely] / cell.seconds;
  AirHour hour;
  hour.air = static_cast<float>(cell.air / cell.seconds);
  hour.contents = static_cast<float>(contents);
  hour.humid = cell.humid_seconds >= kKnownShare * cell.seconds;
  if (hour.humid) {
    hour.vapour = static_cast<float>(cell.vapour / cell.humid_seconds);
    hour.saturation = static_cast<float>(cell.saturation / cell.humid_seconds);
  } else {
    hour.saturation = static_cast<float>(saturation_at(cell.air / cell.seconds));
  }
  state_.memory.remember(hour, instant_of(state_.consumed));

  compare_with_own_damp(hour);
}

void JarModel::compare_with_own_damp(const AirHour& hour) {
  const LayerStack& stack = state_.members[kLikely].stack;
  if (stack.empty() || !hour.humid) return;
  const double own = stack.surface_activity();
  const double humidity = static_cast<double>(hour.vapour) / static_cast<double>(hour.saturation);
  const double celsius = static_cast<double>(hour.air);
  if (own < kMoistSurface || std::abs(humidity - own) >= kOwnDamp) {
    state_.own_damp_hours = 0.0;
    return;
  }
  if (state_.own_damp_hours <= 0.0) state_.own_damp_coldest = state_.own_damp_warmest = celsius;
  state_.own_damp_hours += state_.cell.seconds / kSecondsPerHour;
  state_.own_damp_coldest = std::min(state_.own_damp_coldest, celsius);
  state_.own_damp_warmest = std::max(state_.own_damp_warmest, celsius);
}

void JarModel::probe(ProbeSeat seat, Celsius temperature) {
  constexpr double kColdest = -20.0;
  constexpr double kHottest = 90.0;
  if (!(temperature.value() >= kColdest && temperature.value() <= kHottest)) return;
  flush();
  const double contents = state_.heat[kLikely].temperature;
  double expected = contents;
  if (seat == ProbeSeat::glass && state_.pending.has_temperature()) {
    expected = between(state_.pending.temperature(), contents, profile_->sets[kLikely].glass_share);
  }
  if (seat == ProbeSeat::glass) {
    // Glass off from what air and contents explain means the jar stands in other air than told
    // (sun, a warm wall): the contents follow it. It says nothing of own warmth.
    state_.probe_offset = temperature.value() - expected;
    state_.probe_hours_left = kProbeHold;
    return;
  }
  state_.cell.probe_excess += temperature.value() - expected;
  state_.cell.probe_samples += 1.0;
}

bool JarModel::air_is_suspect() const {
  return state_.own_damp_hours >= kSuspectHours &&
         state_.own_damp_warmest - state_.own_damp_coldest >= kTellingSwing;
}

bool JarModel::settling() const {
  return state_.settled_days < profile_->sets[kLikely].settling_days;
}

std::array<MemberForecast, kMembers> JarModel::forecasts() const {
  std::array<MemberForecast, kMembers> result;
  if (air_is_suspect() || state_.memory.empty() || !state_.memory.knows_humidity()) return result;
  for (std::size_t m = 0; m < kMembers; ++m) {
    const Setting& own = settings_[m];
    const AirError& error = state_.air_error;
    const auto recent = [&](std::size_t hours) {
      Stretch mean = state_.memory.recent(hours, own, state_.probe_offset + warmer(error, m));
      shift_air(mean, error, m);
      return mean;
    };
    const Stretch day = recent(24), week = recent(168);
    const Outlook outlook = [&](double hours) {
      if (hours < 3 * kHoursPerDay) return day;
      if (hours < 30 * kHoursPerDay) return week;
      const auto ahead = std::chrono::milliseconds(static_cast<std::int64_t>(hours * 3.6e6));
      auto season = state_.memory.season(instant_of(state_.consumed) + ahead, own);
      if (!season) return week;
      if (const double more = warmer(error, m); more != 0.0) {
        season->contents_saturation *=
            saturation_at(season->contents + more) / saturation_at(season->contents);
        season->contents += more;
        season->warmth = warmth_at(season->contents, own);
      }
      shift_air(*season, error, m);
      return *season;
    };
    result[m] = forecast(state_.members[m], own, outlook, state_.works_in_sugar);
  }
  return result;
}

void JarModel::predict() {
  state_.predicted_at = state_.consumed;
  const auto members = forecasts();
  std::array<WakeTime, kMembers> times;
  for (std::size_t m = 0; m < kMembers; ++m) times[m] = members[m].wake;
  std::sort(times.begin(), times.end(), sooner);
  if (times[1].kind != WakeTime::Kind::within) return;
  const auto ahead = [&](const WakeTime& time) {
    return instant_of(state_.consumed +
                      static_cast<std::int64_t>(time.hours * kSecondsPerHour * 1000.0));
  };
  state_.predicted = true;
  state_.prediction = {instant_of(state_.consumed), ahead(times[0]), ahead(times[2]),
                       times[2].kind == WakeTime::Kind::within};
}

std::optional<Mix> JarModel::mix(std::size_t member) const {
  const LayerStack& stack = state_.members[member].stack;
  if (stack.empty()) return std::nullopt;
  return stack.whole();
}

std::array<WakeTime, kMembers> JarModel::time_to_wake_in(Celsius temperature,
                                                         std::optional<Percent> humidity) const {
  JarModel settled = *this;
  settled.flush();
  settled.close_stretch();
  std::array<WakeTime, kMembers> times;
  for (std::size_t m = 0; m < kMembers; ++m) {
    // As far from what is said as its own air may be: what is compared must stand alike.
    const AirError& error = settled.state_.air_error;
    std::optional<Percent> own = humidity;
    if (own) {
      own = Percent(std::clamp(own->value() + kSide[m] * error.humidity, 0.0, 100.0));
    }
    const Stretch air =
        steady_air(Celsius(temperature.value() + warmer(error, m)), own, settled.settings_[m]);
    times[m] = forecast(
                   settled.state_.members[m], settled.settings_[m], [&](double) { return air; },
                   settled.state_.works_in_sugar)
                   .wake;
  }
  std::sort(times.begin(), times.end(), sooner);
  return times;
}

std::optional<std::array<SugarNeed, kMembers>> JarModel::sugar_to(double target) const {
  if (state_.members[kLikely].stack.empty()) return std::nullopt;
  std::array<SugarNeed, kMembers> needs;
  const SugarKind kind = recipe_.sugar_kind.value_or(SugarKind::brown);
  for (std::size_t m = 0; m < kMembers; ++m) {
    needs[m] = sugar_for(state_.members[m].stack.whole(), target, kind, chemistry(m));
  }
  return needs;
}

}  // namespace torpor::rules::culture
