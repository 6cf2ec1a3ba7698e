#include "rules/culture/profile.h"

#include <doctest/doctest.h>

#include <set>

using namespace torpor::rules::culture;

TEST_CASE("the table names every parameter of a set exactly once") {
  std::set<std::string_view> keys;
  std::set<const double*> fields;
  Parameters set{};
  for (const ParameterFacts& facts : parameter_facts()) {
    CHECK(keys.insert(facts.key).second);
    CHECK(fields.insert(&(set.*facts.field)).second);
  }
  CHECK(fields.size() == sizeof(Parameters) / sizeof(double));
}

TEST_CASE("every parameter has a unit, a source and defaults inside its range") {
  for (const ParameterFacts& facts : parameter_facts()) {
    CAPTURE(facts.key);
    CHECK_FALSE(facts.unit.empty());
    CHECK_FALSE(facts.source.empty());
    for (const double value : {facts.cautious, facts.likely, facts.hopeful}) {
      CHECK(value >= facts.lowest);
      CHECK(value <= facts.highest);
    }
    // The likely value lies between the other two, or the sets are not coherent. A half-life of 0
    // is 'never', the longest there is.
    if (facts.key == "progress_half_life") continue;
    CHECK((facts.likely - facts.cautious) * (facts.hopeful - facts.likely) >= 0.0);
  }
}

TEST_CASE("a new profile holds the defaults and passes its own check") {
  const Profile profile;
  for (const ParameterFacts& facts : parameter_facts()) {
    CHECK(profile.sets[kCautious].*facts.field == facts.cautious);
    CHECK(profile.sets[kLikely].*facts.field == facts.likely);
    CHECK(profile.sets[kHopeful].*facts.field == facts.hopeful);
  }
  CHECK(profile.check());
}

TEST_CASE("a parameter is set by its key in all three sets, at both ends of its range") {
  Profile profile;
  REQUIRE(profile.set("yeast_a_min", 0.8, 0.88, 0.96));
  CHECK(profile.sets[kCautious].yeast_a_min == 0.8);
  CHECK(profile.sets[kHopeful].yeast_a_min == 0.96);
}

TEST_CASE("what a profile cannot hold is refused in words") {
  Profile profile;
  CHECK(profile.set("yeast_amin", 1, 1, 1).error() ==
        "a culture profile has no parameter 'yeast_amin'");
  CHECK(profile.set("yeast_a_min", 0.799, 0.88, 0.9).error() ==
        "yeast_a_min is 0.799 1; it must lie between 0.8 and 0.96");
  CHECK(profile.set("yeast_t_max", 45, 45, 50.1).error() ==
        "yeast_t_max is 50.1 °C; it must lie between 35 and 50");
  CHECK_FALSE(profile.set("yeast_a_min", 0.85, 0.0 / 0.0, 0.9));
  CHECK(profile.sets[kLikely].yeast_a_min == 0.88);  // nothing changed
}

TEST_CASE("cardinal values that would leave 0 to 1 are refused") {
  Profile profile;
  // (5, 24, 45) gives -0.137 at 6 degC: the optimum must lie above the middle, 25 degC.
  REQUIRE(profile.set("osmo_t_opt", 24, 24, 24));
  REQUIRE(profile.set("osmo_t_max", 45, 45, 45));
  CHECK(profile.check().error() ==
        "osmo_t_opt is 24 °C; it must lie above 25 °C, the middle between osmo_t_min and "
        "osmo_t_max, and below osmo_t_max (45 °C)");
  Profile activity;
  REQUIRE(activity.set("mould_a_min", 0.9, 0.9, 0.9));
  REQUIRE(activity.set("mould_a_opt", 0.9, 0.9, 0.9));
  CHECK(activity.check().error() == "mould_a_min is 0.9; it must be less than mould_a_opt (0.9)");
}
