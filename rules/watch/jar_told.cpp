// Every told thing is [ms, [kind, ...], by sensor]; the kinds below are stored: do not renumber.
#include "rules/watch/jar_told.h"

#include <nlohmann/json.hpp>

#include "rules/watch/saved_json.h"

namespace torpor::rules {
namespace {

using nlohmann::json;

enum class ToldKind {
  add_sugar = 0,
  take = 1,
  open = 2,
  change_cover = 3,
  move = 4,
  retire = 5,
  look = 6,
  weighing = 7,
  level = 8,
  headspace = 9,
  wake_test = 10,
  probe = 11,
};

template <class Kind>
json maybe_number(const std::optional<Kind>& value) {
  return value ? json(static_cast<int>(*value)) : json(nullptr);
}
json maybe_grams(const std::optional<Grams>& value) {
  return value ? json(value->value()) : json(nullptr);
}
json maybe_length(const std::optional<double>& value) {
  return value ? json(*value) : json(nullptr);
}

// Of `count`, from 0 on.
template <class Kind>
Kind one_of(int count, const json& j) {
  return enum_from(j, Kind{}, static_cast<Kind>(count - 1));
}
template <class Kind>
std::optional<Kind> maybe_one_of(int count, const json& j) {
  return j.is_null() ? std::nullopt : std::optional(one_of<Kind>(count, j));
}
std::optional<double> maybe_double(const json& j) {
  return j.is_null() ? std::nullopt : std::optional(j.get<double>());
}
std::optional<Grams> grams_from(const json& j) {
  const auto value = maybe_double(j);
  return value ? std::optional(Grams(*value)) : std::nullopt;
}

constexpr int kSugarKinds = 3;
constexpr int kCookedWords = 3;
constexpr int kProbeSeats = 2;

struct ToJson {
  static json kind(ToldKind of) { return static_cast<int>(of); }

  json operator()(const culture::AddSugar& act) const {
    return {kind(ToldKind::add_sugar), act.sugar.value(), maybe_number(act.kind), act.stirred};
  }
  json operator()(const culture::Take& act) const {
    return {kind(ToldKind::take), act.contents.value()};
  }
  json operator()(const culture::Open&) const { return json::array({kind(ToldKind::open)}); }
  json operator()(const culture::ChangeCover& act) const {
    return {kind(ToldKind::change_cover), static_cast<int>(act.cover)};
  }
  json operator()(const culture::Move&) const { return json::array({kind(ToldKind::move)}); }
  json operator()(const culture::Retire&) const { return json::array({kind(ToldKind::retire)}); }
  json operator()(const culture::Look& look) const {
    json signs = json::array();
    for (const culture::Sign sign : look.signs) signs.push_back(static_cast<int>(sign));
    return {kind(ToldKind::look), signs};
  }
  json operator()(const culture::Weighing& weighing) const {
    return {kind(ToldKind::weighing), weighing.weight.value(), weighing.with_vessel,
            weighing.by_itself};
  }
  json operator()(const culture::Level& level) const {
    return {kind(ToldKind::level), level.millimetres};
  }
  json operator()(const culture::Headspace& headspace) const {
    return {kind(ToldKind::headspace), headspace.humidity.value()};
  }
  json operator()(const culture::WakeTest& test) const {
    return {kind(ToldKind::wake_test), test.lively};
  }
  json operator()(const ProbeReading& probe) const {
    return {kind(ToldKind::probe), static_cast<int>(probe.seat), probe.temperature.value()};
  }
  json operator()(const culture::Act& act) const { return std::visit(*this, act); }
  json operator()(const culture::Observation& seen) const { return std::visit(*this, seen); }
};

culture::Look look_from(const json& signs) {
  culture::Look look;
  for (const json& sign : signs) {
    look.signs.push_back(one_of<culture::Sign>(static_cast<int>(culture::kSigns), sign));
  }
  return look;
}

decltype(JarTold::what) what_from(const json& j) {
  using culture::Act;
  using culture::Observation;
  const int covers = static_cast<int>(culture::kCovers);
  switch (one_of<ToldKind>(static_cast<int>(ToldKind::probe) + 1, j.at(0))) {
    case ToldKind::add_sugar:
      return Act(culture::AddSugar{Grams(j.at(1).get<double>()),
                                   maybe_one_of<culture::SugarKind>(kSugarKinds, j.at(2)),
                                   j.at(3).get<bool>()});
    case ToldKind::take:
      return Act(culture::Take{Grams(j.at(1).get<double>())});
    case ToldKind::open:
      return Act(culture::Open{});
    case ToldKind::change_cover:
      return Act(culture::ChangeCover{one_of<culture::Cover>(covers, j.at(1))});
    case ToldKind::move:
      return Act(culture::Move{});
    case ToldKind::retire:
      return Act(culture::Retire{});
    case ToldKind::look:
      return Observation(look_from(j.at(1)));
    case ToldKind::weighing:
      return Observation(culture::Weighing{Grams(j.at(1).get<double>()), j.at(2).get<bool>(),
                                           j.at(3).get<bool>()});
    case ToldKind::level:
      return Observation(culture::Level{j.at(1).get<double>()});
    case ToldKind::headspace:
      return Observation(culture::Headspace{Percent(j.at(1).get<double>())});
    case ToldKind::wake_test:
      return Observation(culture::WakeTest{j.at(1).get<bool>()});
    case ToldKind::probe:
      break;
  }
  return ProbeReading{one_of<culture::ProbeSeat>(kProbeSeats, j.at(1)),
                      Celsius(j.at(2).get<double>())};
}

}  // namespace

std::optional<JarTold> told_by(const SensorSpec& sensor, const Reading& reading) {
  const bool warmth = reading.quantity == Quantity::temperature;
  if (warmth && (sensor.senses == Senses::culture || sensor.senses == Senses::glass)) {
    const auto seat =
        sensor.senses == Senses::culture ? culture::ProbeSeat::culture : culture::ProbeSeat::glass;
    return JarTold{reading.measured_at, ProbeReading{seat, Celsius(reading.value())}, true};
  }
  if (reading.quantity != Quantity::humidity || sensor.senses != Senses::headspace) {
    return std::nullopt;
  }
  const culture::Observation seen = culture::Headspace{Percent(reading.value())};
  return JarTold{reading.measured_at, seen, true};
}

void take_in(culture::JarModel& model, const JarTold& told) {
  if (const auto* act = std::get_if<culture::Act>(&told.what)) {
    model.act(told.at, *act);
  } else if (const auto* seen = std::get_if<culture::Observation>(&told.what)) {
    model.observe(told.at, *seen);
  } else {
    const ProbeReading& probe = std::get<ProbeReading>(told.what);
    model.probe(probe.seat, probe.temperature);
  }
}

json to_json(const JarTold& told) {
  return {unix_ms(told.at), std::visit(ToJson{}, told.what), told.by_sensor};
}

JarTold told_from_json(const json& j) {
  return {instant_from(j.at(0)), what_from(j.at(1)), j.at(2).get<bool>()};
}

json to_json(const culture::JarRecipe& recipe) {
  return {maybe_grams(recipe.rice),          maybe_grams(recipe.raw),
          maybe_grams(recipe.cooked_weight), maybe_number(recipe.cooked),
          maybe_grams(recipe.sugar),         maybe_grams(recipe.topping),
          maybe_number(recipe.sugar_kind),   maybe_grams(recipe.empty_vessel),
          maybe_length(recipe.volume_ml),    maybe_length(recipe.mouth_mm),
          maybe_number(recipe.cover),        unix_ms(recipe.closed),
          recipe.parent_worked_in_sugar};
}

culture::JarRecipe recipe_from_json(const json& j) {
  culture::JarRecipe recipe;
  recipe.rice = grams_from(j.at(0));
  recipe.raw = grams_from(j.at(1));
  recipe.cooked_weight = grams_from(j.at(2));
  recipe.cooked = maybe_one_of<culture::CookedWord>(kCookedWords, j.at(3));
  recipe.sugar = grams_from(j.at(4));
  recipe.topping = grams_from(j.at(5));
  recipe.sugar_kind = maybe_one_of<culture::SugarKind>(kSugarKinds, j.at(6));
  recipe.empty_vessel = grams_from(j.at(7));
  recipe.volume_ml = maybe_double(j.at(8));
  recipe.mouth_mm = maybe_double(j.at(9));
  recipe.cover = maybe_one_of<culture::Cover>(static_cast<int>(culture::kCovers), j.at(10));
  recipe.closed = instant_from(j.at(11));
  recipe.parent_worked_in_sugar = j.at(12).get<bool>();
  return recipe;
}

}  // namespace torpor::rules
