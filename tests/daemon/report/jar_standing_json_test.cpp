// How the service keeps a jar's standing for commands and pages: what is written is read back.
#include "daemon/report/jar_standing_json.h"

#include <doctest/doctest.h>

#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {
namespace {

using rules::culture::State;

rules::Standing full_standing() {
  rules::Standing standing = sample_standing();
  standing.state = State::waking;
  standing.use = rules::Use::look_first;
  standing.urgency = rules::Urgency::now;
  standing.alert = 12;
  standing.reasons = {"One.", "\"Two\" <b>."};
  standing.deed = rules::Advice{rules::Remedy::add_sugar,
                                "Stir about 45 g into B-07.",
                                {{"sugar", 45.0, "g"}, {"time to wake there", std::nullopt, "d"}}};
  standing.next = rules::Advice{rules::Remedy::renew_vessel, "Put on gloves.", {}};
  standing.next_date = rules::NextDate{at("2026-03-16T23:30:00.125Z"), "it has settled"};
  standing.recomputing = true;
  return standing;
}

std::string with(const std::string& key, const std::string& value) {
  nlohmann::json tree = nlohmann::json::parse(jar_standing_json(full_standing()));
  tree[key] = nlohmann::json::parse(value);
  return tree.dump();
}

}  // namespace

TEST_CASE("a standing comes back from its note as it was, full and bare") {
  const auto comes_back = [](const rules::Standing& standing) {
    const auto read = jar_standing_from_json(jar_standing_json(standing));
    REQUIRE_MESSAGE(read, (read ? "" : read.error()));
    CHECK(*read == standing);
  };
  comes_back(full_standing());
  comes_back(sample_standing());
  rules::Standing each = full_standing();
  for (int i = 0; i <= static_cast<int>(State::retired); ++i) {
    each.state = static_cast<State>(i);
    comes_back(each);
  }
  for (const auto use :
       {rules::Use::yes, rules::Use::look_first, rules::Use::wake_test_first, rules::Use::no}) {
    each.use = use;
    comes_back(each);
  }
  for (const auto urgency :
       {rules::Urgency::now, rules::Urgency::today, rules::Urgency::this_week}) {
    each.urgency = urgency;
    comes_back(each);
  }
  for (int i = 0; i <= static_cast<int>(rules::Remedy::renew_vessel); ++i) {
    each.deed->remedy = static_cast<rules::Remedy>(i);
    comes_back(each);
  }
}

TEST_CASE("a standing that cannot be read says so, and is never half a standing") {
  const std::string begins = "a jar's standing in the history cannot be read: ";
  for (const std::string& damaged :
       {std::string(), std::string("["), std::string("[]"), std::string("{}"),
        with("state", "\"asleep\""), with("use", "\"maybe\""), with("use", "null"),
        with("as_of", "\"yesterday\""), with("reasons", "[1]"), with("alert", "\"x\""),
        with("deed", "7"), with("next_date", R"({"at":"never","what":"x"})")}) {
    CAPTURE(damaged);
    const auto read = jar_standing_from_json(damaged);
    REQUIRE_FALSE(read.has_value());
    CHECK(read.error().starts_with(begins));
    CHECK(read.error().size() > begins.size());
  }
}

TEST_CASE("each jar has a note of its own") { CHECK(standing_note("B-07") == "standing/B-07"); }

}  // namespace torpor::daemon
