// A sensor's check from the sentence to the jar: begun, waited for on its own readings, journaled,
// read into what the history holds, and taken back.
#include <doctest/doctest.h>

#include <cmath>

#include "daemon/ledger/jar_life.h"
#include "daemon/report/gather.h"
#include "daemon/service/jar_days.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::tests {
namespace {

using namespace daemon;

constexpr double kReadsLow = 4.0;  // % that s1 has drifted
constexpr double kRoom = 66.0;
constexpr double kOverSalt = 75.479;  // Greenspan 1977, NaCl at 20 °C
constexpr int kOut = 12 * 60;         // minutes after its start that the keeper takes it out

const char kJar[] =
    "new jar F-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g "
    "vessel glass 3.8 l mouth 11 cm closed 2025-07-14T02:00";

class CheckedRoom {
 public:
  explicit CheckedRoom(const std::string& quiet = "") : settings_(room_settings(folder_.path())) {
    if (!quiet.empty()) settings_.settings.quiet = rules::QuietHours{0, 24 * 60 - 1};
    reopen();
  }

  // s2 hangs beside s1 from the beginning, and reads rightly.
  void hang_a_second() {
    room_.reset();
    for (config::SensorSettings& sensor : settings_.settings.sensors) {
      if (sensor.spec.id == "s2") sensor.spec.place = "cellar/shelf-1";
    }
    second_ = true;
    room_ = open_room(settings_);
  }
  void reopen() {
    room_.reset();
    room_ = open_room(settings_);
  }
  void say(const std::string& sentence) {
    feed(*room_, tell(sentence, minutes(now_)));
    commit();
  }
  // Every two minutes: in the air, or in the salt since minute `from`.
  void live(int until, std::optional<int> in_salt_from = std::nullopt) {
    for (; now_ < until; now_ += 2) {
      double air = kRoom;
      if (in_salt_from) {
        air = kOverSalt + (kRoom - kOverSalt) * std::exp(-(now_ - *in_salt_from) / 90.0);
      }
      const double shown = std::round((air - kReadsLow) * 10.0) / 10.0;
      feed(*room_, reading("s1", minutes(now_), 20.0, shown + (now_ / 2 % 2) * 0.1));
      if (second_) feed(*room_, reading("s2", minutes(now_), 20.0, kRoom + (now_ / 2 % 3) * 0.1));
      if (now_ % 120 == 0) commit();
    }
    commit();
  }
  void commit() {
    REQUIRE(room_->commit());
    for (const OutboxMessage& message : room_->take_outgoing()) {
      said_[message.topic] += message.payload + '\n';
    }
  }
  int work_out_all() {
    int count = 0;
    while (const auto next = room_->next_recomputation()) {
      auto record = work_out(*next);
      REQUIRE(record);
      feed(*room_, *record);
      commit();
      REQUIRE(++count < 10);
    }
    return count;
  }
  void keep_all_days() {
    while (const auto wanted = room_->next_wanted_days()) {
      room_->keep_days(work_out(*wanted).value());
    }
    commit();
  }

  template <class See>
  auto gathered(const See& see) const {
    return seen_in(settings_,
                   [&see](const Gathering& gathering, const Ledger& ledger, const Reader& reader) {
                     return see(gathering, *ledger.find("F-01"), reader);
                   });
  }
  [[nodiscard]] JarHistoryView history() const {
    return gathered([](const Gathering& gathering, const Jar& jar, const Reader&) {
      return gathering.jar_history(jar, {}).value();
    });
  }
  [[nodiscard]] SensorView sensor() const {
    return gathered([](const Gathering& gathering, const Jar&, const Reader&) {
      return gathering.sensor("s1").value();
    });
  }
  // The jar's exposure at a minute.
  [[nodiscard]] ExposureRow row_at(int minute) const {
    HistoryRange range;
    range.every = std::chrono::minutes(10);
    const auto seen = gathered([&](const Gathering& gathering, const Jar& jar, const Reader&) {
      return gathering.jar_history(jar, range).value();
    });
    for (const ExposureRow& row : seen.exposure) {
      if (row.from <= minutes(minute) && minutes(minute) < row.to) return row;
    }
    return {};
  }
  // %; NaN: nobody spoke for it.
  [[nodiscard]] double humidity_at(int minute) const {
    const ExposureRow row = row_at(minute);
    return row.humidity ? row.humidity->value() : std::nan("");
  }
  [[nodiscard]] const std::string& said(const std::string& topic) {
    return said_["torpor/cellar/" + topic];
  }
  [[nodiscard]] int now() const { return now_; }
  [[nodiscard]] const StoreroomSettings& settings() const { return settings_; }
  [[nodiscard]] std::vector<JournalEntry> journal() const {
    return Reader::open(settings_.history, settings_.spool).value()->journal();
  }

 private:
  TempFolder folder_;
  StoreroomSettings settings_;
  std::unique_ptr<Storeroom> room_;
  std::map<std::string, std::string> said_;
  int now_ = 0;
  bool second_ = false;
};

bool holds(const std::string& text, std::string_view part) {
  return text.find(part) != std::string::npos;
}

// A day in the air, a check, half a day in the air again.
void check_in_salt(CheckedRoom& room) {
  room.say(kJar);
  room.live(1440);
  room.say("calibrate s1 in table salt");
  room.live(1440 + kOut, 1440);
  room.live(1440 + kOut + 720);
}

TEST_CASE("a drifted sensor checked in salt is read rightly from then on, and no earlier") {
  CheckedRoom room;
  check_in_salt(room);
  CHECK(holds(room.said("answer"), "its check in table salt begins"));
  CHECK(holds(room.said("answer"), "s1: Done in table salt: it shows 71."));
  CHECK(holds(room.said("answer"), "so it reads 4.2 % too low (+/- "));
  CHECK(holds(room.said("notice"), "This week: s1: Done in table salt"));

  CHECK(room.humidity_at(600) == doctest::Approx(kRoom - kReadsLow).epsilon(0.005));
  CHECK(std::isnan(room.humidity_at(1440 + 300)));  // in the salt it speaks for nobody
  CHECK(std::isnan(room.humidity_at(1440 + kOut - 10)));
  CHECK(std::isnan(room.humidity_at(1440 + kOut + 10)));
  CHECK(room.humidity_at(room.now() - 20) == doctest::Approx(kRoom).epsilon(0.01));

  const SensorView sensor = room.sensor();
  REQUIRE(sensor.readings.size() == 2);
  CHECK(sensor.readings[1].value == doctest::Approx(kRoom).epsilon(0.01));
  CHECK(sensor.readings[1].raw == doctest::Approx(kRoom - kReadsLow).epsilon(0.01));
  REQUIRE(sensor.accuracy.size() == 2);
  REQUIRE(sensor.accuracy[1].check);
  CHECK(sensor.accuracy[1].check->entry == 3);
  CHECK(sensor.accuracy[1].correction.offset == doctest::Approx(kReadsLow).epsilon(0.06));
  CHECK(sensor.accuracy[1].correction.uncertainty < 1.5);
  CHECK_FALSE(sensor.accuracy[0].check);
  CHECK(sensor.accuracy[0].correction.uncertainty > 0.3);
}

TEST_CASE("while one sensor is not believed the next one speaks, and the jar's history says so") {
  CheckedRoom room;
  room.hang_a_second();
  check_in_salt(room);
  CHECK(room.row_at(600).sensor == "s1");
  CHECK(room.row_at(1440 + 300).sensor == "s2");
  CHECK(room.humidity_at(1440 + 300) == doctest::Approx(kRoom).epsilon(0.005));
  CHECK(room.row_at(1440 + kOut + 10).sensor == "s2");
  CHECK(room.row_at(room.now() - 20).sensor == "s1");
  CHECK(room.history().summary.coverage_percent > 99.0);
}

TEST_CASE("a check survives a restart while it waits, when it is done, and in the model") {
  CheckedRoom disturbed, undisturbed;
  check_in_salt(undisturbed);
  disturbed.say(kJar);
  disturbed.live(1440);
  disturbed.say("calibrate s1 in table salt");
  disturbed.live(1440 + 200, 1440);
  disturbed.reopen();
  disturbed.live(1440 + kOut, 1440);
  disturbed.reopen();
  disturbed.live(1440 + kOut + 720);
  disturbed.reopen();
  disturbed.commit();
  CHECK(disturbed.journal() == undisturbed.journal());
  CHECK(disturbed.history().exposure == undisturbed.history().exposure);
  CHECK(disturbed.sensor().standing == undisturbed.sensor().standing);
}

TEST_CASE("a check taken back is taken out of the jar's history and model") {
  CheckedRoom with, without;
  check_in_salt(with);
  with.keep_all_days();
  const auto width = [&with] {
    const auto gained = with.history().jar.figures.water_gained_g;
    return gained->cautious - gained->hopeful;
  };
  const double checked_width = width();
  const double corrected_water = with.history().jar.figures.water_gained_g->likely;
  with.say("withdraw entry 3 because \"it was sugar\"");
  CHECK(with.work_out_all() == 1);
  CHECK(with.humidity_at(with.now() - 200) == doctest::Approx(kRoom - kReadsLow).epsilon(0.01));
  CHECK_FALSE(with.sensor().accuracy[1].check);
  CHECK(width() > checked_width);  // what nobody has checked is worth less

  // The same air with the same check taken back at once: nothing was ever corrected.
  without.say(kJar);
  without.live(1440);
  without.say("calibrate s1 in table salt");
  without.live(1440 + kOut, 1440);
  without.say("withdraw entry 3 because \"it was sugar\"");
  without.live(1440 + kOut + 720);
  (void)without.work_out_all();
  const auto a = with.history(), b = without.history();
  CHECK(a.exposure == b.exposure);
  CHECK(a.jar.figures.water_gained_g->likely ==
        doctest::Approx(b.jar.figures.water_gained_g->likely));
  CHECK(a.jar.figures.water_gained_g->likely < corrected_water - 0.01);
}

TEST_CASE("a check taken back takes the kept days of a retired jar with it") {
  CheckedRoom room;
  check_in_salt(room);
  room.live(4 * 1440);
  room.say("retire F-01 because \"used up\"");
  room.live(4 * 1440 + 240);
  room.keep_all_days();
  const auto days = [&room] {
    return Reader::open(room.settings().history, room.settings().spool)
        .value()
        ->jar_days("F-01", 0, 99'999)
        .size();
  };
  const std::size_t kept = days();
  REQUIRE(kept >= 3);
  room.say("withdraw entry 3 because \"it was sugar\"");
  CHECK(days() == 1);  // the day before the check's
  CHECK(room.humidity_at(3 * 1440) == doctest::Approx(kRoom - kReadsLow).epsilon(0.01));
}

TEST_CASE("a check that ends in quiet hours rings no phone, but answers") {
  CheckedRoom room("always");
  check_in_salt(room);
  CHECK(holds(room.said("answer"), "s1: Done in table salt"));
  CHECK_FALSE(holds(room.said("notice"), "Done in table salt"));
}

}  // namespace
}  // namespace torpor::tests
