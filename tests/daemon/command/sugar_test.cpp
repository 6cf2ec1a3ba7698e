#include "daemon/command/sugar.h"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

namespace torpor::daemon {
namespace {

SugarView asked(const SugarQuestion& question) {
  const auto view = answer_sugar(question);
  REQUIRE_MESSAGE(view, (view ? "" : view.error().text));
  return *view;
}

std::string sugar_refusal(const SugarQuestion& question) {
  const auto view = answer_sugar(question);
  REQUIRE(!view);
  return view.error().text;
}

}  // namespace

TEST_CASE("equal weights of rice and sugar put drier-cooked rice to sleep, half of it does not") {
  // Common practice, no source.
  const SugarView equal = asked({"1200g", "", "dry", "1250g", "", ""});
  CHECK(equal.water_buffer_g.likely > 0.0);
  CHECK(equal.sugar_shortfall_g->likely == doctest::Approx(0.0));
  const SugarView half = asked({"1200g", "", "dry", "600g", "", ""});
  CHECK(half.water_buffer_g.likely == doctest::Approx(0.0));
  CHECK(half.sugar_shortfall_g->likely > 100.0);
  CHECK(half.water_activity.likely > equal.water_activity.likely);
}

TEST_CASE("what is recommended leaves some undissolved under its own set, wetter rice wants more") {
  const SugarView view = asked({"1200g", "560g", "", "", "", ""});
  CHECK(view.water_buffer_g.cautious > 0.0);
  CHECK(view.water_buffer_g.hopeful > 0.0);
  CHECK(view.sugar_g.cautious >= view.sugar_g.likely);
  CHECK(view.sugar_g.likely >= view.sugar_g.hopeful);
  CHECK(asked({"1200g", "", "soft", "", "", ""}).sugar_g.likely >
        asked({"1200g", "", "dry", "", "", ""}).sugar_g.likely);
  CHECK(asked({"2.645547 lb", "560g", "", "", "", ""}).sugar_g.likely ==
        doctest::Approx(view.sugar_g.likely).epsilon(1e-4));
}

TEST_CASE("its JSON has the promised keys, the shortfall only where it was asked") {
  const auto tree = nlohmann::json::parse(sugar_json(asked({"1200g", "560g", "", "", "", ""})));
  for (const char* key : {"sugar_g", "sugar_to_rice_ratio", "water_activity", "water_buffer_g"}) {
    CAPTURE(key);
    for (const char* set : {"cautious", "likely", "hopeful"}) CHECK(tree[key][set].is_number());
  }
  CHECK(!tree.contains("sugar_shortfall_g"));
  const auto other = nlohmann::json::parse(sugar_json(asked({"1200g", "560g", "", "1kg", "", ""})));
  CHECK(other["sugar_g"]["likely"] == 1000.0);
  CHECK(other["sugar_shortfall_g"]["likely"].is_number());
}

TEST_CASE("what cannot be reckoned with is refused with what to say") {
  CHECK(sugar_refusal({"", "560g", "", "", "", ""}).find("--rice") != std::string::npos);
  CHECK(sugar_refusal({"1200g", "", "", "", "", ""}).find("--raw") != std::string::npos);
  CHECK(sugar_refusal({"1200", "560g", "", "", "", ""}).find("with its unit") != std::string::npos);
  CHECK(sugar_refusal({"-5g", "560g", "", "", "", ""}).find("0 or more") != std::string::npos);
  CHECK(sugar_refusal({"0g", "", "dry", "", "", ""}).find("rice") != std::string::npos);
  CHECK(sugar_refusal({"450g", "560g", "", "", "", ""}) != "");
  CHECK(sugar_refusal({"1200g", "", "wet", "", "", ""}).find("dry, firm or soft") !=
        std::string::npos);
  CHECK(sugar_refusal({"1200g", "560g", "", "", "maple", ""}).find("white, brown or raw") !=
        std::string::npos);
  CHECK(sugar_refusal({"1200g", "560g", "", "", "", "90C"}).find("0 to 60") != std::string::npos);
  CHECK(sugar_refusal({"1200g", "560g", "", "-1g", "", ""}) != "");
}

TEST_CASE("it says the words of a new jar's answer, in text and JSON, the deed first") {
  const SugarView little = asked({"1000g", "540g", "", "300g", "", ""});
  CHECK(little.advice ==
        "Stir about 700 g more sugar (3 1/2 cups) into it. With 300 g it will not sleep long. Rice "
        "as wet as this (55 % water by its weights) takes about 1000 g: equal weight, as is common "
        "practice.");
  CHECK(sugar_text(little).starts_with("Stir about 700 g more sugar (3 1/2 cups) into it."));
  CHECK(nlohmann::json::parse(sugar_json(little))["advice"] == little.advice);
  CHECK(asked({"1000g", "540g", "", "3kg", "", ""})
            .advice.starts_with("Leave it so: 3000 g is far more sugar than"));
  CHECK(asked({"1000g", "", "firm", "1kg", "", ""})
            .advice.starts_with("Equal weight is common practice and mostly does."));
  // Not asked of an amount: whether equal weight holds for such rice.
  CHECK(asked({"1000g", "540g", "", "", "", ""}).advice ==
        "Equal weight, as is common practice, holds for rice as wet as this (55 % water by its "
        "weights).");
  CHECK(asked({"1000g", "", "soft", "", "", ""})
            .advice.ends_with("takes more than the equal weight of common practice."));
  // The words go by the room's warmth, as the figures do.
  CHECK(asked({"1000g", "540g", "", "300g", "", "40C"}).advice.starts_with("Stir about 8"));
}

TEST_CASE("its words say what was taken and what to do") {
  const std::string text = sugar_text(asked({"1200g", "560g", "", "", "", ""}));
  CHECK(text.find("Taken, because it was not said: brown sugar, a room of 20 °C.") !=
        std::string::npos);
  CHECK(text.find("cups") != std::string::npos);
  CHECK(sugar_text(asked({"1200g", "560g", "", "500g", "", ""})).find("missing") !=
        std::string::npos);
}

}  // namespace torpor::daemon
