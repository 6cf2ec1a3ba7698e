// Random histories of a store: tellings, weathers, silences and restarts. At moments of each, all
// that is shown of a jar is held against each other: notice, alert, retained line and JSON, the
// list of what is to be done, the answer to `ask`, lists, choice, report and page. No two may
// disagree about whether the jar may be used, what is to be done first, or how soon.
#include <doctest/doctest.h>

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <nlohmann/json.hpp>
#include <random>

#include "config/rulebook.h"
#include "daemon/report/choice.h"
#include "daemon/report/html_jar.h"
#include "daemon/report/json.h"
#include "daemon/report/text.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::tests {
namespace {

using namespace daemon;
using nlohmann::json;

constexpr const char* kIds[] = {"K1", "K2", "K3", "K4"};

// One space for any run of white space: what is wrapped for a screen reads as one line.
std::string unwrapped(std::string_view text) {
  std::string line;
  for (const char c : text) {
    const bool blank = c == ' ' || c == '\n';
    if (blank && (line.empty() || line.back() == ' ')) continue;
    line += blank ? ' ' : c;
  }
  return line;
}

bool has(std::string_view text, std::string_view part) {
  return text.find(part) != std::string_view::npos;
}

std::string_view urgency_title(const std::string& urgency) {
  return urgency == "now" ? "Now: " : urgency == "today" ? "Today: " : "This week: ";
}

class History {
 public:
  History(unsigned seed, const std::filesystem::path& folder)
      : random_(seed), settings_(room_settings(folder)) {
    settings_.book = config::read_rulebook(config::built_in_rulebook(), "built-in").rules;
    room_ = open_room(settings_);
    for (const char* id : kIds) register_jar(id);
  }

  void go_on() {
    const int days = 2 + pick(6);
    const double warmth = 8.0 + pick(28), damp = 45.0 + pick(53);
    const bool silent = pick(6) == 0;
    for (int hour = 0; hour < days * 24; ++hour) {
      now_ += std::chrono::hours(1);
      if (!silent || pick(40) == 0) read("s1", warmth, damp);
      read("s2", 14.0, 70.0);
      if (pick(60) == 0) tell_something();
    }
    tell_something();
    if (pick(5) == 0) restart();
  }

  void compare() {
    work_out_all();
    room_->show_all();
    topics_.clear();
    for (auto& [topic, payload] : room_->take_shown(wall_ += std::chrono::hours(1))) {
      topics_[topic] = payload;
    }
    seen_in(settings_, [&](const Gathering& gathering, const Ledger& ledger, const Reader&) {
      for (const auto& [id, jar] : ledger.jars()) {
        if (!jar.retired_at) compare_jar(jar, gathering, ledger);
      }
      return 0;
    });
    CHECK(topics_["torpor/cellar/todo"].size() <= rules::kLongestTodo);
    ++moments;
  }

  static int moments, jars, spoiled, asked_for, notices;

 private:
  int pick(int below) { return static_cast<int>(random_() % static_cast<unsigned>(below)); }

  void register_jar(const std::string& id) {
    constexpr const char* kCovers[] = {"paper", "kraft", "tight lid", "film", "tissue"};
    tell_it(
        fmt::format("new jar {} in cellar/shelf-{} stage IMO-2 rice 1000 g raw {} g sugar {} g "
                    "topping {} g vessel glass 3 l mouth 11 cm cover {}{}",
                    id, 1 + pick(2), 480 + pick(120), 500 + pick(900), 60 * pick(2),
                    kCovers[pick(5)], id == std::string("K4") ? " from K3" : ""));
  }

  void read(const std::string& sensor, double celsius, double percent) {
    const double wave = 0.1 * pick(12);
    feed(*room_, reading(sensor, now_, celsius + wave, std::min(100.0, percent + wave)));
    collect();
  }

  void tell_something() {
    constexpr const char* kSaid[] = {"{} bubbling",
                                     "{} all well",
                                     "{} all well",
                                     "{} all well",
                                     "{} sour smell",
                                     "{} wet surface, drops under lid",
                                     "{} green growth",
                                     "{} maggots",
                                     "add sugar 200 g to {} stirred",
                                     "open {}",
                                     "cover {} with paper",
                                     "cover {} with tight lid",
                                     "{} pressure",
                                     "wake test {} lively",
                                     "wake test {} quiet",
                                     "{} ants",
                                     "take 100 g from {}",
                                     "move {} to cellar/shelf-1",
                                     "{} frozen",
                                     "move {} to cellar/shelf-2"};
    const std::string id = kIds[pick(4)];
    if (pick(12) == 0 && splits_ < 4) {
      tell_it(fmt::format("split 150 g from {} into S{} in cellar/shelf-{} cover paper", id,
                          ++splits_, 1 + pick(2)));
      return;
    }
    const int which = pick(std::size(kSaid) + 2);
    if (which >= static_cast<int>(std::size(kSaid))) {
      if (!entries_.empty()) {
        tell_it(fmt::format(
            "withdraw entry {} because \"mistaken\"",
            entries_[static_cast<std::size_t>(pick(static_cast<int>(entries_.size())))]));
      }
      return;
    }
    tell_it(fmt::format(fmt::runtime(kSaid[which]), id));
  }

  // The answer; refusals are answers as well.
  std::string tell_it(const std::string& sentence) {
    feed(*room_, tell(sentence, now_, fmt::format("c{}", ++asked_)));
    collect();
    const auto entry = answer_.rfind("(entry ");
    if (entry != std::string::npos && answer_.find("not recorded") != 0 &&
        sentence.find("new jar") == std::string::npos) {
      entries_.push_back(std::atoi(answer_.c_str() + entry + 7));
    }
    return answer_;
  }

  // What left the service: the last answer, and notices, held against the jar at their moment.
  void collect() {
    if (!room_->urgent()) return;
    REQUIRE(room_->commit());
    for (const OutboxMessage& message : room_->take_outgoing()) {
      if (has(message.topic, "/answer")) answer_ = message.payload;
      if (message.topic == "torpor/cellar/notice") fresh_notices_.push_back(message.payload);
      room_->delivered(message.id);
    }
    for (const std::string& notice : std::exchange(fresh_notices_, {})) check_notice(notice);
  }

  void check_notice(const std::string& notice) {
    ++notices;
    seen_in(settings_, [&](const Gathering& gathering, const Ledger& ledger, const Reader&) {
      for (const auto& [id, known] : ledger.jars()) {
        const Jar* jar = &known;
        if (jar->retired_at) continue;
        if (!has(notice, fmt::format(": Jar {} ", id)) || has(notice, "Over:")) continue;
        const rules::Standing standing = gathering.jar(*jar).standing;
        CAPTURE(notice);
        CAPTURE(standing_line(standing));
        REQUIRE(standing.deed);
        CHECK(has(notice, standing.deed->words.substr(0, standing.deed->words.find(". "))));
        if (standing.alert != 0 && standing.urgency) {
          const std::string title(urgency_words(*standing.urgency));
          CHECK(notice.rfind(title, 0) == 0);
        }
        if (ledger.spoilage_of(*jar)) {
          CHECK_FALSE(has(notice, "sugar"));
          CHECK_FALSE(has(notice, "Use "));
        }
      }
      return 0;
    });
  }

  void restart() {
    REQUIRE(room_->commit());
    room_.reset();
    room_ = open_room(settings_);
    collect();
  }

  void work_out_all() {
    REQUIRE(room_->commit());
    for (int i = 0; i < 40; ++i) {
      const auto next = room_->next_recomputation();
      if (!next) break;
      auto record = work_out(*next);
      REQUIRE(record);
      feed(*room_, *record);
      REQUIRE(room_->commit());
    }
    collect();
    REQUIRE(room_->commit());
  }

  void compare_jar(const Jar& jar, const Gathering& gathering, const Ledger& ledger) {
    ++jars;
    const std::string& id = jar.made.jar;
    CAPTURE(id);
    const json shown = json::parse(topics_["torpor/cellar/jar/" + id]);
    const auto state = shown.at("state").get<std::string>();
    const auto use = shown.at("use").get<std::string>();
    const std::string deed = shown.at("deed").is_null() ? "" : shown.at("deed").get<std::string>();
    const std::string urgency =
        shown.at("urgency").is_null() ? "" : shown.at("urgency").get<std::string>();
    const std::string brief = fmt::format("{}, use: {}", state, use);
    const std::string asked = deed.empty()      ? "Nothing to do."
                              : urgency.empty() ? deed
                                                : std::string(urgency_title(urgency)) + deed;
    CAPTURE(brief);
    CAPTURE(asked);
    if (!deed.empty()) ++asked_for;

    const std::string line = topics_["torpor/cellar/line/" + id];
    CHECK(has(line, brief));
    CHECK(has(line, asked));
    const std::string answer = tell_it("ask " + id);
    CAPTURE(answer);
    CHECK(has(answer, brief));
    CHECK(has(answer, asked));

    const JarView view = gathering.jar(jar);
    CHECK(standing_brief(view.standing) == brief);
    CHECK((view.standing.deed ? view.standing.deed->words : "") == deed);
    const TextContext context{settings_.zone, gathering.now(), std::nullopt, TextStyle{}};
    const auto history = gathering.jar_history(jar, {});
    REQUIRE(history);
    const std::string text = unwrapped(jar_history_text(*history, context));
    CHECK(has(text, brief));
    CHECK(has(text, asked));
    const json report = json::parse(jar_history_json(*history));
    CHECK(report.at("use") == use);
    CHECK(report.at("state") == state);
    CHECK((report.at("deed").is_null() ? "" : report.at("deed").get<std::string>()) == deed);
    const ChoiceView choice = rank_jars({candidate_of(jar, view)}, {}, gathering.now());
    REQUIRE(choice.ranked.size() == 1);
    CHECK(use_name(choice.ranked.front().use()) == use);
    if (!deed.empty()) CHECK(has(unwrapped(choice_text(choice, context)), asked));

    check_alerts(id, gathering, view.standing);
    if (const auto spoilage = ledger.spoilage_of(jar)) {
      ++spoiled;
      CHECK(use == "no");
      CHECK(has(deed, gas_tight(history->jar) ? "Ease the lid" : "carry it out"));
      for (const std::string& said : {line, answer, choice_text(choice, context)}) {
        CHECK_FALSE(has(said, "of sugar"));
        CHECK_FALSE(has(said, "Use "));
      }
    } else {
      CHECK_FALSE(has(asked, "carry it out"));
    }
  }

  static bool gas_tight(const JarView& view) {
    return !rules::culture::facts(view.figures.cover).vents_gas;
  }

  // The jar's own standing alerts: the one that leads says what the jar says.
  void check_alerts(const std::string& id, const Gathering& gathering,
                    const rules::Standing& standing) {
    for (const AlertView& each : gathering.open_alerts()) {
      const rules::Alert& alert = each.alert;
      if (alert.number != standing.alert) continue;
      CHECK(alert.state == rules::AlertState::standing);
      REQUIRE_FALSE(alert.remedies.empty());
      CHECK(alert.remedies.front().words == standing.deed->words);
      CHECK(alert.urgency == standing.urgency);
      CHECK(std::find(alert.jars.begin(), alert.jars.end(), id) != alert.jars.end());
    }
  }

  std::mt19937 random_;
  StoreroomSettings settings_;
  std::unique_ptr<Storeroom> room_;
  Instant now_ = kStart, wall_ = kStart;
  int asked_ = 0, splits_ = 0;
  std::string answer_;
  std::vector<int> entries_;
  std::vector<std::string> fresh_notices_;
  std::map<std::string, std::string> topics_;
};

int History::moments = 0, History::jars = 0, History::spoiled = 0, History::asked_for = 0,
    History::notices = 0;

bool long_run() {
  const char* told = std::getenv("TORPOR_LONG");
  return told != nullptr && std::string_view(told) == "1";
}

}  // namespace

TEST_CASE("no two outputs of one moment disagree about a jar") {
  const unsigned histories = long_run() ? 300 : 10;
  for (unsigned seed = 1; seed <= histories; ++seed) {
    CAPTURE(seed);
    const TempFolder folder;
    History history(seed, folder.path());
    for (int stretch = 0; stretch < 5; ++stretch) {
      history.go_on();
      history.compare();
    }
  }
  MESSAGE(
      fmt::format("{} histories, {} moments, {} jars, of which {} spoiled and {} with a deed; {} "
                  "notices",
                  histories, History::moments, History::jars, History::spoiled, History::asked_for,
                  History::notices));
  CHECK(History::spoiled > 0);
  CHECK(History::asked_for > 0);
  CHECK(History::notices > 0);
}

}  // namespace torpor::tests
