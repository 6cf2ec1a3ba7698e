#include "daemon/service/reception.h"

#include <doctest/doctest.h>

#include <stdexcept>

#include "config/settings.h"
#include "tests/daemon/temp_folder.h"

using namespace torpor;
using namespace torpor::daemon;
using namespace torpor::tests;

namespace {

constexpr Instant kWall = instant_of(1'752'451'200'000);  // 2025-07-14T00:00:00Z

const char kSensors[] = R"(
storeroom: cellar
places: {cellar: {}}
sensors:
  - {id: j1, place: cellar, topic: room/j1, payload: json,
     measures: {temperature: {pointer: /t, unit: °C}}, time: {pointer: /ts, format: seconds}}
  - {id: n1, place: cellar, topic: "room/{sensor}/t", payload: number,
     measures: {temperature: {unit: °C}}}
  - {id: s1, place: cellar, topic: room/pack, payload: senml,
     measures: {temperature: {name: s1-t}}}
  - {id: s2, place: cellar, topic: room/pack, payload: senml,
     measures: {temperature: {name: s2-t}}}
)";

struct Desk {
  explicit Desk(rules::Clock clock = rules::Clock::wall, const StampsSoFar& so_far = {}) {
    auto read = config::read_settings(kSensors, "test.yaml");
    for (const auto& fault : read.faults) FAIL(config::to_text(fault));
    auto opened = Inbox::open({folder / "inbox", folder / "spool"}, 0);
    REQUIRE(opened);
    inbox = std::move(*opened);
    ReceptionHandlers handlers;
    handlers.accepted = [this](InboxRecord record) { accepted.push_back(std::move(record)); };
    handlers.tell_refused = [this](const TellRecord&, const std::string& answer) {
      refused_tells.push_back(answer);
    };
    handlers.strand_is_full = [this] { return full; };
    handlers.cannot_keep = [](const std::string& why) { throw std::runtime_error(why); };
    reception.emplace("cellar", clock, so_far, *inbox, counters, std::move(handlers));
    reception->use_sensors(read.settings.sensors);
  }

  Taken say(const std::string& topic, const std::string& payload, bool retained = false,
            bool redelivered = false) {
    IncomingMessage message;
    message.topic = topic;
    message.payload = payload;
    message.retained = retained;
    message.redelivered = redelivered;
    return reception->message(message, wall, unsure);
  }
  std::uint64_t refused(Refusal refusal) const {
    return counters.refused[static_cast<std::size_t>(refusal)].load();
  }
  const ReadingsRecord& last() const { return std::get<ReadingsRecord>(accepted.back().payload); }

  TempFolder folder;
  std::unique_ptr<Inbox> inbox;
  IntakeCounters counters;
  std::vector<InboxRecord> accepted;
  std::vector<std::string> refused_tells;
  bool full = false;
  Instant wall = kWall;
  bool unsure = false;
  std::optional<Reception> reception;
};

}  // namespace

TEST_CASE("a reading is in the inbox before anybody hears of it") {
  Desk desk;
  desk.say("room/j1", R"({"t":20.5,"ts":1752451000})");
  REQUIRE(desk.accepted.size() == 1);
  CHECK(desk.inbox->read_after(0) == desk.accepted);
  REQUIRE(desk.last().readings.size() == 1);
  CHECK(desk.last().readings[0].sensor == "j1");
  CHECK(desk.last().readings[0].raw == 20.5);
  CHECK(desk.last().readings[0].measured_at == instant_of(1'752'451'000'000));
}

TEST_CASE("each bad payload is refused for its reason, counted, and disturbs nothing else") {
  const struct {
    const char* topic;
    std::string payload;
    Refusal refusal;
  } kCases[] = {
      {"room/j1", "", Refusal::empty},
      {"room/j1", std::string(1'000'000, 'x'), Refusal::too_large},
      {"room/j1", "{\"t\":\"\xff\xfe\"}", Refusal::not_utf8},
      {"room/j1", "{\"t\":20", Refusal::malformed},
      {"room/j1", R"({"x":20,"ts":1752451000})", Refusal::missing_field},
      {"room/j1", R"({"t":"20","ts":1752451000})", Refusal::wrong_type},
      {"room/j1", R"({"t":20,"ts":1752454000})", Refusal::future},
      {"room/j1", R"({"t":20,"ts":900000000})", Refusal::before_2000},
      {"room/n1/t", "NaN", Refusal::not_finite},
      {"room/pack", R"([{"n":"s1-t","u":"%RH","v":5}])", Refusal::wrong_unit},
      {"room/pack", R"([{"n":"s1-t","u":"Cel","v":5,"must_":1}])", Refusal::unknown_extension},
      {"room/stranger/t", "20", Refusal::unknown_sensor},
  };
  for (const auto& bad : kCases) {
    Desk desk;
    CAPTURE(bad.topic);
    CAPTURE(refusal_name(bad.refusal));
    CHECK(desk.say(bad.topic, bad.payload) == Taken::go_on);
    CHECK(desk.refused(bad.refusal) == 1);
    CHECK(desk.accepted.empty());
    desk.say("room/n1/t", "20.25");
    CHECK(desk.accepted.size() == 1);
  }
}

TEST_CASE("a physically impossible value is kept, marked") {
  Desk desk;
  desk.say("room/n1/t", "900");
  REQUIRE(desk.accepted.size() == 1);
  CHECK(!desk.last().readings[0].trusted());
}

TEST_CASE("of several sensors on one topic each finds its own") {
  Desk desk;
  desk.say("room/pack",
           R"([{"bt":1752451000,"n":"s1-t","u":"Cel","v":5},{"n":"s2-t","u":"Cel","v":6}])");
  REQUIRE(desk.accepted.size() == 1);
  REQUIRE(desk.last().readings.size() == 2);
  CHECK(desk.last().readings[0].sensor == "s1");
  CHECK(desk.last().readings[1].sensor == "s2");
  desk.say("room/pack", R"([{"bt":1752451060,"n":"s2-t","u":"Cel","v":6}])");
  REQUIRE(desk.last().readings.size() == 1);
  CHECK(desk.last().readings[0].sensor == "s2");
}

TEST_CASE("a retained reading without its own time is ignored, one with it is not") {
  Desk desk;
  desk.say("room/n1/t", "20", true);
  CHECK(desk.accepted.empty());
  CHECK(desk.refused(Refusal::retained_without_time) == 1);
  desk.say("room/j1", R"({"t":20.5,"ts":1752451000})", true);
  CHECK(desk.accepted.size() == 1);
}

TEST_CASE("only an arrival-stamped message carries a digest") {
  Desk desk;
  desk.say("room/j1", R"({"t":20.5,"ts":1752451000})");
  CHECK(desk.last().digest == 0);
  desk.say("room/n1/t", "20", false, true);
  CHECK(desk.last().digest != 0);
  CHECK(desk.last().redelivered);
  const std::uint64_t twenty = desk.last().digest;
  desk.say("room/n1/t", "21");
  CHECK(desk.last().digest != twenty);
}

TEST_CASE("with the readings' clock a bare number is stamped with the newest time seen") {
  Desk desk(rules::Clock::readings);
  desk.say("room/j1", R"({"t":20.5,"ts":1752000000})");
  desk.say("room/n1/t", "20");
  CHECK(desk.last().readings[0].measured_at == instant_of(1'752'000'000'000));
}

TEST_CASE("a retained tell is never executed and a long one is refused, unrecorded") {
  Desk desk;
  desk.say("torpor/cellar/tell", "seen", true);
  CHECK(desk.refused_tells.empty());
  desk.say("torpor/cellar/tell", std::string(1025, 'x'));
  CHECK(desk.refused_tells.size() == 1);
  CHECK(desk.accepted.empty());
  desk.say("torpor/cellar/tell", std::string(1024, 'x'));
  CHECK(desk.accepted.size() == 1);
}

TEST_CASE("more tells than a person can say in a minute are refused, answered once and counted") {
  Desk desk;
  for (int i = 0; i < 10'000; ++i) desk.say("torpor/cellar/tell", "seen");
  CHECK(desk.accepted.size() == TellRate::kMostOfOne);
  REQUIRE(desk.refused_tells.size() == 1);
  CHECK(desk.refused_tells[0].find("not recorded: more than 60 sentences") == 0);
  CHECK(desk.counters.tells_refused.load() == 10'000 - TellRate::kMostOfOne);
}

TEST_CASE("a client that floods does not keep another from being heard, whatever its names") {
  Desk desk;
  desk.reception->use_regulars({"Mara"});
  const auto tell = [&](const std::string& by, const std::string& response_topic) {
    const std::size_t before = desk.accepted.size();
    IncomingMessage message;
    message.topic = "torpor/cellar/tell";
    message.payload = "seen";
    message.by = by;
    message.response_topic = response_topic;
    (void)desk.reception->message(message, kWall);
    return desk.accepted.size() > before;
  };
  for (int i = 0; i < 100; ++i) tell("stuck", "");
  CHECK(desk.accepted.size() == TellRate::kMostOfOne);
  CHECK(tell("Ina", ""));
  CHECK(tell("", "torpor/cellar/answer/phone"));
  // Names made up without end are bounded by what all strangers may say.
  for (int i = 0; i < 10'000; ++i) tell("", "torpor/cellar/answer/" + std::to_string(i));
  CHECK(desk.accepted.size() == TellRate::kMostOfStrangers);
  CHECK(desk.refused_tells.size() < 100);
  CHECK_FALSE(tell("Ina", ""));
  // A name of the journal, by the command or by a phone, and a phone without a name.
  for (int i = 0; i < TellRate::kMostOfOne; ++i) {
    CHECK(tell("Mara", i % 2 == 0 ? "torpor/cellar/answer/" + std::to_string(i) : ""));
    CHECK(tell("", ""));
  }
  CHECK_FALSE(tell("Mara", ""));
  CHECK_FALSE(tell("", ""));
}

TEST_CASE("a new minute takes sentences again and knows how many were refused") {
  TellRate rate;
  using enum TellRate::Verdict;
  for (int i = 0; i < TellRate::kMostOfOne; ++i) CHECK(rate.judge("a", "", kWall) == taken);
  CHECK(rate.judge("a", "", kWall) == refused);
  CHECK(rate.judge("a", "", kWall + std::chrono::seconds(59)) == refused_before);
  CHECK(rate.take_refused_before() == 0);
  CHECK(rate.judge("a", "", kWall + std::chrono::seconds(60)) == taken);
  CHECK(rate.take_refused_before() == 2);
  CHECK(rate.take_refused_before() == 0);
}

TEST_CASE("regulars are those who told on most days, not those who told most of a sudden") {
  std::vector<JournalEntry> journal;
  const auto told = [&](const std::string& by, int day) {
    JournalEntry entry;
    entry.by = by;
    entry.recorded_at = kWall + std::chrono::hours(24 * day);
    journal.push_back(entry);
  };
  for (int day = 0; day < 3; ++day) told("Mara", day);
  for (int day = 0; day < 2; ++day) told("Jon", day);
  for (int i = 0; i < 1000; ++i) told("flood-" + std::to_string(100 + i % 50), 9);
  told("", 9);
  const auto regulars = regulars_of(journal);
  REQUIRE(regulars.size() == TellRate::kMostRegulars);
  CHECK(regulars[0] == "Mara");
  CHECK(regulars[1] == "Jon");
}

TEST_CASE("a strand that is full stops the intake after the message is kept") {
  Desk desk;
  desk.full = true;
  CHECK(desk.say("room/n1/t", "20") == Taken::stop);
  CHECK(desk.accepted.size() == 1);
}

TEST_CASE("a topic nobody reads is counted") {
  Desk desk;
  desk.say("room/other", "20");
  CHECK(desk.counters.unknown_topic.load() == 1);
}

// ---- stamps -------------------------------------------------------------------------------------

namespace {

// Minutes after kWall, of all that was kept so far.
std::vector<double> stamps_of(const Desk& desk) {
  std::vector<double> minutes;
  for (const InboxRecord& record : desk.accepted) {
    const Reading& reading = std::get<ReadingsRecord>(record.payload).readings.front();
    CHECK((reading.marks & kStampedOnArrival) != 0);
    minutes.push_back(static_cast<double>((reading.measured_at - kWall).count()) / 60e3);
  }
  return minutes;
}

StampsSoFar last_at(Instant newest, std::optional<Duration> interval) {
  StampsSoFar so_far;
  so_far.by_sensor["n1"] = {newest, interval};
  return so_far;
}

}  // namespace

TEST_CASE("bare numbers that come in one millisecond are all kept, one millisecond apart") {
  Desk desk;
  for (int i = 0; i < 61; ++i) desk.say("room/n1/t", std::to_string(20 + i % 3));
  REQUIRE(desk.accepted.size() == 61);
  for (std::size_t i = 0; i < 61; ++i) {
    const auto& record = std::get<ReadingsRecord>(desk.accepted[i].payload);
    CHECK(record.readings.front().measured_at == kWall + Duration(i));
    CHECK(record.received_at == kWall);
  }
}

TEST_CASE("a restart goes on behind the stamps that the last run gave") {
  Desk desk(rules::Clock::wall, last_at(kWall + Duration(7), std::nullopt));
  desk.say("room/n1/t", "20");
  CHECK(desk.last().readings.front().measured_at == kWall + Duration(8));
}

TEST_CASE("an hour of bare numbers that waited at the broker is spread over the hour") {
  using std::chrono::minutes;
  Desk desk(rules::Clock::wall, last_at(kWall, Duration(minutes(1))));
  desk.wall = kWall + minutes(61);
  for (int i = 0; i < 61; ++i) {
    desk.say("room/n1/t", "20");
    desk.wall += Duration(2);
  }
  desk.wall += minutes(1);
  desk.say("room/n1/t", "20");
  const auto stamps = stamps_of(desk);
  REQUIRE(stamps.size() == 62);
  for (std::size_t i = 0; i < 61; ++i) {
    CHECK(stamps[i] == doctest::Approx(static_cast<double>(i + 1)));
  }
  CHECK(stamps[61] == doctest::Approx(62.0).epsilon(0.001));  // live again: as it arrives
}

TEST_CASE("what waited longer than known is not stamped ahead of its arrival") {
  using std::chrono::minutes;
  Desk desk(rules::Clock::wall, last_at(kWall, Duration(minutes(1))));
  desk.wall = kWall + minutes(3);
  for (int i = 0; i < 20; ++i) desk.say("room/n1/t", "20");
  const auto stamps = stamps_of(desk);
  for (std::size_t i = 0; i + 1 < stamps.size(); ++i) CHECK(stamps[i] < stamps[i + 1]);
  CHECK(stamps.front() == 1.0);
  CHECK(stamps.back() < 3.001);
}

TEST_CASE("a number that comes when the link has long been back is of its arrival") {
  using std::chrono::minutes;
  using std::chrono::seconds;
  Desk desk(rules::Clock::wall, last_at(kWall, Duration(minutes(1))));
  desk.wall = kWall + minutes(60);
  desk.say("room/j1", R"({"t":20.5,"ts":1752451200})");  // the link is back
  desk.wall += seconds(6);
  desk.say("room/n1/t", "20");
  CHECK(desk.last().readings.front().measured_at == desk.wall);
}

TEST_CASE("a sensor's own time is taken for its arrival's where the clock is not sure") {
  Desk desk;
  const std::string ahead = R"({"t":20.5,"ts":1800000000})";
  desk.say("room/j1", ahead);
  CHECK(desk.refused(Refusal::future) == 1);
  desk.unsure = true;
  desk.say("room/j1", ahead);
  REQUIRE(desk.accepted.size() == 1);
  CHECK(desk.last().readings.front().measured_at == kWall);
  CHECK((desk.last().readings.front().marks & kStampedOnArrival) != 0);
}

TEST_CASE("stamps of a clock that was ahead do not hold up those that follow") {
  using std::chrono::days;
  Desk desk;
  desk.wall = kWall + days(3653);
  desk.say("room/n1/t", "20");
  desk.reception->move_stamps({kWall, -days(3653)});
  desk.wall = kWall + Duration(500);
  desk.say("room/n1/t", "20");
  CHECK(desk.last().readings.front().measured_at == kWall + Duration(500));
}
