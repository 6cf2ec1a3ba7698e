// The jars' models through the storeroom: what the engine holds, what is stored, and what a reader
// works out from the history must be the same jar, also after a late entry and a restart.
#include <doctest/doctest.h>

#include <algorithm>

#include "daemon/ledger/jar_life.h"
#include "daemon/report/gather.h"
#include "daemon/service/jar_days.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::tests {
namespace {

using namespace daemon;
using rules::culture::Figures;

const char kDampJar[] =
    "new jar F-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g "
    "vessel glass 3.8 l mouth 11 cm closed 2025-07-14T02:00";

void damp_air(Storeroom& room, int from, int to) {
  for (int minute = from; minute < to; minute += 2) {
    feed(room, reading("s1", minutes(minute), 24.0 + (minute / 60) % 4, 80.0 + (minute / 90) % 5));
  }
}

// Everything the worker thread of the service would do.
int work_out_all(Storeroom& room) {
  int worked_out = 0;
  REQUIRE(room.commit());
  while (const auto next = room.next_recomputation()) {
    auto record = work_out(*next);
    REQUIRE(record);
    feed(room, *record);
    REQUIRE(room.commit());
    REQUIRE(++worked_out < 10);
  }
  return worked_out;
}

// What `see` makes of the jar as a reader gathers it.
template <class See>
auto gathered(const StoreroomSettings& settings, const See& see, const char* id = "F-01") {
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  const auto ledger = ledger_of(**reader);
  REQUIRE(ledger);
  const auto gathering = Gathering::of(settings.settings, **reader, *ledger,
                                       shown_now(settings.settings, **reader, {kStart}));
  REQUIRE(gathering);
  auto seen = see(*gathering, *ledger->find(id));
  REQUIRE_FALSE((*reader)->fault());
  return seen;
}

Figures read_back(const StoreroomSettings& settings, const char* id = "F-01") {
  return gathered(
      settings,
      [](const Gathering& gathering, const Jar& jar) { return gathering.jar(jar).figures; }, id);
}

// Steps a model through what the history holds of the jar's air.
void step_through(rules::culture::JarModel& model, const Jar& jar, Instant until,
                  const StoreroomSettings& settings, const Reader& reader,
                  const Calibrations& calibrations) {
  const rules::Layout layout = settings.settings.layout();
  const auto placements = reader.placements();
  const StoodAir air(reader, layout.places, placements, calibrations);
  (void)air.walk(jar, model.at(), until, [&](const ExposureStep& step) {
    rules::SpokenAir spoken;
    spoken.temperature = step.temperature;
    spoken.humidity = step.humidity;
    spoken.humid_temperature = step.humid_temperature;
    spoken.temperature_error = step.temperature_error;
    spoken.humidity_error = step.humidity_error;
    model.step(rules::model_air(spoken), step.to);
  });
}

// Stepped from its closing, without any stored state.
Figures from_the_start(const StoreroomSettings& settings, Instant until) {
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  const auto ledger = ledger_of(**reader);
  REQUIRE(ledger);
  const Jar& jar = *ledger->find("F-01");
  rules::culture::JarModel model(settings.settings.cultures.for_stage("IMO-2"), jar.recipe());
  step_through(model, jar, until, settings, **reader, ledger->calibrations());
  return model.figures();
}

// F-02 was split off from F-01: stepped from F-01's closing, without any stored state.
Figures split_from_the_start(const StoreroomSettings& settings, Instant until) {
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  const auto ledger = ledger_of(**reader);
  REQUIRE(ledger);
  const Jar& jar = *ledger->find("F-02");
  const Jar& parent = *ledger->find("F-01");
  REQUIRE(jar.split);
  rules::culture::JarModel model(settings.settings.cultures.for_stage("IMO-2"), parent.recipe());
  step_through(model, parent, jar.split->at, settings, **reader, ledger->calibrations());
  rules::culture::JarModel split = model.split_off(jar.recipe(), jar.split->contents);
  step_through(split, jar, until, settings, **reader, ledger->calibrations());
  return split.figures();
}

void check_alike(const Figures& a, const Figures& b) {
  CHECK(a.coverage_percent == doctest::Approx(b.coverage_percent));
  REQUIRE(a.surface_activity);
  REQUIRE(b.surface_activity);
  CHECK(a.surface_activity->likely == doctest::Approx(b.surface_activity->likely));
  CHECK(a.water_gained_g->likely == doctest::Approx(b.water_gained_g->likely));
  CHECK(a.wake_progress_percent->cautious == doctest::Approx(b.wake_progress_percent->cautious));
  CHECK(a.temperature->value() == doctest::Approx(b.temperature->value()));
}

TEST_CASE("what a reader works out from stored states is the jar stepped from its closing") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kDampJar, minutes(0)));
  for (int day = 0; day < 3; ++day) {
    damp_air(*room, day * 1440, (day + 1) * 1440);
    REQUIRE(room->commit());
  }
  CHECK(!room->next_recomputation());
  const Figures shown = read_back(settings);
  check_alike(shown, from_the_start(settings, minutes(3 * 1440 - 2)));
  CHECK(shown.water_gained_g->likely != 0.0);
  const auto reader = Reader::open(settings.history, settings.spool);
  CHECK((*reader)->jar_models().size() == 1);
  const auto checkpoint = (*reader)->jar_checkpoint_before("F-01", minutes(2 * 1440));
  REQUIRE(checkpoint);
  CHECK(checkpoint->at > minutes(1440 - 180));
}

TEST_CASE("a jar told of after its readings came gets its model from the history") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  damp_air(*room, 0, 2 * 1440);
  feed(*room, tell(kDampJar, minutes(2 * 1440)));
  damp_air(*room, 2 * 1440, 2 * 1440 + 30);
  CHECK(work_out_all(*room) == 1);
  damp_air(*room, 2 * 1440 + 30, 2 * 1440 + 200);
  REQUIRE(room->commit());
  const Figures shown = read_back(settings);
  CHECK(shown.coverage_percent > 95.0);
  check_alike(shown, from_the_start(settings, minutes(2 * 1440 + 198)));
}

TEST_CASE("readings that come days late are worked into the jar, and a restart changes nothing") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kDampJar, minutes(0)));
  damp_air(*room, 0, 600);
  damp_air(*room, 1500, 2 * 1440);
  REQUIRE(room->commit());
  damp_air(*room, 600, 1500);  // a card that was read out by hand
  room.reset();
  room = open_room(settings);
  CHECK(work_out_all(*room) == 1);
  damp_air(*room, 2 * 1440, 2 * 1440 + 120);
  REQUIRE(room->commit());
  CHECK(!room->next_recomputation());
  check_alike(read_back(settings), from_the_start(settings, minutes(2 * 1440 + 118)));
}

TEST_CASE("a jar split off goes on from the other's model, live, read back and worked out anew") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kDampJar, minutes(0)));
  damp_air(*room, 0, 2 * 1440);
  feed(*room, tell("split 600 g from F-01 into F-02 in cellar/shelf-1 vessel glass 2 l mouth 8 cm",
                   minutes(2 * 1440)));
  damp_air(*room, 2 * 1440, 3 * 1440);
  REQUIRE(room->commit());
  CHECK(!room->next_recomputation());  // the engine itself knew the other jar
  const Figures shown = read_back(settings, "F-02");
  check_alike(shown, split_from_the_start(settings, minutes(3 * 1440 - 2)));
  CHECK(shown.wake_progress_percent->cautious > 0.0);

  // Told late of the time before the split: both are other than was thought.
  feed(*room, tell("add sugar 200 g to F-01 at 2025-07-14T20:00", minutes(3 * 1440)));
  CHECK(work_out_all(*room) == 2);
  damp_air(*room, 3 * 1440, 3 * 1440 + 120);
  REQUIRE(room->commit());
  const Figures after = read_back(settings, "F-02");
  CHECK(after.water_buffer_g->likely > shown.water_buffer_g->likely);

  room.reset();
  room = open_room(settings);
  CHECK(!room->next_recomputation());
  check_alike(read_back(settings, "F-02"), after);
}

TEST_CASE("a reading from before a split that comes late reaches the jar that was split off, too") {
  for (const bool restarted : {false, true}) {
    CAPTURE(restarted);
    TempFolder folder;
    const StoreroomSettings settings = room_settings(folder.path());
    auto room = open_room(settings);
    feed(*room, tell(kDampJar, minutes(0)));
    damp_air(*room, 0, 600);
    damp_air(*room, 1500, 2 * 1440);
    feed(*room,
         tell("split 600 g from F-01 into F-02 in cellar/shelf-1 vessel glass 2 l mouth 8 cm",
              minutes(2 * 1440)));
    damp_air(*room, 2 * 1440, 3 * 1440);
    REQUIRE(room->commit());
    CHECK(!room->next_recomputation());
    const double before = read_back(settings, "F-02").wake_progress_percent->cautious;
    if (restarted) {
      room.reset();
      room = open_room(settings);
    }
    damp_air(*room, 600, 1500);  // a card that was read out by hand
    CHECK(work_out_all(*room) == 2);
    damp_air(*room, 3 * 1440, 3 * 1440 + 120);
    REQUIRE(room->commit());
    const Figures after = read_back(settings, "F-02");
    check_alike(after, split_from_the_start(settings, minutes(3 * 1440 + 118)));
    CHECK(after.wake_progress_percent->cautious != before);
  }
}

std::string answers_of(Storeroom& room) {
  std::string text;
  for (const OutboxMessage& message : room.take_outgoing()) {
    if (message.topic == "torpor/cellar/answer") text += message.payload + "\n";
  }
  return text;
}

TEST_CASE("a withdrawal is answered when the model is worked out, with what it was and is") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kDampJar, minutes(0)));
  damp_air(*room, 0, 600);
  feed(*room, tell("add sugar 200 g to F-01 stirred in", minutes(600)));
  damp_air(*room, 600, 3 * 1440);
  REQUIRE(room->commit());
  (void)room->take_outgoing();
  const std::string correlation = "once";
  const auto withdraw = [&](int minute) {
    feed(*room, tell("withdraw entry 2 because \"it was F-02\"", minutes(minute), correlation));
    REQUIRE(room->commit());
  };
  SUBCASE("as soon as it is worked out") {
    withdraw(3 * 1440);
    CHECK(answers_of(*room).empty());
    CHECK(room->holds_answers());
    CHECK(work_out_all(*room) == 1);
    CHECK_FALSE(room->holds_answers());
    const std::string answer = answers_of(*room);
    CAPTURE(answer);
    CHECK(answer.find("is withdrawn because \"it was F-02\"") != std::string::npos);
    // Sugar or not, it settles: what it was before would say the same.
    CHECK(answer.find(" F-01 (cellar/shelf-1): settling, use: no. Nothing to do.") !=
          std::string::npos);
    CHECK(answer.find("(before: settling") == std::string::npos);
    CHECK(std::count(answer.begin(), answer.end(), '\n') == 1);
    withdraw(3 * 1440 + 1);  // the same told again: the same answer
    CHECK(answers_of(*room) == answer);
  }
  SUBCASE("without it where it takes too long") {
    withdraw(3 * 1440);
    room->release_answers();
    REQUIRE(room->commit());
    const std::string answer = answers_of(*room);
    CHECK(answer.find("F-01 is being worked out anew (before: settling, use: no)") !=
          std::string::npos);
    CHECK(work_out_all(*room) == 1);
    CHECK(answers_of(*room).empty());
  }
  SUBCASE("without it where the service ends meanwhile") {
    withdraw(3 * 1440);
    room.reset();
    room = open_room(settings);
    const std::string answer = answers_of(*room);
    CHECK(answer.find("F-01 is being worked out anew") != std::string::npos);
    CHECK(work_out_all(*room) == 1);
    CHECK(answers_of(*room).empty());
  }
}

TEST_CASE("what was told a moment ago and is withdrawn leaves the model as it was before") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kDampJar, minutes(0)));
  damp_air(*room, 0, 3 * 1440);
  (void)work_out_all(*room);
  (void)answers_of(*room);
  const auto activity_after = [&](const std::string& sentence, int minute) {
    feed(*room, tell(sentence, minutes(minute)));
    (void)work_out_all(*room);
    return read_back(settings).body_activity->likely;
  };
  const double before = activity_after("measure F-01 level 9 cm", 3 * 1440);
  const double sweet = activity_after("add sugar 600 g to F-01 stirred in", 3 * 1440 + 1);
  CHECK(sweet < before);
  CHECK(activity_after("withdraw entry 3 because \"it was F-02\"", 3 * 1440 + 2) ==
        doctest::Approx(before));
}

TEST_CASE("what is told late is answered with what it changed") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kDampJar, minutes(0)));
  damp_air(*room, 0, 3 * 1440);
  feed(*room, tell("add sugar 200 g to F-01 at 2025-07-14T20:00", minutes(3 * 1440)));
  REQUIRE(room->commit());
  (void)answers_of(*room);
  CHECK(work_out_all(*room) == 1);
  const std::string answer = answers_of(*room);
  CAPTURE(answer);
  CHECK(answer.find("200 g sugar spread on top, Mon 14 Jul 20:00; noted late (entry 2)") !=
        std::string::npos);
  CHECK(answer.find(" F-01 (cellar/shelf-1): settling, use: no.") != std::string::npos);
}

// Damp air every ten minutes, as whole days.
void damp_days(Storeroom& room, int from, int to) {
  for (int minute = from * 1440; minute < to * 1440; minute += 10) {
    feed(room,
         reading("s1", minutes(minute), 21.0 + minute % 1440 / 240.0, 60.0 + minute / 2880.0));
    if (minute % 1440 == 0) REQUIRE(room.commit());
  }
  REQUIRE(room.commit());
}

// Everything the worker thread of the service would do; returns how many days were new.
std::size_t keep_all_days(Storeroom& room) {
  std::size_t kept = 0;
  while (const auto wanted = room.next_wanted_days()) {
    const auto worked_out = work_out(*wanted);
    REQUIRE(worked_out);
    room.keep_days(*worked_out);
    kept += worked_out->days.size();
  }
  REQUIRE(room.commit());
  return kept;
}

JarHistoryView history_of(const StoreroomSettings& settings) {
  return gathered(settings, [](const Gathering& gathering, const Jar& jar) {
    auto view = gathering.jar_history(jar, {});
    REQUIRE(view);
    return std::move(*view);
  });
}

void check_same(const JarHistoryView& a, const JarHistoryView& b) {
  CHECK(a.summary == b.summary);
  CHECK(a.exposure == b.exposure);
  CHECK(a.weeks == b.weeks);
  CHECK(a.half_days == b.half_days);
  CHECK(a.slices == b.slices);
  CHECK(a.life.size() == b.life.size());
  for (std::size_t i = 0; i < std::min(a.life.size(), b.life.size()); ++i) {
    CHECK(a.life[i].at == b.life[i].at);
    // The model begins at another checkpoint: rounding alone may differ.
    CHECK(a.life[i].surface_activity->likely ==
          doctest::Approx(b.life[i].surface_activity->likely).epsilon(1e-9));
    CHECK(a.life[i].wake_progress_percent->cautious ==
          doctest::Approx(b.life[i].wake_progress_percent->cautious).epsilon(1e-9));
  }
  check_alike(a.jar.figures, b.jar.figures);
}

std::size_t days_stored(const StoreroomSettings& settings) {
  return Reader::open(settings.history, settings.spool).value()->jar_days("F-01", 0, 99'999).size();
}

TEST_CASE("a report put together from kept days is the one that steps every reading") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kDampJar, minutes(0)));
  damp_days(*room, 0, 40);
  const JarHistoryView stepped = history_of(settings);
  CHECK(days_stored(settings) == 0);
  // Closed at 02:00 local, midnight UTC, of the first day; the last day is not over.
  CHECK(keep_all_days(*room) == 39);
  CHECK(days_stored(settings) == 39);
  const JarHistoryView kept = history_of(settings);
  CHECK(kept.life.size() == 40);
  CHECK(kept.summary.coverage_percent == doctest::Approx(30.0).epsilon(0.01));  // 3 of 10 min
  CHECK(kept.jar.figures.water_gained_g->likely != 0.0);
  check_same(kept, stepped);
  CHECK(keep_all_days(*room) == 0);
  room.reset();
  room = open_room(settings);
  damp_days(*room, 40, 42);
  CHECK(keep_all_days(*room) == 2);  // after a restart only what is new is worked out
}

TEST_CASE("what is told late takes the days from then on with it, and they come back as they are") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kDampJar, minutes(0)));
  damp_days(*room, 0, 40);
  const auto under_way = room->next_wanted_days();
  REQUIRE(under_way);
  CHECK(keep_all_days(*room) == 39);
  feed(*room, tell("add sugar 200 g to F-01 at 2025-07-24T14:00", minutes(40 * 1440)));
  // Worked out before the sugar was told of, handed over after.
  room->keep_days(work_out(*under_way).value());
  REQUIRE(room->commit());
  CHECK(days_stored(settings) == 10);
  CHECK_FALSE(room->next_wanted_days());  // there is no model to work to yet
  CHECK(work_out_all(*room) == 1);
  damp_days(*room, 40, 41);
  const JarHistoryView stepped = history_of(settings);
  CHECK(keep_all_days(*room) == 30);
  const JarHistoryView kept = history_of(settings);
  check_same(kept, stepped);
  CHECK(days_stored(settings) == 40);
  // The way from the last kept day to now is short: a report does not begin at the sugar.
  const auto reader = Reader::open(settings.history, settings.spool).value();
  const Instant over =
      std::chrono::sys_days{std::chrono::days(reader->jar_days("F-01", 0, 99'999).back().day + 1)};
  const auto checkpoint = reader->jar_checkpoint_before("F-01", over);
  REQUIRE(checkpoint);
  CHECK(checkpoint->at == over);
}

}  // namespace
}  // namespace torpor::tests
