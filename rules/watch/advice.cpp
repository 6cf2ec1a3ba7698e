#include "rules/watch/advice.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/core.h>
#include <fmt/ranges.h>

#include "rules/air/psychrometrics.h"
#include "rules/culture/growth.h"
#include "rules/culture/mixing.h"
#include "rules/culture/words.h"
#include "rules/watch/sentences.h"

namespace torpor::rules {
namespace {

using culture::kLikely;
using culture::WakeTime;

// A jar sleeps at this activity: below it common yeasts and bacteria stand still, and saturated
// sugar reaches it (minimum activities by group: the culture profiles).
constexpr double kAsleep = 0.85;
// What sticks to bowl and spoon, and what a guess at the rice is wrong by.
constexpr double kSugarMargin = 1.05;
constexpr double kSugarStep = 5.0;  // g: no kitchen scale is asked for more
// Elsewhere must be clearly better before anybody carries jars: a quarter more time, or 2 K.
constexpr double kBetterTime = 1.25;
constexpr double kBetterTemperature = 2.0;  // K
// From here on heat harms what sleeps: the coolest place counts, not the time to wake.
constexpr double kHarmful = 35.0;  // degC
// Air damper than this wets the sugar: no place to carry a jar to for coolness alone.
constexpr double kTooDamp = 85.0;  // %
// A jar carried into air this much cooler sweats inside a tight cover.
constexpr double kSweats = 5.0;  // K
// Two vapour pressures that common sensors cannot tell apart (3 % at 20 degC).
constexpr double kSameVapour = 70.0;  // Pa
// Air that neither wets sugar nor dries a jar to a crust: between sugar's own 85 % and the 70 % at
// which papers and wood stay dry.
constexpr double kGoodHumidity = 75.0;  // %
// How often the air of a shut room changes by itself, a day: a store room without draught, every
// four hours. Common practice, no source.
constexpr double kAirChangesADay = 6.0;
constexpr std::size_t kMostNamed = 3;

std::string grams(double amount) { return culture::gram_words(amount); }

// Relative humidity in % of air with this vapour once it is at `temperature`, at most 100.
double humidity_at(Celsius temperature, Pascal vapour) {
  return std::min(100.0, air::relative_humidity(temperature, vapour).value());
}

std::string air_words(const LatelyAir::Air& air) {
  std::string text = fmt::format("{:.1f} °C", air.temperature.value());
  if (air.vapour) {
    text += fmt::format(", {:.0f} %", humidity_at(air.temperature, *air.vapour));
  }
  return text;
}

std::string wake_words(const WakeTime& time) {
  switch (time.kind) {
    case WakeTime::Kind::due:
      return "at once";
    case WakeTime::Kind::within:
      return "in " + culture::round_words(time.hours);
    case WakeTime::Kind::beyond:
      return "not within 180 days";
    case WakeTime::Kind::unknown:
      break;
  }
  return "nobody knows when";
}

WakeTime time_in(const culture::JarModel& model, const LatelyAir::Air& air) {
  std::optional<Percent> humidity;
  if (air.vapour) {
    humidity = Percent(humidity_at(air.temperature, *air.vapour));
  }
  return model.time_to_wake_in(air.temperature, humidity)[kLikely];
}

std::optional<culture::State> state_of(const AdviceScene& scene) {
  if (scene.model == nullptr) return std::nullopt;
  return scene.model->verdict().state;
}

// "it", "them" or a jar by its name.
std::string object(const AdviceScene& scene) {
  if (scene.jars.size() == 1) return scene.jars.front();
  return scene.kind == SubjectKind::jar ? "it" : "the jars";
}

// What a remedy comes to.
struct Worked {
  Advice advice;
  bool helps = true;  // false: not as things are now
};
using Work = std::optional<Worked>;

Worked plain(Remedy remedy) { return {{remedy, std::string(remedy_sentence(remedy)), {}}}; }

// ---- the jar ------------------------------------------------------------------------------------

Work spread_on_top(const AdviceScene& scene) {
  const double amount = culture::topping_for(scene.model->recipe().mouth_mm).value();
  return Worked{{Remedy::add_sugar,
                 fmt::format("Spread {} of dry sugar ({}) on top of {}, level, with a dry clean "
                             "spoon; then a fresh dry cover.",
                             grams(amount), culture::kitchen_words(amount), object(scene)),
                 {{"sugar on top", amount, "g"}}}};
}

Work add_sugar(const AdviceScene& scene) {
  if (scene.model == nullptr) return plain(Remedy::add_sugar);
  const auto needs = scene.model->sugar_to(kAsleep);
  if (!needs) return plain(Remedy::add_sugar);
  culture::SugarNeed need = (*needs)[kLikely];
  // Enough that some stays undissolved: what then comes from the air melts that first.
  const auto shortfall = scene.model->figures().sugar_shortfall_g;
  // Rounded as the answer to `new jar` rounds it.
  const bool as_at_mixing = shortfall && shortfall->likely >= need.sugar;
  if (as_at_mixing) need.sugar = shortfall->likely;
  if (!need.reaches && need.activity > culture::kTooWetToSleep) {
    return Worked{
        {Remedy::add_sugar,
         fmt::format("No sugar puts {} to sleep any more: it would come to an activity of "
                     "{:.2f}. Use it soon, or dry its air.",
                     object(scene), need.activity),
         {{"activity at most", need.activity, ""}}},
        false};
  }
  if (need.sugar < kSugarStep) return spread_on_top(scene);
  const double amount = as_at_mixing
                            ? culture::sugar_in_kitchen_steps(need.sugar)
                            : kSugarStep * std::ceil(kSugarMargin * need.sugar / kSugarStep);
  std::string words = fmt::format("Stir {} of sugar ({}) into {} with a dry clean spoon",
                                  grams(amount), culture::kitchen_words(amount), object(scene));
  words +=
      scene.model->figures().waking_signs > 0
          ? ", if a hand's breadth of air is above it: it works and rises. Else spread it on top."
          : ", then a fresh dry cover.";
  return Worked{{Remedy::add_sugar, words, {{"sugar", amount, "g"}}}};
}

// The best place for the jar, with its time there; nullptr: none is clearly better.
struct Better {
  const AirElsewhere* there = nullptr;
  LatelyAir::Air air{};  // as it counts there
  std::optional<WakeTime> time, time_here;
};

double humidity_of(const LatelyAir::Air& air) {
  return air.vapour ? humidity_at(air.temperature, *air.vapour) : 0.0;
}

// Of the air a place had lately and has now the warmer one: cool nights do not cool a hot noon.
const LatelyAir::Air& warmer_of(const AirElsewhere& place) {
  const bool now = place.now && place.now->temperature > place.air.temperature;
  return now ? *place.now : place.air;
}

// The coolest place that is clearly cooler and does not wet the sugar; where heat kills, any.
Better cooler_place(const AdviceScene& scene) {
  const LatelyAir::Air& here = scene.here_now ? *scene.here_now : *scene.here;
  const bool kills = here.temperature.value() >= kHarmful;
  const double dampest = std::max(kTooDamp, humidity_of(here));
  Better best;
  for (const bool damp_too : {false, true}) {
    double coolest = here.temperature.value() - kBetterTemperature;
    for (const AirElsewhere& each : scene.elsewhere) {
      const LatelyAir::Air& there = warmer_of(each);
      if (there.temperature.value() > coolest) continue;
      if (!damp_too && humidity_of(there) > dampest) continue;
      coolest = there.temperature.value();
      best.there = &each;
      best.air = there;
    }
    if (best.there != nullptr || !kills) return best;
  }
  return best;
}

Better better_place(const AdviceScene& scene) {
  Better best;
  const std::optional<LatelyAir::Air>& here = scene.here_now ? scene.here_now : scene.here;
  const bool heat = here && here->temperature.value() >= kHarmful;
  if (scene.model == nullptr || heat || scene.about_heat) {
    return here ? cooler_place(scene) : best;
  }
  // Under the days that were: what a moment's air would do in the long run is not what it will do.
  best.time_here = scene.here ? time_in(*scene.model, *scene.here)
                              : scene.model->verdict().time_to_wake[kLikely];
  if (best.time_here->kind == WakeTime::Kind::unknown) return {};
  double longest = std::max(1.0, best.time_here->hours) * kBetterTime;
  for (const AirElsewhere& each : scene.elsewhere) {
    const WakeTime time = time_in(*scene.model, each.air);
    if (time.kind == WakeTime::Kind::unknown || time.hours < longest) continue;
    const bool level = best.there != nullptr && time.hours == longest;
    if (level && each.air.temperature >= best.there->air.temperature) continue;
    longest = time.hours;
    best.there = &each;
    best.air = each.air;
    best.time = time;
  }
  return best;
}

// How fast common yeasts work at one warmth against another, in plain measure; empty: as fast. By
// the cardinal temperatures of the profiles' default; above their best heat is no slower.
std::string pace_words(Celsius here, Celsius there) {
  static const culture::Profile kUsual;
  const culture::GuildLimits yeast =
      culture::limits(culture::Guild::yeast, kUsual.sets[culture::kLikely]);
  const auto pace = [&yeast](Celsius t) {
    return culture::cardinal_temperature(std::min(t.value(), yeast.t_opt), yeast.t_min, yeast.t_opt,
                                         yeast.t_max);
  };
  const double before = pace(here);
  if (!(before > 0.0)) return {};
  const double share = pace(there) / before;
  struct Step {
    double from;
    std::string_view words;
  };
  constexpr std::array<Step, 6> kSteps{{{0.85, ""},
                                        {0.7, "three quarters as fast"},
                                        {0.58, "two thirds as fast"},
                                        {0.42, "half as fast"},
                                        {0.29, "a third as fast"},
                                        {0.15, "a quarter as fast"}}};
  for (const Step& step : kSteps) {
    if (share >= step.from) return std::string(step.words);
  }
  return "a tenth as fast, or less";
}

Work move(const AdviceScene& scene) {
  const bool nothing_known = scene.elsewhere.empty() || (!scene.here && !scene.here_now);
  if (nothing_known) return plain(Remedy::move);
  const Better better = better_place(scene);
  if (better.there == nullptr) {
    return Worked{{Remedy::move,
                   "No other place with a sensor is clearly better for " + object(scene) + ".",
                   {}},
                  false};
  }
  Advice advice{
      Remedy::move,
      fmt::format("Move {} to {} ({})", object(scene), better.there->place, air_words(better.air)),
      {{"temperature there", better.air.temperature.value(), "°C"}}};
  if (better.time) {
    const std::string who = scene.jars.size() == 1 ? "it" : scene.jars.front();
    advice.words += fmt::format(": {} wakes there {}, here {}", who, wake_words(*better.time),
                                wake_words(*better.time_here));
    const auto days = [](const WakeTime& time) {
      return time.kind == WakeTime::Kind::beyond ? std::nullopt : std::optional(time.hours / 24.0);
    };
    advice.amounts.push_back({"time to wake there", days(*better.time), "d"});
    advice.amounts.push_back({"time to wake here", days(*better.time_here), "d"});
  }
  const auto& here = scene.here_now ? scene.here_now : scene.here;
  if (!better.time) {
    const std::string pace = pace_words(here->temperature, better.air.temperature);
    if (!pace.empty())
      advice.words += fmt::format(": there {} about {}",
                                  scene.jars.size() > 1 ? "they work" : "it works", pace);
  }
  advice.words += ".";
  if (here->temperature.value() - better.air.temperature.value() >= kSweats) {
    advice.words += fmt::format(" Let {} cool slowly under a cover that breathes.",
                                scene.jars.size() > 1 ? "them" : "it");
  }
  return Worked{std::move(advice)};
}

Work use_first(const AdviceScene& scene) {
  if (scene.kind == SubjectKind::jar) {
    const bool awake = state_of(scene) == culture::State::awake;
    return Worked{
        {Remedy::use_first,
         awake ? fmt::format("Use {} within days if it smells clean, for it works.", object(scene))
               : fmt::format("Use {} before the others.", object(scene)),
         {}}};
  }
  if (scene.jars.empty() || scene.model == nullptr) return plain(Remedy::use_first);
  const std::size_t shown = std::min(scene.jars.size(), kMostNamed);
  return Worked{
      {Remedy::use_first,
       fmt::format("Use {} first{}.",
                   fmt::join(scene.jars.begin(),
                             scene.jars.begin() + static_cast<std::ptrdiff_t>(shown), ", then "),
                   scene.jars.size() > 1 ? ": by reckoning they wake in this order" : ""),
       {}}};
}

Work ease_lid(const AdviceScene& scene) {
  if (!scene.covers_known) return plain(Remedy::ease_lid);
  if (scene.gas_tight.empty()) return std::nullopt;
  if (scene.gas_tight.size() == 1) return Worked{ease_lid_deed(scene.gas_tight.front())};
  return Worked{{Remedy::ease_lid,
                 fmt::format("Ease the lids of {} slowly, a cloth over them, face and eyes away: a "
                             "working jar can burst.",
                             listed(scene.gas_tight, kMostNamed)),
                 {}}};
}

Work told(Remedy remedy, const AdviceScene& scene) {
  if (scene.jars.size() != 1) return plain(remedy);
  const std::string& jar = scene.jars.front();
  if (remedy == Remedy::look) return Worked{look_deed(jar)};
  if (remedy == Remedy::wake_test) return Worked{wake_test_deed(jar)};
  return Worked{
      {remedy,
       fmt::format("Put a fresh dry cover on {} and tell it: `cover {} with paper`.", jar, jar),
       {}}};
}

// ---- the room -----------------------------------------------------------------------------------

// The longest run of the last day's hours in which the air outside was drier than inside, as local
// times; empty: none of two hours or more, or all of them.
std::string drier_hours(const AdviceScene& scene, double inside) {
  std::array<bool, 24> drier{};
  for (int hour = 0; hour < 24; ++hour) {
    const auto air = scene.outside_lately->hour_of_day(hour);
    drier[static_cast<std::size_t>(hour)] =
        air && air->vapour && air->vapour->value() < inside - kSameVapour;
  }
  std::size_t best = 0, length = 0;
  for (std::size_t start = 0; start < 24; ++start) {
    std::size_t run = 0;
    while (run < 24 && drier[(start + run) % 24]) ++run;
    if (run > length) {
      best = start;
      length = run;
    }
  }
  if (length < 2 || length == 24) return {};
  const auto shift = scene.offset ? scene.offset(scene.now).count() : 0;
  const auto local = [&](std::size_t hour) {
    const auto minutes =
        (static_cast<std::int64_t>(hour % 24) * 60 + shift + std::int64_t{2} * 1440) % 1440;
    return fmt::format("{:02}:{:02}", minutes / 60, minutes % 60);
  };
  return fmt::format("from {} to {}", local(best), local(best + length));
}

// Airing and keeping shut are one question: is the air outside drier than the air inside?
Work air_or_shut(Remedy remedy, const AdviceScene& scene) {
  const bool known =
      scene.here_now && scene.here_now->vapour && scene.outside_now && scene.outside_now->vapour;
  if (!known) return plain(remedy);
  const double inside = scene.here_now->vapour->value();
  const double outside = scene.outside_now->vapour->value();
  // What counts is the humidity that this air has at the jars.
  const Celsius at = scene.here_now->temperature;
  const double comes_to = humidity_at(at, *scene.outside_now->vapour);
  const double is = humidity_at(at, *scene.here_now->vapour);
  const std::string compared =
      fmt::format("outside air comes to {:.0f} % at the jars' {:.0f} °C, inside it is {:.0f} %",
                  comes_to, at.value(), is);
  const std::vector<Figure> amounts{{"humidity from outside", comes_to, "%"},
                                    {"humidity inside", is, "%"}};
  const std::string hours =
      scene.outside_lately == nullptr ? std::string() : drier_hours(scene, inside);
  if (outside < inside - kSameVapour) {
    std::string words = fmt::format("Air the room now: {}.", compared);
    if (!hours.empty()) words += fmt::format(" Of the last day it helped {}.", hours);
    return Worked{{Remedy::vent, std::move(words), amounts}};
  }
  std::string words = fmt::format("Keep the room shut now: {}.", compared);
  if (!hours.empty()) {
    words += fmt::format(" It was drier outside {} of the last day: air it then.", hours);
  }
  return Worked{{Remedy::keep_room_shut, std::move(words), amounts}};
}

Work dry_air(const AdviceScene& scene) {
  const bool known = scene.here_now && scene.here_now->vapour && scene.room_m3;
  if (!known) return plain(Remedy::dry_air);
  const Celsius at = scene.here_now->temperature;
  const Pascal good = air::vapour_pressure(at, Percent(kGoodHumidity));
  const double target = air::absolute_humidity(at, good).value();
  const double now = air::absolute_humidity(at, *scene.here_now->vapour).value();
  const double take = (now - target) * *scene.room_m3;
  if (take <= 1.0) {
    return Worked{{Remedy::dry_air,
                   fmt::format("The room's air is dry enough now, below {:.0f} %.", kGoodHumidity),
                   {}},
                  false};
  }
  Advice advice{Remedy::dry_air,
                fmt::format("Take {} of water out of the room's air to come to {:.0f} %",
                            grams(take), kGoodHumidity),
                {{"water to take out", take, "g"}}};
  if (scene.outside_now && scene.outside_now->vapour) {
    const double comes =
        air::absolute_humidity(scene.outside_now->temperature, *scene.outside_now->vapour).value();
    const double a_day = std::max(0.0, (comes - target) * *scene.room_m3 * kAirChangesADay);
    if (a_day > 1.0) {
      advice.words +=
          fmt::format(", then {} a day if its air changes every four hours", grams(a_day));
      advice.amounts.push_back({"water a day", a_day, "g"});
    }
  }
  advice.words +=
      "; empty the dryer's tank before it is full, and keep mains leads off wet floors.";
  return Worked{std::move(advice)};
}

// ---- all of them --------------------------------------------------------------------------------

Work work_out(Remedy remedy, const AdviceScene& scene) {
  switch (remedy) {
    case Remedy::add_sugar:
      return scene.jars.size() > 1 ? plain(remedy) : add_sugar(scene);
    case Remedy::move:
      return move(scene);
    case Remedy::vent:
    case Remedy::keep_room_shut:
      return air_or_shut(remedy, scene);
    case Remedy::dry_air:
      return dry_air(scene);
    case Remedy::ease_lid:
      return ease_lid(scene);
    case Remedy::use_first:
      return use_first(scene);
    case Remedy::look:
    case Remedy::wake_test:
    case Remedy::renew_cover:
      return told(remedy, scene);
    case Remedy::shade:
    case Remedy::check_sensor:
    case Remedy::check_board:
    case Remedy::change_battery:
    case Remedy::carry_out:
    case Remedy::renew_vessel:
      break;
  }
  return plain(remedy);
}

// In the order given; what cannot help comes last, or not at all, but never nothing.
std::vector<Advice> advise_in_order(std::span<const Remedy> remedies, const AdviceScene& scene) {
  std::vector<Advice> advice;
  std::vector<Worked> useless;
  for (const Remedy remedy : remedies) {
    if (scene.empty != EmptyPlace::no && !facts(remedy).of_room) continue;
    Work work = work_out(remedy, scene);
    if (!work) continue;
    const auto same = [&](const Advice& other) { return other.remedy == work->advice.remedy; };
    if (std::any_of(advice.begin(), advice.end(), same)) continue;
    if (!work->helps) {
      useless.push_back(std::move(*work));
    } else {
      advice.push_back(std::move(work->advice));
    }
  }
  for (Worked& each : useless) advice.push_back(std::move(each.advice));
  return advice;
}

// A culture that may be dead is tested, not used; one that works is fed where sugar can still put
// it to sleep, and used within days where it cannot.
void heed_state(std::vector<Advice>& advice, const AdviceScene& scene) {
  const auto state = state_of(scene);
  const auto find = [&advice](Remedy remedy) {
    return std::find_if(advice.begin(), advice.end(),
                        [remedy](const Advice& each) { return each.remedy == remedy; });
  };
  const auto use = find(Remedy::use_first);
  if (use == advice.end()) return;
  if (state == culture::State::doubtful) {
    if (find(Remedy::wake_test) == advice.end()) {
      *use = wake_test_deed(scene.jars.front());
    } else {
      advice.erase(use);
    }
    return;
  }
  const auto sugar = find(Remedy::add_sugar);
  const bool feeds =
      sugar != advice.end() && !sugar->amounts.empty() && sugar->amounts.front().name == "sugar";
  if (state == culture::State::awake && feeds && sugar > use) std::iter_swap(sugar, use);
}

}  // namespace

std::vector<Advice> advise(std::span<const Remedy> remedies, const AdviceScene& scene) {
  if (scene.empty == EmptyPlace::of_no_concern) return {};
  if (scene.kind != SubjectKind::jar || scene.jars.empty()) {
    std::vector<Advice> advice = advise_in_order(remedies, scene);
    const bool none = advice.empty() && !remedies.empty() && scene.empty == EmptyPlace::no;
    if (none) advice.push_back(plain(remedies.front()).advice);
    return advice;
  }
  const std::string& jar = scene.jars.front();
  const bool gas_tight = !scene.gas_tight.empty();
  if (scene.spoilage) return spoiled_deeds(jar, gas_tight, *scene.spoilage);
  std::vector<Advice> advice = advise_in_order(remedies, scene);
  if (advice.empty() && !remedies.empty()) advice.push_back(plain(remedies.front()).advice);
  heed_state(advice, scene);
  if (scene.model != nullptr && scene.model->figures().cracked) {
    advice.insert(advice.begin(), cracked_deed(jar));
  }
  if (gas_tight) {
    const bool works = scene.model != nullptr && may_make_gas(scene.model->verdict());
    heed_lid(advice, jar, works);
  }
  return advice;
}

std::string outlook_words(const AdviceScene& scene) {
  if (scene.model == nullptr) return {};
  const culture::Verdict verdict = scene.model->verdict();
  using culture::State;
  const bool foreseen = verdict.state == State::settling || verdict.state == State::dormant ||
                        verdict.state == State::waking;
  const auto& times = verdict.time_to_wake;
  const bool in_sight = times[kLikely].kind == WakeTime::Kind::within;
  if (!foreseen || !in_sight) return {};
  const std::string when = culture::to_words(times);
  if (scene.jars.size() > 1)
    return fmt::format("Jar {} wakes first: {}.", scene.jars.front(), when);
  return fmt::format("{} wakes {}.",
                     scene.kind == SubjectKind::jar ? "It" : "Jar " + scene.jars.front(), when);
}

}  // namespace torpor::rules
