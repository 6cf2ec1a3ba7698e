// A jar's model on the engine's time: it must be the model stepped by hand through the same air,
// whatever came late, was told in between or was cut by a restart.
#include <doctest/doctest.h>

#include <random>

#include "rules/watch/jar_told.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

culture::JarRecipe told_recipe() {
  culture::JarRecipe recipe;
  recipe.rice = Grams(1200.0);
  recipe.raw = Grams(560.0);
  recipe.sugar = Grams(1250.0);
  recipe.topping = Grams(60.0);
  recipe.volume_ml = 3800.0;
  recipe.mouth_mm = 110.0;
  recipe.closed = minute(0);
  return recipe;
}

// Of a warm and damp store: the jar wakes within weeks.
double warmth_at(int n) { return 26.0 + 3.0 * ((n / 180) % 3); }
double damp_at(int n) { return 78.0 + 2.0 * ((n / 300) % 4); }

ReadingsInput air_reading(int n, const char* sensor = "s") {
  return {{a_reading(sensor, Quantity::temperature, warmth_at(n), minute(n)),
           a_reading(sensor, Quantity::humidity, damp_at(n), minute(n))}};
}

Watch told_watch(RuleBook book = {}) {
  Watch watch(settings_of(std::move(book)));
  (void)watch.step(minute(0), JarPlacedInput{"B", "cellar", minute(0)});
  (void)watch.step(minute(0), JarClosedInput{"B", "IMO-2", told_recipe()});
  return watch;
}

// The model carried by hand from ten minutes to ten minutes.
culture::JarModel by_hand(int until, const std::vector<JarTold>& told = {}) {
  culture::JarModel model(std::make_shared<const culture::Profile>(), told_recipe());
  culture::Air air;
  for (int n = 0; n <= until; ++n) {
    model.step(air, minute(n));
    if (n % 10 == 0) {
      // As nobody has checked the sensor.
      const auto error = [](Quantity quantity) {
        return expected_error(Calibration(), quantity, Instant{});
      };
      air = *culture::Air::of(Celsius(warmth_at(n)), Percent(damp_at(n)),
                              {error(Quantity::temperature), error(Quantity::humidity)});
    }
    for (const JarTold& each : told) {
      if (each.at == minute(n)) take_in(model, each);
    }
  }
  return model;
}

void check_same(const culture::JarModel& a, const culture::JarModel& b) {
  CHECK(a.at() == b.at());
  const culture::Figures x = a.figures(), y = b.figures();
  CHECK(x.coverage_percent == doctest::Approx(y.coverage_percent));
  CHECK(x.temperature->value() == doctest::Approx(y.temperature->value()));
  CHECK(x.surface_activity->likely == doctest::Approx(y.surface_activity->likely));
  CHECK(x.water_gained_g->cautious == doctest::Approx(y.water_gained_g->cautious));
  CHECK(x.wake_progress_percent->likely == doctest::Approx(y.wake_progress_percent->likely));
  CHECK(x.waking_signs == y.waking_signs);
}

constexpr int kDay = 24 * 60;

TEST_CASE("the engine's model is the model carried through the same air by hand") {
  Watch watch = told_watch();
  for (int n = 0; n <= 3 * kDay; n += 10) (void)watch.step(minute(n), air_reading(n));
  const auto model = watch.jar_model("B");
  REQUIRE(model);
  check_same(*model, by_hand(3 * kDay));
  CHECK(!watch.jar_model("C"));
}

TEST_CASE("a late reading is as good as one in time") {
  Watch watch = told_watch();
  for (int n = 0; n <= 2 * kDay; n += 10) {
    // Every seventh comes 40 minutes late, past the turn of the hour.
    if (n % 70 != 0) (void)watch.step(minute(n), air_reading(n));
    if (n >= 40 && (n - 40) % 70 == 0) (void)watch.step(minute(n), air_reading(n - 40));
  }
  check_same(*watch.jar_model("B"), by_hand(2 * kDay));
}

TEST_CASE("a backlog after an outage counts at its own times") {
  Watch watch = told_watch({a_rule("wet", "jar", "water gained above 1 g lasting 5 h")});
  for (int n = 0; n <= kDay; n += 10) (void)watch.step(minute(n), air_reading(n));
  // Nobody heard of the sensor for two days.
  for (int n = kDay + 60; n <= 3 * kDay; n += 60) (void)watch.step(minute(n), TickInput{});
  for (int n = kDay + 10; n <= 3 * kDay; n += 10) {
    (void)watch.step(minute(3 * kDay), air_reading(n));
  }
  CHECK(watch.outdated_jars().empty());
  check_same(*watch.jar_model("B"), by_hand(3 * kDay));
}

TEST_CASE("what was told counts from its own time, also told a little late") {
  const JarTold sugar{minute(1500),
                      culture::Act(culture::AddSugar{Grams(100.0), std::nullopt, true}), false};
  const JarTold look{minute(1530),
                     culture::Observation(culture::Look{{culture::Sign::alcohol_smell}}), false};
  Watch watch = told_watch();
  for (int n = 0; n <= 2 * kDay; n += 10) {
    (void)watch.step(minute(n), air_reading(n));
    if (n == 1540) {
      (void)watch.step(minute(n), JarActInput{"B", sugar.at, std::get<culture::Act>(sugar.what)});
      (void)watch.step(minute(n),
                       JarObservedInput{"B", look.at, std::get<culture::Observation>(look.what)});
    }
  }
  CHECK(watch.outdated_jars().empty());
  check_same(*watch.jar_model("B"), by_hand(2 * kDay, {sugar, look}));
}

TEST_CASE("what was told of long ago makes the jar outdated until its model is worked out anew") {
  const JarTold sugar{minute(100),
                      culture::Act(culture::AddSugar{Grams(100.0), std::nullopt, true}), false};
  Watch watch = told_watch();
  for (int n = 0; n <= 2 * kDay; n += 10) (void)watch.step(minute(n), air_reading(n));
  (void)watch.step(minute(2 * kDay),
                   JarActInput{"B", sugar.at, std::get<culture::Act>(sugar.what)});
  const auto outdated = watch.outdated_jars();
  REQUIRE(outdated.size() == 1);
  CHECK(outdated[0].jar == "B");
  const int until = static_cast<int>((outdated[0].until - kMidnight) / std::chrono::minutes(1));
  CHECK(until > 2 * kDay - 180);
  CHECK(until <= 2 * kDay - 60);

  const std::string anew = by_hand(until, {sugar}).snapshot();
  SUBCASE("a model of an older revision is passed over") {
    (void)watch.step(minute(2 * kDay), JarModelInput{"B", outdated[0].revision - 1, anew});
    CHECK(watch.outdated_jars().size() == 1);
  }
  SUBCASE("one that cannot be read asks for another") {
    (void)watch.step(minute(2 * kDay), JarModelInput{"B", outdated[0].revision, "x"});
    REQUIRE(watch.outdated_jars().size() == 1);
    CHECK(watch.outdated_jars()[0].revision != outdated[0].revision);
  }
  SUBCASE("the right one is carried on from there") {
    (void)watch.step(minute(2 * kDay + 10), air_reading(2 * kDay + 10));
    (void)watch.step(minute(2 * kDay + 10), JarModelInput{"B", outdated[0].revision, anew});
    CHECK(watch.outdated_jars().empty());
    check_same(*watch.jar_model("B"), by_hand(2 * kDay + 10, {sugar}));
  }
}

TEST_CASE("a reading that comes too late for the rules makes the jars of that air outdated") {
  Watch watch = told_watch();
  for (int n = 0; n <= kDay; n += 10) (void)watch.step(minute(n), air_reading(n));
  (void)watch.step(minute(kDay), air_reading(kDay - 55));
  CHECK(watch.outdated_jars().empty());
  (void)watch.step(minute(kDay), air_reading(kDay - 65));
  CHECK(watch.outdated_jars().size() == 1);
}

TEST_CASE("a jar closed before what the engine remembers of the air is outdated at once") {
  Watch watch(settings_of({}));
  for (int n = 0; n <= kDay; n += 10) (void)watch.step(minute(n), air_reading(n));
  (void)watch.step(minute(kDay), JarPlacedInput{"B", "cellar", minute(0)});
  (void)watch.step(minute(kDay), JarClosedInput{"B", "", told_recipe()});
  CHECK(watch.outdated_jars().size() == 1);
}

TEST_CASE("a probe under the cover is no air: it only warms or corrects the jar's own model") {
  Layout layout = a_cellar();
  layout.sensors.push_back({"p",
                            "",
                            "B",
                            Senses::culture,
                            {Quantity::temperature},
                            std::chrono::minutes(10),
                            std::chrono::minutes(30)});
  const auto run = [&](double excess) {
    Watch watch(settings_of({}, layout));
    (void)watch.step(minute(0), JarPlacedInput{"B", "cellar", minute(0)});
    (void)watch.step(minute(0), JarClosedInput{"B", "", told_recipe()});
    for (int n = 0; n <= 2 * kDay; n += 10) {
      (void)watch.step(minute(n), air_reading(n));
      const double own = watch.jar_model("B")->figures().temperature.value_or(Celsius(26)).value();
      if (excess > 0.0 && n > kDay) {
        (void)watch.step(
            minute(n),
            ReadingsInput{{a_reading("p", Quantity::temperature, own + excess, minute(n))}});
      }
    }
    return watch.jar_model("B")->figures();
  };
  const culture::Figures plain = run(0.0), warm = run(2.0);
  CHECK(!plain.self_heating);
  REQUIRE(warm.self_heating);
  CHECK(warm.self_heating->value() > 0.5);
  CHECK(warm.coverage_percent == doctest::Approx(plain.coverage_percent));
}

TEST_CASE("rules see the model's figures, an act at once and a lid left open as time passes") {
  Watch watch = told_watch({a_rule("wet", "jar", "water gained above 0.2 g"),
                            a_rule("open", "jar", "time since opened above 1 h")});
  std::string changes;
  const auto note = [&](const Effects& effects) {
    for (const AlertChange& change : effects.changes) {
      // What is said of a jar follows everything that was told of it.
      if (change.kind == AlertChangeKind::updated) continue;
      changes += minute_text(change.at) + " " + std::string(alert_change_name(change.kind)) + " " +
                 change.alert.rule + "; ";
    }
  };
  for (int n = 0; n <= kDay; n += 10) note(watch.step(minute(n), air_reading(n)));
  CHECK(changes.find(" raised wet; ") != std::string::npos);
  changes.clear();
  note(watch.step(minute(kDay), JarActInput{"B", minute(kDay), culture::Act(culture::Open{})}));
  note(watch.step(minute(kDay + 59), TickInput{}));
  CHECK(changes == "");
  note(watch.step(minute(kDay + 65), TickInput{}));
  CHECK(changes == "1500+1ms raised open; ");
  changes.clear();
  note(watch.step(minute(kDay + 70),
                  JarActInput{"B", minute(kDay + 70), culture::Act(culture::ChangeCover{})}));
  note(watch.step(minute(kDay + 90), TickInput{}));
  CHECK(changes == "1510 eased open; ");
}

TEST_CASE("what a person saw alerts at once, and a count reads as one") {
  Watch watch = told_watch({a_rule("awake", "jar", "waking signs at least 2")});
  for (int n = 0; n <= 30 * kDay; n += 60) (void)watch.step(minute(n), air_reading(n));
  const Effects seen = watch.step(
      minute(30 * kDay + 5),
      JarObservedInput{"B", minute(30 * kDay + 5),
                       culture::Observation(culture::Look{{culture::Sign::green_growth}})});
  REQUIRE(seen.changes.size() == 1);
  CHECK(seen.changes[0].kind == AlertChangeKind::raised);
  CHECK(seen.changes[0].alert.what.find("it shows signs of waking") != std::string::npos);
}

TEST_CASE("restarted at any point the models and alerts are those of an undisturbed run") {
  std::mt19937 random(20260302);
  const RuleBook book = {a_rule("wet", "jar", "water gained above 0.3 g lasting 3 h"),
                         a_rule("soon", "jar", "time to wake below 60 d"),
                         a_rule("hot", "jar", "jar temperature above 30 °C")};
  const WatchSettings settings = settings_of(book);
  for (int trial = 0; trial < 20; ++trial) {
    Watch steady(settings);
    auto restarted = std::make_unique<Watch>(settings);
    std::map<std::string, JarModelBytes> kept;  // as a daemon keeps them
    const auto both = [&](Instant wall, const Input& input) {
      const Effects a = steady.step(wall, input), b = restarted->step(wall, input);
      CHECK(a.changes == b.changes);
      CHECK(a.notices == b.notices);
    };
    both(minute(0), JarPlacedInput{"B", "cellar", minute(0)});
    both(minute(0), JarClosedInput{"B", "", told_recipe()});
    for (int n = 0; n <= 2 * kDay; n += 10) {
      const auto dice = random() % 40;
      if (dice == 0) continue;  // lost
      if (dice == 1) both(minute(n), JarActInput{"B", minute(n), culture::Act(culture::Open{})});
      if (dice == 2) {
        both(minute(n), JarPlacedInput{"B", n % 20 == 0 ? "cellar/shelf-1" : "cellar", minute(n)});
      }
      if (dice == 3 && n > 50) both(minute(n), air_reading(n - 45, "s1"));
      both(minute(n), air_reading(n));
      if (random() % 30 == 0) {
        for (JarModelBytes& model : restarted->take_jar_models()) kept[model.jar] = model;
        std::vector<JarModelBytes> models;
        for (const auto& [id, model] : kept) models.push_back(model);
        auto next = std::make_unique<Watch>(settings);
        REQUIRE(next->restore(restarted->snapshot(), models).has_value());
        restarted = std::move(next);
      }
    }
    const auto a = steady.jar_model("B"), b = restarted->jar_model("B");
    REQUIRE(a);
    REQUIRE(b);
    CHECK(a->snapshot() == b->snapshot());
  }
}

TEST_CASE("a jar moved away from a dead sensor has the air of where it stands") {
  // Until somebody gives up on the dead one, its backlog may still come: the jar is worked out from
  // there, through all the air of the new place.
  const WatchSettings settings = settings_of({a_rule("hot", "jar", "jar temperature above 30 °C")});
  auto watch = std::make_unique<Watch>(settings);
  (void)watch->step(minute(0), JarPlacedInput{"B", "cellar/shelf-1", minute(0)});
  (void)watch->step(minute(0), JarClosedInput{"B", "IMO-2", told_recipe()});
  constexpr int kDead = 360, kMoved = 480, kDays = 10;
  std::map<std::string, JarModelBytes> kept;
  for (int n = 0; n <= kDays * kDay; n += 10) {
    if (n <= kDead) (void)watch->step(minute(n), air_reading(n, "s1"));
    if (n == kMoved) (void)watch->step(minute(n), JarPlacedInput{"B", "cellar/shelf-2", minute(n)});
    (void)watch->step(minute(n), air_reading(n, "s2"));
    if (n % (2 * kDay) != kDay) continue;
    for (JarModelBytes& model : watch->take_jar_models()) kept[model.jar] = model;
    std::vector<JarModelBytes> models;
    for (const auto& [id, model] : kept) models.push_back(model);
    auto next = std::make_unique<Watch>(settings);
    REQUIRE(next->restore(watch->snapshot(), models).has_value());
    watch = std::move(next);
  }
  CHECK(watch->outdated_jars().empty());

  culture::JarModel model(std::make_shared<const culture::Profile>(), told_recipe());
  const auto error = [](Quantity quantity) {
    return expected_error(Calibration(), quantity, Instant{});
  };
  culture::Air air;
  constexpr int kHeld = 30;
  for (int n = 0; n <= kDays * kDay; n += 10) {
    model.step(air, minute(n));
    if (n % 60 == 0) model.work_in();  // where nobody speaks, what is assumed depends on it
    const bool known = n < kDead + kHeld || n >= kMoved;
    const int said = std::min(n, n < kMoved ? kDead : n);
    air = known ? *culture::Air::of(Celsius(warmth_at(said)), Percent(damp_at(said)),
                                    {error(Quantity::temperature), error(Quantity::humidity)})
                : culture::Air();
    if (n == kMoved) model.act(minute(n), culture::Act(culture::Move{}));
  }
  check_same(*watch->jar_model("B"), model);
}

TEST_CASE("without its model, or under another profile, a restored jar begins anew") {
  WatchSettings settings = settings_of({});
  Watch watch = told_watch();
  for (int n = 0; n <= kDay; n += 10) (void)watch.step(minute(n), air_reading(n));
  const std::vector<JarModelBytes> models = watch.take_jar_models();
  REQUIRE(models.size() == 1);
  Watch lost(settings);
  REQUIRE(lost.restore(watch.snapshot()).has_value());
  CHECK(lost.outdated_jars().size() == 1);
  culture::Profile other;
  REQUIRE(other.set("yeast_t_opt", 29.0, 29.0, 29.0).has_value());
  settings.profiles.set_default(other);
  Watch changed(settings);
  REQUIRE(changed.restore(watch.snapshot(), models).has_value());
  CHECK(changed.outdated_jars().size() == 1);
}

TEST_CASE("a jar that nobody reads stays cheap and forgets nothing") {
  Watch watch = told_watch({a_rule("wet", "jar", "water gained above 0.3 g")});
  for (int day = 1; day <= 200; ++day) (void)watch.step(minute(day * kDay), TickInput{});
  // The base has followed to a week ago, and its snapshot knows nothing of the hours between.
  CHECK(watch.take_jar_models()[0].at >= minute(191 * kDay));
  CHECK(watch.jar_model("B")->figures().age_days == doctest::Approx(200.0));
  CHECK(watch.snapshot().size() < 4000);
}

TEST_CASE(
    "an alert becomes more urgent, unseen and said again when the jar wakes within two weeks") {
  Watch watch(settings_of({a_rule("soon", "jar", "time to wake below 30 d lasting 1 h",
                                  "time to wake above 45 d", "this-week")}));
  culture::JarRecipe scant = told_recipe();
  scant.sugar = Grams(900.0);
  scant.topping.reset();
  (void)watch.step(minute(0), JarPlacedInput{"B", "cellar", minute(0)});
  (void)watch.step(minute(0), JarClosedInput{"B", "IMO-2", scant});
  std::string story;
  std::vector<std::string> lines;
  bool risen = false;
  for (int n = 0; n <= 60 * kDay && !risen; n += 30) {
    const Effects effects =
        watch.step(minute(n), ReadingsInput{{a_reading("s", Quantity::temperature, 24.0, minute(n)),
                                             a_reading("s", Quantity::humidity, 80.0, minute(n))}});
    for (const Notice& notice : effects.notices) lines.push_back(notice.line);
    for (const AlertChange& change : effects.changes) {
      if (change.kind == AlertChangeKind::updated) continue;
      story += std::string(alert_change_name(change.kind)) + " " +
               std::string(urgency_name(change.alert.urgency)) + ";";
      if (change.kind == AlertChangeKind::raised) {
        (void)watch.step(minute(n), SeenInput{std::nullopt, "Resi"});
      }
      risen = risen || change.kind == AlertChangeKind::risen;
    }
    if (risen) {
      const Alert alert = watch.open_alerts().front();
      CHECK(!alert.seen_at);
      CHECK(alert.outlook.find("It wakes in about ") == 0);
    }
  }
  CHECK(story == "raised this-week;risen today;");
  REQUIRE(lines.size() == 2);
  CHECK(lines[0].find("This week") == 0);
  CHECK(lines[1].find("Today, sooner than said (since ") == 0);
}

}  // namespace
}  // namespace torpor::rules
