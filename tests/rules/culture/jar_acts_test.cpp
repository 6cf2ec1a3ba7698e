#include <doctest/doctest.h>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using namespace torpor::rules::culture::testing;

namespace {

JarModel settled(const JarRecipe& recipe, double celsius = 20, double percent = 70) {
  return jar_after(recipe, celsius, percent, 30);
}
void look(JarModel& jar, std::vector<Sign> signs) { jar.observe(jar.at(), Look{signs}); }
// Past the minute in which it would contradict what was just told.
void well_later(JarModel& jar) {
  jar.observe(jar.at() + std::chrono::minutes(1), Look{{Sign::all_well}});
}

}  // namespace

TEST_CASE("sugar stirred in lowers the activity and starts settling again") {
  JarModel jar = settled(kWet, 15);
  const double before = jar.figures().body_activity->likely;
  jar.act(jar.at(), AddSugar{Grams(800), std::nullopt, true});
  CHECK(jar.figures().body_activity->likely < before - 0.03);
  CHECK(jar.mix(kLikely)->sucrose > 1200);
  look(jar, {Sign::bubbling});
  CHECK(jar.figures().water_buffer_g->likely >= 0.0);
  jar.step(air(15, 70), after_days(31));
  // 15 degC settles slower than 18: after a day it surely still does, and bubbles are normal.
  CHECK(jar.verdict().state != State::awake);
}

TEST_CASE("sugar spread on top becomes the surface and its buffer") {
  JarModel jar = settled(jar_of(1200, 0.55, 1320, Cover::kraft), 20, 85);
  CHECK_FALSE(jar.figures().topping_buffer_g);
  jar.act(jar.at(), AddSugar{Grams(60), SugarKind::brown, false});
  CHECK(jar.figures().topping_buffer_g->likely == doctest::Approx(27).epsilon(0.05));
  jar.act(jar.at(), AddSugar{Grams(0), std::nullopt, false});
  CHECK(jar.figures().topping_buffer_g->likely == doctest::Approx(27).epsilon(0.05));
}

TEST_CASE("taking some leaves the rest as it was, only less of it") {
  JarModel jar = settled(kGood);
  jar.act(jar.at(), Open{});  // works in what is pending
  const Figures before = jar.figures();
  const double mass = jar.mix(kLikely)->mass();
  jar.act(jar.at(), Take{Grams(500)});
  CHECK(jar.figures().body_activity->likely ==
        doctest::Approx(before.body_activity->likely).epsilon(1e-3));
  CHECK(jar.mix(kLikely)->mass() == doctest::Approx(mass * (1 - 500.0 / 2580)).epsilon(1e-3));
  CHECK(jar.figures().opened_h == doctest::Approx(0.0));
  // More than there is leaves a smear, not a negative jar.
  jar.act(jar.at(), Take{Grams(1e6)});
  CHECK(jar.mix(kLikely)->mass() > 0.0);
}

TEST_CASE("a tighter cover slows the drying from then on") {
  JarModel open = settled(kGood, 20, 50), closed = settled(kGood, 20, 50);
  closed.act(closed.at(), ChangeCover{Cover::film});
  const double before = open.figures().water_gained_g->likely;
  open.step(air(20, 50), after_days(60));
  closed.step(air(20, 50), after_days(60));
  CHECK(open.figures().water_gained_g->likely - before < -5.0);
  CHECK(closed.figures().water_gained_g->likely - before > -1.0);
  CHECK(closed.figures().opened_h == doctest::Approx(30 * 24));
}

TEST_CASE("an act after a gap brings the jar there uncovered") {
  JarModel jar = settled(kGood);
  jar.act(after_days(40), Open{});
  CHECK(jar.at() == after_days(40));
  CHECK(jar.figures().coverage_percent == doctest::Approx(75).epsilon(1e-3));
  jar.act(after_days(35), Open{});  // late: taken as now
  CHECK(jar.at() == after_days(40));
}

TEST_CASE("a move makes the forecast forget the old place") {
  JarModel jar = settled(kWet, 12, 60);
  jar.act(jar.at(), Move{});
  CHECK(jar.verdict().time_to_wake[kLikely].kind != WakeTime::Kind::beyond);
  jar.step(air(30, 60), after_days(30.5));
  JarModel stayed = settled(kWet, 12, 60);
  stayed.step(air(30, 60), after_days(30.5));
  CHECK_FALSE(sooner(stayed.verdict().time_to_wake[kLikely], jar.verdict().time_to_wake[kLikely]));
}

TEST_CASE(
    "one strong sign after settling makes a jar awake, two weak ones too, one weak one waking") {
  JarModel jar = settled(kGood);
  REQUIRE(jar.verdict().state == State::dormant);
  JarModel strong = jar, weak = jar, two = jar;
  look(strong, {Sign::alcohol_smell});
  CHECK(strong.verdict().state == State::awake);
  look(weak, {Sign::pressure});
  CHECK(weak.verdict().state == State::waking);
  look(two, {Sign::pressure, Sign::warm});
  CHECK(two.verdict().state == State::awake);
  look(jar, {Sign::sweet_smell, Sign::insects, Sign::sinking});
  CHECK(jar.verdict().state == State::dormant);
}

TEST_CASE("all well takes back what was seen before, but not what is told with it") {
  JarModel jar = settled(kGood);
  look(jar, {Sign::bubbling, Sign::rising, Sign::alcohol_smell, Sign::wet_surface, Sign::pressure,
             Sign::white_growth, Sign::leaking});
  REQUIRE(jar.verdict().state == State::awake);
  well_later(jar);
  CHECK(jar.verdict().state == State::dormant);
  CHECK(jar.figures().waking_signs == 0);
  look(jar, {Sign::all_well, Sign::sour_smell});
  CHECK(jar.verdict().state == State::awake);
}

TEST_CASE("all well told within a minute of a sign is no later look, and takes nothing back") {
  for (const auto& [later, state] : {std::pair{std::chrono::milliseconds(0), State::awake},
                                     {std::chrono::milliseconds(59999), State::awake},
                                     {std::chrono::milliseconds(60000), State::dormant}}) {
    JarModel jar = settled(kGood);
    look(jar, {Sign::bubbling});
    jar.observe(jar.at() + later, Look{{Sign::all_well}});
    CAPTURE(later.count());
    CHECK(jar.verdict().state == state);
  }
}

TEST_CASE("no look takes back gas under a lid that holds it, until the cover was changed") {
  JarRecipe lidded = kGood;
  lidded.cover = Cover::tight_lid;
  for (const Sign sign : {Sign::bubbling, Sign::rising, Sign::pressure, Sign::leaking}) {
    CAPTURE(facts(sign).name);
    JarModel jar = settled(lidded);
    REQUIRE(jar.figures().waking_signs == 0);
    look(jar, {sign});
    well_later(jar);
    well_later(jar);
    CHECK(jar.figures().waking_signs > 0);
    // The change of the cover alone shows nothing; the look after it does.
    jar.act(jar.at(), ChangeCover{Cover::paper});
    CHECK(jar.figures().waking_signs > 0);
    well_later(jar);
    CHECK(jar.figures().waking_signs == 0);
    CHECK(jar.verdict().state == State::dormant);
  }
  // What is no gas is seen and smelt under any lid.
  JarModel jar = settled(lidded);
  look(jar, {Sign::sour_smell, Sign::wet_surface});
  well_later(jar);
  CHECK(jar.figures().waking_signs == 0);
}

TEST_CASE("what spoils is taken back by no look and no sugar") {
  for (const Sign sign :
       {Sign::green_growth, Sign::black_growth, Sign::pink_growth, Sign::rotten_smell}) {
    CAPTURE(facts(sign).name);
    JarModel jar = settled(kGood);
    look(jar, {sign, Sign::bubbling});
    JarModel alone = settled(kGood);
    look(alone, {sign});
    well_later(jar);
    CHECK(jar.figures().waking_signs == alone.figures().waking_signs);
    CHECK(jar.verdict().state == State::awake);
    jar.act(jar.at(), AddSugar{Grams(300), std::nullopt, false});
    CHECK(jar.figures().waking_signs == alone.figures().waking_signs);
  }
}

TEST_CASE("fresh sugar answers what was seen, but no gas under a tight lid") {
  const AddSugar sugar{Grams(100), std::nullopt, false};
  JarModel open = settled(kGood);
  look(open, {Sign::pressure});
  REQUIRE(open.figures().waking_signs > 0);
  open.act(open.at(), sugar);
  CHECK(open.figures().waking_signs == 0);
  JarRecipe lidded = kGood;
  lidded.cover = Cover::tight_lid;
  JarModel tight = settled(lidded);
  look(tight, {Sign::pressure});
  const std::size_t before = tight.figures().waking_signs;
  REQUIRE(before > 0);
  tight.act(tight.at(), sugar);
  CHECK(tight.figures().waking_signs == before);
}

TEST_CASE("no look makes a cracked vessel whole, frost and larvae wake nothing") {
  JarModel jar = settled(kGood);
  CHECK_FALSE(jar.figures().cracked);
  look(jar, {Sign::frozen, Sign::larvae});
  CHECK(jar.verdict().state == State::dormant);
  CHECK_FALSE(jar.figures().cracked);
  look(jar, {Sign::cracked});
  CHECK(jar.figures().cracked);
  CHECK(jar.verdict().state == State::dormant);
  jar.step(air(20, 70), after_days(31));
  CHECK(jar.figures().cracked);
  look(jar, {Sign::all_well, Sign::cracked});
  CHECK(jar.figures().cracked);
  well_later(jar);
  CHECK(jar.figures().cracked);
}

TEST_CASE("a leak is one weak sign of gas: two such make a jar awake") {
  JarModel jar = settled(kGood);
  look(jar, {Sign::leaking});
  CHECK(jar.verdict().state == State::waking);
  look(jar, {Sign::pressure});
  CHECK(jar.verdict().state == State::awake);
}

TEST_CASE(
    "when it has settled and when it wants a test is known ahead, and no longer once it is so") {
  JarModel young = jar_after(kGood, 18, 70, 4);
  REQUIRE(young.figures().settled_in_days);
  // 18 degC is the warmth that the settling days are counted at.
  CHECK(*young.figures().settled_in_days == doctest::Approx(kSet.settling_days - 4).epsilon(0.1));
  CHECK_FALSE(settled(kGood).figures().settled_in_days);
  JarModel jar = settled(kGood, 15, 60);
  REQUIRE(jar.figures().test_due_in_days);
  const double due = *jar.figures().test_due_in_days;
  CHECK(due == doctest::Approx(kSet.untested_age - 30));
  jar.step(air(15, 60), after_days(30 + due - 1));
  CHECK(*jar.figures().test_due_in_days == doctest::Approx(1.0));
  jar.step(air(15, 60), after_days(30 + due + 1));
  CHECK_FALSE(jar.figures().test_due_in_days);
  jar.observe(jar.at(), WakeTest{true});
  CHECK(*jar.figures().test_due_in_days == doctest::Approx(kSet.untested_age));
}

TEST_CASE("a jar that sugar was stirred into settles once more, and says so") {
  JarModel jar = jar_after(kGood, 15, 70, 60);
  jar.act(jar.at(), AddSugar{Grams(300), std::nullopt, true});
  CHECK(jar.verdict().state == State::settling);
  CHECK(says(jar.verdict(), "Sugar was stirred in and it settles once more"));
  CHECK(says(jar_after(kGood, 18, 70, 4).verdict(), "It was closed 4 days ago and is settling"));
}

TEST_CASE("all well past half the predicted work slows that jar's clock, before half it does not") {
  JarModel jar = jar_after(kWet, 20, 65, 3);
  const double half = jar.figures().wake_progress_percent->likely;
  REQUIRE(half > 30.0);
  REQUIRE(half < 50.0);
  look(jar, {Sign::all_well});
  CHECK(jar.figures().wake_progress_percent->likely == doctest::Approx(half).epsilon(1e-6));
  jar.step(air(20, 65), after_days(10));
  const double late = jar.figures().wake_progress_percent->likely;
  REQUIRE(late > 60.0);
  look(jar, {Sign::all_well});
  const Figures slowed = jar.figures();
  CHECK(slowed.wake_progress_percent->likely ==
        doctest::Approx(late / (late / 100 + 0.5)).epsilon(0.01));
  CHECK(slowed.wake_progress_percent->likely < 100.0);
  CHECK(slowed.wake_progress_percent->cautious >= slowed.wake_progress_percent->likely);
  CHECK(jar.verdict().state != State::due);
}

TEST_CASE("bubbling with sugar undissolved lets slow work count from then on") {
  JarModel jar = settled(kGood);
  REQUIRE(jar.figures().water_buffer_g->likely > 0.0);
  const double before = jar.figures().wake_progress_percent->cautious;
  look(jar, {Sign::bubbling});
  well_later(jar);
  CHECK(jar.figures().wake_progress_percent->cautious > before);
  JarRecipe child = kGood;
  child.parent_worked_in_sugar = true;
  CHECK(settled(child).figures().wake_progress_percent->cautious >
        settled(kGood).figures().wake_progress_percent->cautious);
}

TEST_CASE("a weighing that agrees leaves the jar as it was") {
  JarModel jar = settled(kGood, 20, 50);
  JarRecipe with_empty = kGood;
  with_empty.empty_vessel = Grams(1450);
  JarModel weighed = settled(with_empty, 20, 50);
  const double gained = weighed.figures().water_gained_g->likely;
  weighed.observe(weighed.at(), Weighing{Grams(1450 + 2580 + gained), true});
  CHECK(weighed.figures().water_gained_g->likely ==
        doctest::Approx(jar.figures().water_gained_g->likely).epsilon(1e-3));
  CHECK(weighed.figures().gas_lost_g == 0.0);
}

TEST_CASE("weight lost that drying cannot explain is gas: a sign, and no drier jar") {
  JarRecipe lidded = kGood;
  lidded.cover = Cover::tight_lid;
  lidded.empty_vessel = Grams(1450);
  JarModel jar = settled(lidded);
  jar.observe(jar.at(), Weighing{Grams(1450 + 2580), true});
  const Figures before = jar.figures();
  jar.step(air(20, 70), after_days(60));
  jar.observe(jar.at(), Weighing{Grams(1450 + 2580 - 40), true});
  const Figures after = jar.figures();
  CHECK(after.gas_lost_g == doctest::Approx(40).epsilon(0.02));
  CHECK(after.water_gained_g->likely ==
        doctest::Approx(before.water_gained_g->likely).epsilon(0.1));
  CHECK(jar.verdict().state == State::waking);  // one weak sign
}

TEST_CASE("without the empty weight the first gross weighing is the baseline") {
  JarModel jar = settled(kGood, 20, 50);
  const double gained = jar.figures().water_gained_g->likely;
  CHECK_FALSE(jar.doubt(Weighing{Grams(4100), true}));
  jar.observe(jar.at(), Weighing{Grams(4100), true});
  CHECK(jar.figures().water_gained_g->likely == doctest::Approx(gained));
  jar.step(air(20, 50), after_days(60));
  const double predicted = jar.figures().water_gained_g->likely;
  jar.observe(jar.at(), Weighing{Grams(4100 + predicted - gained - 8), true});
  // It dried 8 g faster than thought: part of it is believed, and the cover with it.
  CHECK(jar.figures().water_gained_g->likely < predicted - 4.0);
  CHECK(jar.figures().water_gained_g->likely > predicted - 8.1);
}

TEST_CASE("a weight that fits neither with nor without the vessel is asked about") {
  JarRecipe recipe = kGood;
  recipe.empty_vessel = Grams(1450);
  const JarModel jar = settled(recipe);
  CHECK_FALSE(jar.doubt(Weighing{Grams(4020), true}));
  CHECK_FALSE(jar.doubt(Weighing{Grams(2570), false}));
  CHECK(*jar.doubt(Weighing{Grams(2570), true}) ==
        "2570 g with the vessel does not fit: about 2580 g of contents in a vessel of 1450 g were "
        "expected; was it weighed without the vessel?");
  CHECK(jar.doubt(Weighing{Grams(0), true}));
}

TEST_CASE("a scale under the jar counts once a day, a person's weighing always") {
  JarRecipe recipe = kGood;
  recipe.empty_vessel = Grams(1450);
  JarModel jar = settled(recipe, 20, 50);
  const double expected = 1450 + 2580 + jar.figures().water_gained_g->likely;
  jar.observe(jar.at(), Weighing{Grams(expected), true, true});
  const double before = jar.figures().water_gained_g->likely;
  jar.step(air(20, 50), after_days(30.9));
  jar.observe(jar.at(), Weighing{Grams(expected + 60), true, true});
  CHECK(jar.figures().water_gained_g->likely < before);  // not heard
  jar.observe(jar.at(), Weighing{Grams(expected + 60), true, false});
  CHECK(jar.figures().water_gained_g->likely > before + 50);
}

TEST_CASE("acts between weighings are no water") {
  JarRecipe recipe = kGood;
  recipe.empty_vessel = Grams(1450);
  JarModel jar = settled(recipe);
  jar.observe(jar.at(), Weighing{Grams(4000), true});
  const double before = jar.figures().water_gained_g->likely;
  jar.act(jar.at(), Take{Grams(300)});
  jar.act(jar.at(), AddSugar{Grams(100), std::nullopt, true});
  jar.observe(jar.at(), Weighing{Grams(3800), true});
  CHECK(jar.figures().water_gained_g->likely == doctest::Approx(before).epsilon(0.05));
  CHECK(jar.figures().gas_lost_g == 0.0);
}

TEST_CASE("a rising level is a sign, a sinking one is not") {
  JarModel jar = settled(kGood);
  jar.observe(jar.at(), Level{90});
  jar.observe(jar.at(), Level{80});
  CHECK(jar.verdict().state == State::dormant);
  jar.observe(jar.at(), Level{84.9});
  CHECK(jar.verdict().state == State::dormant);
  jar.observe(jar.at(), Level{89.9});
  CHECK(jar.verdict().state == State::awake);
}

TEST_CASE("a headspace reading corrects the surface a part of the way, once a day") {
  JarModel jar = settled(kGood, 20, 50);
  const Figures before = jar.figures();
  jar.observe(jar.at(), Headspace{Percent(90)});
  const double once = jar.figures().surface_activity->likely;
  CHECK(once > before.surface_activity->likely);
  CHECK(once < 0.90);
  CHECK(jar.figures().surface_activity->cautious > before.surface_activity->cautious);
  jar.observe(jar.at(), Headspace{Percent(90)});
  CHECK(jar.figures().surface_activity->likely == doctest::Approx(once));
  jar.observe(jar.at(), Headspace{Percent(0)});  // no such air
}

TEST_CASE("a dry headspace never makes the cautious jar drier") {
  JarModel jar = settled(kGood, 20, 80);
  const Figures before = jar.figures();
  jar.observe(jar.at(), Headspace{Percent(60)});
  CHECK(jar.figures().surface_activity->cautious == before.surface_activity->cautious);
  CHECK(jar.figures().surface_activity->likely < before.surface_activity->likely);
}

TEST_CASE("crystals, crust and syrup correct the surface") {
  JarModel damp = settled(kGood, 22, 97);
  damp.step(air(22, 97), after_days(150));
  REQUIRE(damp.figures().surface_activity->likely > 0.86);
  JarModel crystals = damp;
  look(crystals, {Sign::crystals});
  CHECK(crystals.figures().surface_activity->likely < 0.86);
  CHECK(crystals.figures().surface_activity->cautious < damp.figures().surface_activity->cautious);
  CHECK(crystals.figures().surface_activity->cautious >
        crystals.figures().surface_activity->likely);

  JarModel crusty = settled(kGood, 20, 80);
  const double soft = crusty.figures().surface_activity->likely;
  look(crusty, {Sign::crust});
  CHECK(crusty.figures().surface_activity->likely < soft);

  JarModel dry = settled(kGood, 20, 40);
  const double crust = dry.figures().surface_activity->likely;
  look(dry, {Sign::syrup_on_top});
  CHECK(dry.figures().surface_activity->likely > crust);
}

TEST_CASE("a lively wake test clears heat and age, a dead one stands") {
  JarModel jar = jar_after(kGood, 50, 30, 1);
  REQUIRE(jar.verdict().state == State::doubtful);
  JarModel dead = jar;
  jar.observe(jar.at(), WakeTest{true});
  CHECK(jar.verdict().state != State::doubtful);
  dead.observe(dead.at(), WakeTest{false});
  CHECK(dead.verdict().state == State::doubtful);
}

TEST_CASE("a retired jar stays retired") {
  JarModel jar = settled(kGood);
  jar.act(jar.at(), Retire{});
  look(jar, {Sign::bubbling});
  CHECK(jar.verdict().state == State::retired);
  CHECK(jar.verdict().reasons == std::vector<std::string>{"It was retired."});
}

TEST_CASE("a predicted waking that comes inside its range is scored") {
  JarModel jar(profile(), kWet);
  for (int day = 1; day <= 16; ++day) jar.step(air(20, 65), after_days(day));
  REQUIRE(jar.verdict().figures.wake_progress_percent->likely > 50.0);
  look(jar, {Sign::alcohol_smell});
  CHECK(jar.verdict().score.predicted + jar.verdict().score.unforeseen == 1);
  CHECK(jar.verdict().score.inside == 1);
  look(jar, {Sign::sour_smell});  // the same waking
  CHECK(jar.verdict().score.predicted == 1);
}

TEST_CASE("a waking nobody foresaw is counted as that") {
  JarModel jar = settled(kGood);
  look(jar, {Sign::alcohol_smell});
  CHECK(jar.verdict().score == Score{0, 0, 0, 0, 1});
}
