// A jar filled from another: what goes over with the spoon and what stays.
#include <doctest/doctest.h>

#include "tests/rules/culture/jars.h"

namespace torpor::rules::culture {

using namespace testing;

namespace {

// As the ledger tells it: a share of rice and sugar, in another vessel, closed now.
JarRecipe share_of(const JarRecipe& parent, double share, Instant closed) {
  JarRecipe recipe = parent;
  recipe.rice = Grams(share * parent.rice->value());
  recipe.raw = Grams(share * parent.raw->value());
  const double topping = parent.topping ? parent.topping->value() : 0.0;
  recipe.sugar = Grams(share * (parent.sugar->value() + topping));
  recipe.topping = std::nullopt;
  recipe.volume_ml = 1000.0;
  recipe.mouth_mm = 80.0;
  recipe.closed = closed;
  return recipe;
}

}  // namespace

TEST_CASE("a jar split off has the other's water, work, harm and age") {
  JarModel parent = jar_after(kWet, 27.0, 80.0, 4.0);
  parent.work_in();
  const double mass = parent.mix(kLikely)->mass();
  const JarModel child = parent.split_off(share_of(kWet, 0.25, parent.at()), Grams(0.25 * 1800.0));
  CHECK(child.at() == parent.at());
  const Figures was = parent.figures(), is = child.figures();
  CHECK(is.wake_progress_percent->likely == doctest::Approx(was.wake_progress_percent->likely));
  CHECK(is.wake_progress_percent->cautious > 0.0);
  CHECK(is.temperature->value() == doctest::Approx(was.temperature->value()));
  CHECK(is.highest_temperature->value() == doctest::Approx(was.highest_temperature->value()));
  // A quarter of everything, stirred: the activity of the whole.
  CHECK(child.mix(kLikely)->mass() == doctest::Approx(0.25 * mass).epsilon(0.01));
  const Mix whole = *parent.mix(kLikely);
  CHECK(child.mix(kLikely)->water / child.mix(kLikely)->mass() ==
        doctest::Approx(whole.water / whole.mass()));
  CHECK(parent.mix(kLikely)->mass() == doctest::Approx(mass));  // the other is as it was
}

TEST_CASE("what is split off of a stirred jar and left alone wakes when the other does") {
  JarModel parent = jar_after(kWet, 20.0, 60.0, 1.0);
  JarModel child = parent.split_off(share_of(kWet, 0.5, parent.at()), Grams(900.0));
  parent.step(air(20.0, 60.0), after_days(3.0));
  child.step(air(20.0, 60.0), after_days(3.0));
  CHECK(child.figures().wake_progress_percent->likely ==
        doctest::Approx(parent.figures().wake_progress_percent->likely).epsilon(0.05));
}

TEST_CASE("a split jar is no younger than its culture, and needs its test all the same") {
  JarModel parent = jar_after(kGood, 12.0, 60.0, 400.0);
  const JarModel child = parent.split_off(share_of(kGood, 0.5, parent.at()), Grams(1290.0));
  CHECK(parent.verdict().state == child.verdict().state);
  CHECK(child.figures().age_days == doctest::Approx(400.0));
}

TEST_CASE("a jar that was seen waking is not calmed by being split") {
  JarModel parent = jar_after(kGood, 20.0, 60.0, 30.0);
  parent.observe(parent.at(), Look{{Sign::bubbling}});
  REQUIRE(parent.verdict().state == State::awake);
  const JarModel child = parent.split_off(share_of(kGood, 0.5, parent.at()), Grams(1290.0));
  CHECK(child.verdict().state == State::awake);
}

TEST_CASE("a split jar's snapshot is restored by its own recipe") {
  const JarModel parent = jar_after(kGood, 18.0, 65.0, 20.0);
  const JarRecipe recipe = share_of(kGood, 0.5, parent.at());
  const JarModel child = parent.split_off(recipe, Grams(1290.0));
  JarModel back(profile(), recipe);
  REQUIRE(back.restore(child.snapshot()));
  CHECK(back.snapshot() == child.snapshot());
  CHECK(back.figures().body_activity->likely == child.figures().body_activity->likely);
}

TEST_CASE("a jar of which nothing is known is split without a figure, and without a crash") {
  JarRecipe bare;
  bare.closed = instant_of(kClosed);
  JarModel parent(profile(), bare);
  parent.step(air(20.0, 60.0), after_days(10.0));
  JarRecipe child = bare;
  child.closed = parent.at();
  const JarModel split = parent.split_off(child, Grams(100.0));
  CHECK_FALSE(split.figures().body_activity);
}

}  // namespace torpor::rules::culture
