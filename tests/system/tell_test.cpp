// Sentences told through a real broker: what is executed, who is answered where, how many are
// taken, and that nothing told can do harm where it is shown.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <sstream>

#include "daemon/history/store.h"
#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

namespace {

const char kJar[] = "new jar F-01 in cellar/shelf-1 rice 1200 g raw 560 g sugar 1250 g";

std::string read_file(const std::string& path) {
  std::ostringstream text;
  text << std::ifstream(path).rdbuf();
  return text.str();
}

std::size_t entries_of(const Room& room) {
  return daemon::Reader::open(room.history_file(), room.folder() + "/spool")
      .value()
      ->journal()
      .size();
}

}  // namespace

TEST_CASE("a retained sentence is not executed at the start, and one told after it is") {
  Room room;
  RawSubscriber phone(room.broker(), "torpor/cellar/answer/#");
  raw_publish(room.broker(), {"torpor/cellar/tell", kJar, 1, true});
  room.start();
  raw_publish(room.broker(), {"torpor/cellar/tell", "ask jars"});
  REQUIRE(phone.wait_for(1));
  CHECK(phone.messages()[0].payload == "no jar is registered");
  room.stop();
  room.start();  // nor with the next connection
  raw_publish(room.broker(), {"torpor/cellar/tell", "ask jars"});
  REQUIRE(phone.wait_for(2));
  CHECK(phone.messages()[1].payload == "no jar is registered");
}

TEST_CASE("answers go below the storeroom's own topic, with the correlation data, or to `answer`") {
  Room room;
  room.start();
  RawSubscriber all(room.broker(), "#");
  const auto ask = [&](const std::string& topic, const std::string& correlation) {
    raw_publish(room.broker(), {"torpor/cellar/tell",
                                "ask jars",
                                1,
                                false,
                                {"-D", "publish", "response-topic", topic, "-D", "publish",
                                 "correlation-data", correlation}});
  };
  const auto answers = [&](const std::string& topic) {
    std::vector<RawMessage> found;
    for (const RawMessage& message : all.messages()) {
      if (message.topic == topic) found.push_back(message);
    }
    return found;
  };
  ask("torpor/cellar/answer/phone-3", "one");
  ask("house/lamp/set", "two");
  ask("torpor/cellar/tell", "three");  // it would be told its own answers for ever
  ask("torpor/attic/answer/phone-3", "four");
  REQUIRE(wait_until([&] { return answers("torpor/cellar/answer").size() == 3; }));
  const auto own = answers("torpor/cellar/answer/phone-3");
  REQUIRE(own.size() == 1);
  CHECK(own[0].correlation == "one");
  CHECK_FALSE(own[0].retained);
  CHECK(answers("torpor/cellar/answer")[0].correlation == "two");
  CHECK(answers("house/lamp/set").empty());
  CHECK(answers("torpor/attic/answer/phone-3").empty());
  CHECK(answers("torpor/cellar/tell").size() == 4);  // what was asked
}

TEST_CASE("the same request told again is recorded once and gets the same answer") {
  Room room;
  room.start();
  REQUIRE(room.torpor({"tell", kJar}).code == 0);
  RawSubscriber phone(room.broker(), "torpor/cellar/answer/phone");
  const auto add = [&] {
    raw_publish(room.broker(), {"torpor/cellar/tell",
                                "add sugar 120 g to F-01",
                                1,
                                false,
                                {"-D", "publish", "response-topic", "torpor/cellar/answer/phone",
                                 "-D", "publish", "correlation-data", "x1"}});
  };
  add();
  add();
  REQUIRE(phone.wait_for(2));
  room.kill();
  room.start();
  add();
  REQUIRE(phone.wait_for(3));
  const std::vector<RawMessage> messages = phone.messages();
  for (const RawMessage& message : messages) CHECK(message.payload == messages[0].payload);
  CHECK(entries_of(room) == 2);
}

TEST_CASE("ten thousand sentences from one client are bounded, counted, and keep nobody waiting") {
  Room room;
  room.start();
  REQUIRE(room.torpor({"tell", kJar}).code == 0);
  RawSubscriber phone(room.broker(), "torpor/cellar/answer");
  RawSubscriber service(room.broker(), "torpor/cellar/service");
  constexpr std::size_t kTold = 10'000;
  raw_publish_lines(room.broker(), "torpor/cellar/tell",
                    std::vector<std::string>(kTold, "F-01 all well"));
  // Another client is heard meanwhile, and so are the sensors.
  CHECK(room.torpor({"tell", "F-01 sweet smell"}).code == 0);
  room.say_json(kFirst, 20, 60);
  const auto refused = [&]() -> std::size_t {
    const auto messages = service.messages();
    if (messages.empty()) return 0;
    return nlohmann::json::parse(messages.back().payload)["messages"]["tells_refused"];
  };
  const auto answered = [&](std::string_view how) {
    const auto messages = phone.messages();
    return static_cast<std::size_t>(std::count_if(
        messages.begin(), messages.end(),
        [&](const RawMessage& message) { return message.payload.find(how) != std::string::npos; }));
  };
  // Every one was recorded and answered, or refused and counted.
  REQUIRE(wait_until([&] { return answered("all well, ") + refused() == kTold; },
                     std::chrono::seconds(60)));
  const std::size_t recorded = answered("all well, ");
  CHECK(recorded % 60 == 0);
  CHECK(recorded >= 60);
  CHECK(entries_of(room) == 2 + recorded);
  // Once in each minute that it went on.
  CHECK(answered("not recorded: more than 60 sentences came within a minute") == recorded / 60);
  CHECK(wait_until([&] { return room.readings().size() == 2; }));
}

TEST_CASE("markup and control characters in what is told are text wherever they are shown") {
  Room room;
  room.start();
  const std::string markup = R"(<script>alert(1)</script> & 'it')";
  REQUIRE(room.torpor({"tell", fmt::format("{} origin \"{}\"", kJar, markup)}).code == 0);
  REQUIRE(room.torpor({"tell", fmt::format("take 20 g from F-01 for \"{}\"", markup)}).code == 0);
  RawSubscriber phone(room.broker(), "torpor/cellar/answer");
  // A client's own name for itself: the broker lets control characters in it not pass, markup it
  // does.
  raw_publish(room.broker(), {"torpor/cellar/tell",
                              "F-01 all well",
                              1,
                              false,
                              {"-D", "publish", "user-property", "by", "Mara <b>"}});
  // Control characters in a sentence are refused, and shown harmlessly in the refusal.
  raw_publish(room.broker(), {"torpor/cellar/tell", "F-01 \x1b[2Jall well"});
  raw_publish(room.broker(), {"torpor/cellar/tell", "ask \"<i>+/#\""});
  REQUIRE(phone.wait_for(3));
  const auto is_clean = [](const std::string& text) {
    return std::none_of(text.begin(), text.end(), [](char c) {
      return (static_cast<unsigned char>(c) < 0x20 && c != '\n') || c == 0x7F;
    });
  };
  for (const RawMessage& message : phone.messages()) CHECK(is_clean(message.payload));
  CHECK(phone.messages()[1].payload.starts_with("not recorded: "));

  const CommandResult text = room.torpor({"jar", "F-01"});
  CHECK(is_clean(text.output));
  CHECK(text.output.find("<script>alert(1)") != std::string::npos);  // as it was told
  const auto json = room.torpor_json({"jar", "F-01"});
  CHECK(json.dump().find(R"(<script>alert(1)</script> & 'it')") != std::string::npos);

  const std::string html = room.folder() + "/jar.html", svg = room.folder() + "/label.svg";
  REQUIRE(room.torpor({"jar", "F-01", "--html", html}).code == 0);
  REQUIRE(room.torpor({"label", "F-01", "--svg", svg}).code == 0);
  for (const std::string& file : {html, svg}) {
    CAPTURE(file);
    const std::string page = read_file(file);
    CHECK(page.size() > 1000);
    CHECK(is_clean(page));
    CHECK(page.find("<script>alert") == std::string::npos);
    CHECK(page.find("<b>") == std::string::npos);
  }
  CHECK(read_file(html).find("&lt;script&gt;alert(1)") != std::string::npos);
  CHECK(read_file(html).find("Mara \u2039b\u203a") != std::string::npos);
}

TEST_CASE("a notebook of jars goes into the ledger of the running service, whole or not at all") {
  Room room;
  room.start();
  REQUIRE(room.torpor({"tell", kJar}).code == 0);
  RawSubscriber phone(room.broker(), "torpor/cellar/answer");
  RawSubscriber shown(room.broker(), "torpor/cellar/jar/B-02");
  room.write("jars.csv",
             "id,place,rice_g,raw_g,sugar_g,closed\n"
             "B-01,cellar/shelf-1,1200,560,1250,2025-07-01\n"
             "B-02,cellar/shelf-9,1200,560,1250,2025-07-01\n"
             "F-01,cellar/shelf-1,1200,560,1250,2025-07-01\n");
  const auto import = [&] { return room.torpor({"import", "jars", room.folder() + "/jars.csv"}); };
  const CommandResult faults = import();
  CAPTURE(faults.output);
  CHECK(faults.code == 65);
  CHECK(faults.output.find("jars.csv:3:") != std::string::npos);
  CHECK(faults.output.find("jars.csv:4:") != std::string::npos);
  CHECK(entries_of(room) == 1);

  room.write("jars.csv",
             "id,place,rice_g,raw_g,sugar_g,closed\n"
             "B-01,cellar/shelf-1,1200,560,1250,2025-07-01\n"
             "B-02,cellar/shelf-2,1200,560,1250,2025-07-01\n");
  const CommandResult done = import();
  CAPTURE(done.output);
  CHECK(done.code == 0);
  CHECK(done.output.find("2 jars recorded through the running service") != std::string::npos);
  CHECK(entries_of(room) == 3);
  // The service itself knows them: it shows them, and takes what is told of them.
  CHECK(shown.wait_for(1));
  CHECK(room.torpor({"tell", "B-01 all well"}).code == 0);
  CHECK(phone.messages().empty());  // the one who imports reads the answers
  const CommandResult again = import();
  CHECK(again.code == 0);
  CHECK(again.output.find("0 jars recorded, 2 known already") != std::string::npos);
  room.kill();
  CHECK(room.torpor_json({"jar", "B-02"})["jar"] == "B-02");
}
