// The verbs about jars: sentence -> act, as the journal writes it.
#include "daemon/ledger/deed_text.h"

#include <doctest/doctest.h>

#include "daemon/ledger/vocabulary.h"
#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

namespace {

std::string deed_read(std::string_view text) {
  static const LocalTime zone = test::zone_of("Europe/Vienna");
  const auto sentence = parse_sentence(text, zone);
  if (!sentence) return sentence.error().text;
  std::string line = act_to_json(sentence->act);
  for (const std::string& one : sentence->also) line += " also " + one;
  for (const std::string& note : sentence->notes) line += " note " + note;
  return line;
}

constexpr const char* kSugar =
    R"({"act":"add_sugar","jar":"B-07","stirred":false,"sugar_g":120.0})";
constexpr const char* kBrown =
    R"({"act":"add_sugar","jar":"B-07","stirred":true,"sugar_g":120.0,"sugar_kind":"brown"})";

}  // namespace

TEST_CASE("every deed is read, with the variations of a phone") {
  const char* rows[][2] = {
      {"add sugar 120 g to B-07", kSugar},
      {"Add 120g sugar to B-07 on top.", kSugar},
      {"add 120 grams of sugar into B-07", kSugar},
      {"add brown sugar 120 g to B-07 stirred in", kBrown},
      {"add 120 g of brown sugar stirred in to B-07", kBrown},
      {"add a hundred and twenty g sugar to B-07", kSugar},
      {"add two cups of sugar to b7",
       R"({"act":"add_sugar","jar":"b7","stirred":false,"sugar_g":400.0} note 2 cups of sugar are )"
       R"(taken as 400 g (380 g to 440 g); a scale knows better)"},
      {"add sugar half a cup to B-07 and B-08",
       R"({"act":"add_sugar","jar":"B-07","stirred":false,"sugar_g":100.0} also B-08 note 0.5 cups )"
       R"(of sugar are taken as 100 g (95 g to 110 g); a scale knows better)"},
      {"take 200 g from B-07 for \"heap 4\"",
       R"({"act":"take","contents_g":200.0,"jar":"B-07","purpose":"heap 4"})"},
      {"take 200 g from B-07", R"({"act":"take","contents_g":200.0,"jar":"B-07"})"},
      {"open B-07, B-08 and cellar/shelf-2",
       R"({"act":"open","jar":"B-07"} also B-08 also cellar/shelf-2)"},
      {"cover B-07 with double kraft", R"({"act":"cover","cover":"double kraft","jar":"B-07"})"},
      {"cover B-07 B-08 with lid turned back",
       R"({"act":"cover","cover":"lid turned back","jar":"B-07"} also B-08)"},
      {"weigh B-07 4005 g with vessel",
       R"({"act":"weigh","jar":"B-07","weight_g":4005.0,"with_vessel":true})"},
      {"weigh 12 2,5 kg without vessel",
       R"({"act":"weigh","jar":"12","weight_g":2500.0,"with_vessel":false})"},
      {"weigh B-07 2 lb 10 oz with the vessel",
       R"({"act":"weigh","jar":"B-07","weight_g":1190.67997125,"with_vessel":true})"},
      {"weigh B-07 two pounds ten ounces",
       R"({"act":"weigh","jar":"B-07","weight_g":1190.67997125,"with_vessel":false})"},
      {"measure B-07 level 9 cm", R"({"act":"measure","jar":"B-07","level_mm":90.0})"},
      {"measure B-07 headspace 82 %", R"({"act":"measure","headspace_percent":82.0,"jar":"B-07"})"},
      {"measure B-07 headspace 82%", R"({"act":"measure","headspace_percent":82.0,"jar":"B-07"})"},
      {"observe B-07 bubbling, sweet smell",
       R"({"act":"observe","jar":"B-07","signs":["bubbling","sweet smell"]})"},
      {"B-07 bubbling and sweet smell",
       R"({"act":"observe","jar":"B-07","signs":["bubbling","sweet smell"]})"},
      {"B-01 B-02 all well", R"({"act":"observe","jar":"B-01","signs":["all well"]} also B-02)"},
      {"cellar/shelf-2 all well",
       R"({"act":"observe","jar":"cellar/shelf-2","signs":["all well"]})"},
      {"\"North Loft\" wet surface, drops under lid",
       R"({"act":"observe","jar":"North Loft","signs":["wet surface","drops under lid"]})"},
      {"B-07 green mould", R"({"act":"observe","jar":"B-07","signs":["green growth"]})"},
      {"B-07 bubbling bubbles", R"({"act":"observe","jar":"B-07","signs":["bubbling"]})"},
      {"wake test B-07 lively", R"({"act":"wake_test","jar":"B-07","lively":true})"},
      {"wake test B-07 quiet", R"({"act":"wake_test","jar":"B-07","lively":false})"},
      {"retire B-07 because \"used up\"", R"({"act":"retire","because":"used up","jar":"B-07"})"},
      {"withdraw entry 118 because \"wrong jar\"",
       R"({"act":"withdraw","because":"wrong jar","entry":118})"},
      {"defer alert 12 for 6 h because \"moving tonight\"",
       R"({"act":"defer","alert":12,"because":"moving tonight","for_s":21600.0})"},
      {"defer alert twelve for two days because moving",
       R"({"act":"defer","alert":12,"because":"moving","for_s":172800.0})"},
  };
  for (const auto& row : rows) {
    CAPTURE(row[0]);
    CHECK(deed_read(row[0]) == row[1]);
  }
}

TEST_CASE("every sign and other words for it are read behind a jar") {
  for (const auto& [word, sign] : signs()) {
    const std::string text = deed_read("B-07 " + std::string(word));
    CAPTURE(text);
    CHECK(test::contains(text, R"("act":"observe")"));
    CHECK_FALSE(test::contains(text, "also"));
  }
}

TEST_CASE("a deed that is not understood says what, the form and an example") {
  const char* rows[][2] = {
      {"add sugar to B-07",
       "the weight of the sugar is missing; say: add sugar WEIGHT to ID, then stirred in or on "
       "top; "
       "for example: add sugar 120 g to B-07"},
      {"add sugar 120 g",
       "`to` and the jar are missing; say: add sugar WEIGHT to ID, then stirred in or on top; for "
       "example: add sugar 120 g to B-07"},
      {"take 200 g B-07",
       "`from` is missing, \"B-07\" stands in its place; say: take WEIGHT from ID for \"WHAT\"; "
       "for "
       "example: take 200 g from B-07 for \"heap 4\""},
      {"weigh B-07 4005",
       "\"4005\" has no unit of weight (one of g, kg, oz, lb); say: weigh ID WEIGHT, with vessel "
       "if "
       "the vessel is in it; for example: weigh B-07 4005 g with vessel"},
      {"measure B-07 9 cm",
       "\"9\" is not `level` or `headspace`; say: measure ID level HEIGHT, or measure ID headspace "
       "HUMIDITY; for example: measure B-07 level 9 cm"},
      {"observe B-07 bubling",
       "\"bubling\" is not understood; is it `bubbling`? say: observe ID, then what you see or "
       "smell; for example: observe B-07 bubbling"},
      {"wake test B-07 perhaps",
       "wake test \"perhaps\" is not one of lively, quiet or dead; say: wake test ID lively, or "
       "wake test ID quiet; for example: wake test B-07 lively"},
      {"retire B-07",
       "`because` and the reason are missing; say: retire ID because \"WHY\"; for example: retire "
       "B-07 because \"used up\""},
      {"defer alert 12 for 8 d because \"x\"",
       "an alert is deferred for more than no time and at most 7 d; say: defer alert NUMBER for "
       "TIME because \"WHY\"; for example: defer alert 12 for 6 h because \"moving tonight\""},
  };
  for (const auto& row : rows) {
    CAPTURE(row[0]);
    CHECK(deed_read(row[0]) == row[1]);
  }
}

TEST_CASE("an alert is deferred for up to a week, the engine's own limit") {
  CHECK(test::contains(deed_read("defer alert 1 for 7 d because \"x\""), "604800.0"));
  CHECK(test::contains(deed_read("defer alert 1 for 0 h because \"x\""), "at most 7 d"));
}

}  // namespace torpor::daemon
