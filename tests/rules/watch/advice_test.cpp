// Remedies with amounts: each figure against a published value, or against the model after the
// remedy was carried out.
#include <doctest/doctest.h>

#include <cmath>

#include "rules/air/psychrometrics.h"
#include "rules/watch/advice.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

const UtcOffset kUtc;

culture::JarRecipe advised_recipe(double sugar = 1250.0) {
  culture::JarRecipe recipe;
  recipe.rice = Grams(1200.0);
  recipe.raw = Grams(560.0);
  recipe.sugar = Grams(sugar);
  recipe.volume_ml = 3800.0;
  recipe.mouth_mm = 110.0;
  recipe.closed = minute(0);
  return recipe;
}

culture::JarModel jar_after(double days, Celsius temperature, Percent humidity,
                            const culture::JarRecipe& recipe = advised_recipe()) {
  culture::JarModel model(std::make_shared<const culture::Profile>(), recipe);
  model.step(*culture::Air::of(temperature, humidity), minute(days * 1440.0));
  model.work_in();
  return model;
}

LatelyAir::Air air_of(double celsius, double percent) {
  return {Celsius(celsius), air::vapour_pressure(Celsius(celsius), Percent(percent))};
}

AdviceScene scene_of(const culture::JarModel* model) {
  AdviceScene scene(kUtc);
  scene.kind = SubjectKind::jar;
  scene.jars = {"B-07"};
  scene.model = model;
  scene.now = minute(0);
  return scene;
}

Advice only(Remedy remedy, const AdviceScene& scene) {
  const std::vector<Advice> all = advise(std::vector{remedy}, scene);
  REQUIRE(all.size() == 1);
  return all.front();
}

double amount(const Advice& advice, std::string_view name) {
  for (const Figure& figure : advice.amounts) {
    if (figure.name == name && figure.value) return *figure.value;
  }
  return std::nan("");
}

TEST_CASE("the sugar that is asked for puts the jar to sleep, and little more than that") {
  for (const double sugar : {600.0, 700.0, 800.0}) {
    CAPTURE(sugar);
    culture::JarModel model = jar_after(1, Celsius(18.0), Percent(70.0), advised_recipe(sugar));
    REQUIRE(model.figures().body_activity->likely > 0.85);
    const Advice advice = only(Remedy::add_sugar, scene_of(&model));
    CHECK(advice.words.find("Stir about ") == 0);
    CHECK(advice.words.find(" into B-07 with a dry clean spoon") != std::string::npos);
    const double asked = amount(advice, "sugar");
    culture::JarModel less = model;
    model.act(model.at(), culture::AddSugar{Grams(asked), std::nullopt, true});
    CHECK(model.figures().body_activity->likely <= 0.85);
    // Some of it stays undissolved, and with 10 % less none would have.
    CHECK(model.figures().sugar_shortfall_g->likely == 0.0);
    less.act(less.at(), culture::AddSugar{Grams(0.9 * asked), std::nullopt, true});
    CHECK(less.figures().sugar_shortfall_g->likely > 0.0);
  }
}

TEST_CASE("a jar that has sugar enough gets a layer on top, in grams and spoons for its mouth") {
  const culture::JarModel model =
      jar_after(1, Celsius(18.0), Percent(70.0), advised_recipe(1500.0));
  const Advice advice = only(Remedy::add_sugar, scene_of(&model));
  // 7 mm of poured sugar (0.85 g/ml) over a circle of 11 cm: 56.5 g.
  CHECK(amount(advice, "sugar on top") == doctest::Approx(55.0));
  CHECK(advice.words ==
        "Spread about 55 g of dry sugar (4 tablespoons) on top of B-07, level, with a dry clean "
        "spoon; then a fresh dry cover.");
}

TEST_CASE("a working jar is never stirred without room above it") {
  culture::JarModel model = jar_after(30, Celsius(18.0), Percent(70.0), advised_recipe(600.0));
  model.observe(model.at(), culture::Look{{culture::Sign::bubbling}});
  CHECK(only(Remedy::add_sugar, scene_of(&model)).words.find("Else spread it on top.") !=
        std::string::npos);
}

TEST_CASE("a move is to the place where the model of the jar sleeps longest, or to none") {
  const culture::JarModel model =
      jar_after(10, Celsius(28.0), Percent(80.0), advised_recipe(900.0));
  AdviceScene scene = scene_of(&model);
  scene.here = scene.here_now = air_of(28.0, 80.0);
  scene.elsewhere = {{"cellar/shelf-1", air_of(24.0, 75.0)}, {"pantry", air_of(16.0, 60.0)}};
  const Advice advice = only(Remedy::move, scene);
  CHECK(advice.words.find("Move B-07 to pantry (16.0 °C, 60 %): it wakes there ") == 0);
  CHECK(advice.words.find("Let it cool slowly under a cover that breathes.") != std::string::npos);
  const auto here = model.time_to_wake_in(Celsius(28.0), Percent(80.0))[culture::kLikely];
  CHECK(amount(advice, "time to wake here") == doctest::Approx(here.hours / 24.0));
  SUBCASE("no place that is hardly better is worth carrying jars to") {
    scene.elsewhere = {{"cellar/shelf-1", air_of(27.5, 80.0)}};
    CHECK(only(Remedy::move, scene).words ==
          "No other place with a sensor is clearly better for B-07.");
    // And what helps is said first.
    const auto both = advise(std::vector{Remedy::move, Remedy::shade}, scene);
    CHECK(both.front().remedy == Remedy::shade);
  }
  SUBCASE("in harmful heat the coolest place counts") {
    scene.here_now = air_of(43.0, 20.0);
    CHECK(only(Remedy::move, scene).words.find("Move B-07 to pantry (16.0 °C, 60 %)") == 0);
  }
  SUBCASE("without other places the remedy is said without a name") {
    scene.elsewhere.clear();
    CHECK(only(Remedy::move, scene).words == remedy_sentence(Remedy::move));
  }
}

// Saturation pressures by Wagner and Pruss 1993, J. Phys. Chem. Ref. Data 22, 783, eq. 1: 1228 Pa
// at 10, 2065 at 18, 2339 at 20, 3783 at 28 degC.
TEST_CASE("whether to air is decided by vapour, not by relative humidity") {
  AdviceScene scene = scene_of(nullptr);
  scene.here_now = air_of(20.0, 70.0);
  SUBCASE("cold damp air is dry once it is warm") {
    scene.outside_now = air_of(10.0, 80.0);
    const Advice advice = only(Remedy::keep_room_shut, scene);
    CHECK(advice.remedy == Remedy::vent);
    CHECK(amount(advice, "humidity from outside") ==
          doctest::Approx(100.0 * 0.80 * 1228 / 2339).epsilon(0.002));
    CHECK(advice.words ==
          "Air the room now: outside air comes to 42 % at the jars' 20 °C, inside it is 70 %.");
  }
  SUBCASE("warm dry air is damp once it is cool") {
    scene.here_now = air_of(18.0, 75.0);
    scene.outside_now = air_of(28.0, 50.0);
    const Advice advice = only(Remedy::vent, scene);
    CHECK(advice.remedy == Remedy::keep_room_shut);
    CHECK(amount(advice, "humidity from outside") ==
          doctest::Approx(100.0 * 0.50 * 3783 / 2065).epsilon(0.002));
  }
  SUBCASE("both asked for are one answer") {
    scene.outside_now = air_of(10.0, 80.0);
    CHECK(advise(std::vector{Remedy::vent, Remedy::keep_room_shut}, scene).size() == 1);
  }
  SUBCASE("without a sensor outside nobody is told to decide by feeling") {
    CHECK(only(Remedy::vent, scene).words == remedy_sentence(Remedy::vent));
  }
}

TEST_CASE("the hours in which the last day's air was drier outside are said in local time") {
  AdviceScene scene = scene_of(nullptr);
  const UtcOffset summer = [](Instant) { return std::chrono::minutes(120); };
  AdviceScene local(summer);
  local.kind = SubjectKind::place;
  local.here_now = air_of(18.0, 85.0);  // 1754 Pa
  local.outside_now = air_of(26.0, 60.0);
  LatelyAir outside;
  LatelyAir::Saved day;
  for (std::size_t hour = 0; hour < 24; ++hour) {
    // Drier from 21:00 to 05:00 UTC.
    day.day[hour] = {true, true, 20.0F, hour >= 21 || hour < 5 ? 1400.0F : 1900.0F};
  }
  outside.restore(day);
  local.outside_lately = &outside;
  CHECK(only(Remedy::vent, local)
            .words.find("It was drier outside from 23:00 to 07:00 of the last day: air it then.") !=
        std::string::npos);
}

// Water vapour in saturated air at 18 degC: 15.37 g/m3 (ideal gas, 2064 Pa / (461.5 J/kg K x
// 291.15)).
TEST_CASE("the water to take out of a room is its excess over 75 %, times its volume") {
  AdviceScene scene = scene_of(nullptr);
  scene.here_now = air_of(18.0, 90.0);
  scene.room_m3 = 18.0;
  Advice advice = only(Remedy::dry_air, scene);
  CHECK(amount(advice, "water to take out") == doctest::Approx(0.15 * 15.37 * 18.0).epsilon(0.005));
  CHECK(advice.words.find("Take about 41 g of water out of the room's air to come to 75 %;") == 0);
  scene.outside_now = air_of(18.0, 100.0);
  advice = only(Remedy::dry_air, scene);
  // Six times a day the room's volume, at a quarter of 15.37 g/m3 too much.
  CHECK(amount(advice, "water a day") == doctest::Approx(6 * 0.25 * 15.37 * 18.0).epsilon(0.005));
  scene.here_now = air_of(18.0, 70.0);
  CHECK(only(Remedy::dry_air, scene).words == "The room's air is dry enough now, below 75 %.");
  scene.room_m3.reset();
  CHECK(only(Remedy::dry_air, scene).words == remedy_sentence(Remedy::dry_air));
}

TEST_CASE("only a lid that holds gas is to be eased, with its caution") {
  AdviceScene scene = scene_of(nullptr);
  CHECK(only(Remedy::ease_lid, scene).words == remedy_sentence(Remedy::ease_lid));
  scene.covers_known = true;
  const auto both = advise(std::vector{Remedy::ease_lid, Remedy::look}, scene);
  REQUIRE(both.size() == 1);
  CHECK(both[0].remedy == Remedy::look);
  scene.gas_tight = {"B-07"};
  CHECK(only(Remedy::ease_lid, scene).words ==
        "Ease the lid of B-07 slowly, a cloth over it, face and eyes away: it can burst. Then tell "
        "`cover B-07 with paper`.");
}

// Common practice, no source.
TEST_CASE("a spoiled jar is carried out and nothing else, whatever the rule advises") {
  const culture::JarModel model = jar_after(30, Celsius(18.0), Percent(70.0));
  AdviceScene scene = scene_of(&model);
  scene.spoilage = Spoilage{minute(0), culture::Sign::green_growth, "B-07", 12};
  const std::vector rule{Remedy::use_first, Remedy::add_sugar, Remedy::look};
  const auto advice = advise(rule, scene);
  REQUIRE(advice.size() == 1);
  CHECK(advice.front().remedy == Remedy::carry_out);
  CHECK(advice.front().words.find("Keep B-07 from food, close it, carry it out and wash your "
                                  "hands. Do not sniff or scrape it") == 0);
  SUBCASE("under a lid that holds gas the lid comes first") {
    scene.gas_tight = {"B-07"};
    const auto both = advise(rule, scene);
    REQUIRE(both.size() == 2);
    CHECK(both[0].remedy == Remedy::ease_lid);
    CHECK(both[1].remedy == Remedy::carry_out);
  }
}

TEST_CASE(
    "of a working jar under a tight lid the lid comes first, and what opens a still one warns") {
  AdviceScene scene = scene_of(nullptr);
  scene.covers_known = true;
  scene.gas_tight = {"B-07"};
  culture::JarModel awake = jar_after(30, Celsius(18.0), Percent(70.0), advised_recipe(900.0));
  awake.observe(awake.at(), culture::Look{{culture::Sign::bubbling}});
  scene.model = &awake;
  const std::vector rule{Remedy::add_sugar, Remedy::use_first};
  CHECK(advise(rule, scene).front().remedy == Remedy::ease_lid);
  const culture::JarModel still = jar_after(30, Celsius(12.0), Percent(70.0));
  REQUIRE(still.verdict().state == culture::State::dormant);
  scene.model = &still;
  const auto advice = advise(rule, scene);
  CHECK(advice.front().remedy == Remedy::add_sugar);
  CHECK(advice.front().words.find("Its lid is tight: first ease it slowly, a cloth over it, face "
                                  "and eyes away.") != std::string::npos);
}

// Ratio of the cardinal temperatures of S. cerevisiae (2.8, 32.3, 45.4 °C; Salvado et al. 2011,
// Tmin from memory) with Rosso's model: 0.99 at 31 °C, 0.36 at 15 °C.
TEST_CASE("where heat is the matter a cooler place is named, with what is gained") {
  const culture::JarModel model = jar_after(60, Celsius(15.0), Percent(65.0));
  AdviceScene scene = scene_of(&model);
  scene.about_heat = true;
  scene.here = scene.here_now = air_of(31.0, 50.0);
  scene.elsewhere = {{"cellar", air_of(15.0, 70.0)}, {"vault", air_of(13.0, 92.0)}};
  const Advice advice = only(Remedy::move, scene);
  CHECK(advice.words.find("Move B-07 to cellar (15.0 °C, 70 %): there it works about a third as "
                          "fast.") == 0);
  SUBCASE("a damp place is no place to carry a jar to, unless heat kills it here") {
    scene.elsewhere.erase(scene.elsewhere.begin());
    CHECK(only(Remedy::move, scene).words.find("No other place") == 0);
    scene.here_now = air_of(42.0, 30.0);
    CHECK(only(Remedy::move, scene).words.find("Move B-07 to vault") == 0);
  }
}

TEST_CASE("where no jar is nothing asks to act on jars") {
  AdviceScene scene = scene_of(nullptr);
  scene.kind = SubjectKind::place;
  scene.jars.clear();
  const std::vector rule{Remedy::move, Remedy::shade, Remedy::use_first};
  scene.empty = EmptyPlace::of_no_concern;
  CHECK(advise(rule, scene).empty());
  scene.empty = EmptyPlace::on_trial;
  const auto advice = advise(rule, scene);
  REQUIRE(advice.size() == 1);
  CHECK(advice.front().remedy == Remedy::shade);
}

TEST_CASE("of many jars the one that wakes first is named, and its range") {
  const culture::JarModel model =
      jar_after(10, Celsius(28.0), Percent(80.0), advised_recipe(900.0));
  AdviceScene scene = scene_of(&model);
  scene.kind = SubjectKind::place;
  scene.jars = {"B-07", "B-01", "B-02", "B-03"};
  CHECK(outlook_words(scene).find("Jar B-07 wakes first: in about ") == 0);
  CHECK(only(Remedy::use_first, scene).words ==
        "Use B-07, then B-01, then B-02 first: by reckoning they wake in this order.");
  scene.model = nullptr;
  CHECK(outlook_words(scene).empty());
}

}  // namespace
}  // namespace torpor::rules
