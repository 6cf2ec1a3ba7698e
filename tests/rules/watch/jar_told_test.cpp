// What was told of a jar comes back from a snapshot as it was, and damaged bytes are refused.
#include "rules/watch/jar_told.h"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include <stdexcept>

namespace torpor::rules {
namespace {

using culture::Act;
using culture::Observation;

TEST_CASE("every kind of told thing comes back as it was") {
  const Instant at = instant_of(1772409600123);
  const std::vector<JarTold> all = {
      {at, Act(culture::AddSugar{Grams(120.5), culture::SugarKind::raw, true}), false},
      {at, Act(culture::AddSugar{Grams(1.0), std::nullopt, false}), false},
      {at, Act(culture::Take{Grams(200.0)}), false},
      {at, Act(culture::Open{}), false},
      {at, Act(culture::ChangeCover{culture::Cover::airlock}), false},
      {at, Act(culture::Move{}), false},
      {at, Act(culture::Retire{}), false},
      {at, Observation(culture::Look{{culture::Sign::bubbling, culture::Sign::sweet_smell}}),
       false},
      {at, Observation(culture::Look{}), false},
      {at, Observation(culture::Weighing{Grams(4005.0), true, false}), false},
      {at, Observation(culture::Level{90.0}), false},
      {at, Observation(culture::Headspace{Percent(82.0)}), true},
      {at, Observation(culture::WakeTest{false}), false},
      {at, ProbeReading{culture::ProbeSeat::glass, Celsius(21.5)}, true},
  };
  for (const JarTold& told : all) {
    CAPTURE(to_json(told).dump());
    CHECK(told_from_json(nlohmann::json::from_cbor(nlohmann::json::to_cbor(to_json(told)))) ==
          told);
  }
}

TEST_CASE("a recipe comes back as it was, told and untold") {
  culture::JarRecipe full;
  full.rice = Grams(1200.0);
  full.raw = Grams(560.0);
  full.cooked_weight = Grams(1180.0);
  full.cooked = culture::CookedWord::soft;
  full.sugar = Grams(1250.0);
  full.topping = Grams(60.0);
  full.sugar_kind = culture::SugarKind::white;
  full.empty_vessel = Grams(1450.0);
  full.volume_ml = 3800.0;
  full.mouth_mm = 110.0;
  full.cover = culture::Cover::double_kraft;
  full.closed = instant_of(1772409600123);
  full.parent_worked_in_sugar = true;
  CHECK(recipe_from_json(to_json(full)) == full);
  culture::JarRecipe bare;
  bare.closed = instant_of(0);
  CHECK(recipe_from_json(to_json(bare)) == bare);
}

TEST_CASE("what was never told is refused") {
  using nlohmann::json;
  CHECK_THROWS_AS((void)told_from_json(json::parse("[0,[12],false]")), std::out_of_range);
  CHECK_THROWS_AS((void)told_from_json(json::parse("[0,[-1],false]")), std::out_of_range);
  CHECK_THROWS_AS((void)told_from_json(json::parse("[0,[3,10],false]")), std::out_of_range);
  CHECK_THROWS_AS((void)told_from_json(json::parse("[0,[6,[26]],false]")), std::out_of_range);
  CHECK_THROWS_AS((void)told_from_json(json::parse("[0,[1],false]")), json::exception);
  CHECK_THROWS_AS((void)told_from_json(json::parse("[0,[0,\"much\",null,true],false]")),
                  json::exception);
  CHECK_THROWS_AS((void)recipe_from_json(json::array()), json::exception);
}

}  // namespace
}  // namespace torpor::rules
